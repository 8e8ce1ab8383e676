"""What a running capture tells whoever listens. ``time_s`` counts from the start of the capture on one clock
shared by all its sensors."""

from __future__ import annotations

from dataclasses import dataclass

from armarc.recording import FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class SensorFacts:
    """What is known about a connected sensor.

    Parameters
    ----------
    name, address : str
    serial, firmware : str
        Empty when the sensor does not say.
    battery_pct : int or None
    profile : str
        ``"wrist profile 1"`` or the name of the description in use.
    rate_hz : float, Hz
        Nominal sampling rate.
    accelerometer_range_m_s2, gyroscope_range_rad_s : float or None
    filter_hz : float or None, Hz
        −3 dB frequency of the sensor's anti-alias filter.
    temperature_c : float or None, °C
        Of the part, when the link was made.
    rounding_m_s2, rounding_rad_s : float or None
        Steps the readings were rounded to before they came here.
    habits : tuple of str
        What was found out about the readings, where a sensor does not say what they are.
    """

    name: str
    address: str
    profile: str
    rate_hz: float
    serial: str = ""
    firmware: str = ""
    battery_pct: int | None = None
    accelerometer_range_m_s2: float | None = None
    gyroscope_range_rad_s: float | None = None
    filter_hz: float | None = None
    temperature_c: float | None = None
    rounding_m_s2: float | None = None
    rounding_rad_s: float | None = None
    habits: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class LinkUp:
    """A sensor is connected and streams; ``again`` after a loss."""

    sensor: int
    time_s: float
    facts: SensorFacts
    again: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class LinkLost:
    """The link is gone; the capture goes on and looks for the sensor."""

    sensor: int
    time_s: float
    reason: str


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Frames:
    """Samples in the order they were taken, each exactly once.

    Parameters
    ----------
    sensor : int
        Which of the sensors asked for, from 0.
    index : int
        Running number of the first frame; missing frames are counted.
    time_s : ndarray, shape (m,), s
        Strictly rising.
    specific_force_m_s2, angular_velocity_rad_s : ndarray, shape (m, 3)
    clipped : bool
        The sensor says that a value sits at the end of its range.
    """

    sensor: int
    index: int
    time_s: FloatArray
    specific_force_m_s2: FloatArray
    angular_velocity_rad_s: FloatArray
    clipped: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Loss:
    """Frames that never came.

    Parameters
    ----------
    start_s, end_s : float, s
        Time of the last frame before and of the first frame after.
    missing_frames : int
    cause : str
        ``"sensor overflow"``, ``"link"``, ``"reconnect"``, ``"sensor restart"`` or ``"pause"``.
    """

    sensor: int
    start_s: float
    end_s: float
    missing_frames: int
    cause: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Battery:
    """State of charge in percent; ``low`` when the sensor itself warns."""

    sensor: int
    time_s: float
    percent: int | None
    low: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Trouble:
    """Something worth saying that does not end the capture."""

    sensor: int
    time_s: float
    message: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Ended:
    """Last event of each sensor.

    Parameters
    ----------
    frames, missing_frames, duplicate_frames, bad_packets, reconnects : int
    drift_ppm : float or None
        Rate of the sensor's clock against this machine's, parts per million; None below 10 s.
    temperature_c : float or None, °C
        Of the part, at the end.
    """

    sensor: int
    time_s: float
    frames: int
    missing_frames: int
    duplicate_frames: int
    bad_packets: int
    reconnects: int
    drift_ppm: float | None = None
    temperature_c: float | None = None


Event = LinkUp | LinkLost | Frames | Loss | Battery | Trouble | Ended
