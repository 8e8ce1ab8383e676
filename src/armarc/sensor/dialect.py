"""What the link needs to know about the way a sensor speaks."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Protocol

from armarc.recording import FloatArray
from armarc.sensor.wire.control import SensorSettings

if TYPE_CHECKING:
    from bleak import BleakClient


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Batch:
    """The samples of one packet, in SI units.

    Parameters
    ----------
    specific_force_m_s2, angular_velocity_rad_s : ndarray, shape (n, 3)
    index : int or None
        Number of the first frame, modulo ``Timing.index_modulus``.
    device_time_s : float or None, s
        Device time of the first frame, modulo ``Timing.time_modulus_s``.
    clipped, overflow, first, low_battery : bool
        As the flags of the wrist profile.
    """

    specific_force_m_s2: FloatArray
    angular_velocity_rad_s: FloatArray
    index: int | None = None
    device_time_s: float | None = None
    clipped: bool = False
    overflow: bool = False
    first: bool = False
    low_battery: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Timing:
    """How a sensor carries time.

    Parameters
    ----------
    rate_hz : float, Hz
        Nominal.
    index_modulus : int or None
        Where frame numbers wrap; None when packets carry none.
    time_modulus_s : float or None, s
        Where the device time wraps; None when packets carry none.
    time_step_s : float, s
        Resolution of the device time.
    restarts_are_told : bool
        A new clock comes with a new session: a packet that arrives sooner than those before it was not held up as
        long, and that is all.
    """

    rate_hz: float
    index_modulus: int | None = None
    time_modulus_s: float | None = None
    time_step_s: float = 1e-6
    restarts_are_told: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Opened:
    """A sensor that has been told to stream.

    Parameters
    ----------
    decode : callable
        Batches of a notification of one of the characteristics; none for one that carries no whole sample.
    boot : int or None
        Changes when the sensor was powered up again.
    running : bool
        It streams already and must not be started.
    fresh_index : int or None
        Number of the first frame that will be sampled with these settings, modulo ``Timing.index_modulus``: what
        carries an older number is left over from an earlier session. None when nothing can be left over.
    queue_frames : int
        How many frames the sensor can hold back; 0 when it does not say.
    notes : tuple of str
        What could not be had as asked.
    """

    timing: Timing
    decode: Callable[[bytes, int], tuple[Batch, ...]]
    boot: int | None = None
    running: bool = False
    fresh_index: int | None = None
    queue_frames: int = 0
    accelerometer_range_m_s2: float | None = None
    gyroscope_range_rad_s: float | None = None
    filter_hz: float | None = None
    temperature_c: float | None = None
    notes: tuple[str, ...] = ()


class Dialect(Protocol):
    """A way of speaking: the wrist profile or a described one."""

    @property
    def name(self) -> str:
        """For people."""

    @property
    def service_uuid(self) -> str:
        """Service that holds the data characteristic."""

    @property
    def data_uuids(self) -> tuple[str, ...]:
        """Characteristics whose notifications carry the samples; their places are the sources of `Opened.decode`."""

    def advertised_by(self, name: str, service_uuids: list[str]) -> bool:
        """Whether an advertisement looks like this kind of sensor."""

    async def open(self, client: BleakClient, settings: SensorSettings, known_boot: int | None) -> Opened:
        """Learn, and where possible choose, what the sensor will send; not yet started.

        ``known_boot`` is what an earlier connection of this capture saw: a sensor that is still streaming is
        then left alone, so that what it holds in its queue is not lost.
        """

    async def start(self, client: BleakClient) -> None:
        """Begin; notifications are already subscribed."""

    async def stop(self, client: BleakClient) -> None:
        """End; the sensor may still send what it has."""

    async def temperature_c(self, client: BleakClient) -> float | None:
        """Temperature of the part, °C; None where the sensor does not say."""
