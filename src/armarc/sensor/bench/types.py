"""What a check of a sensor finds."""

from __future__ import annotations

from dataclasses import dataclass

from armarc.recording import FloatArray
from armarc.sensor.bench.allan import Deviation, NoiseTerms
from armarc.sensor.bench.stream import StreamFacts

TOLERANCE_SPAN = (0.005, 0.03)
"""Half-widths of the scale tolerance consumer gyroscopes are sold with (from memory of datasheets)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class AxisCheck:
    """One axis of one quantity, in rad/s or m/s².

    Parameters
    ----------
    mean : float
        For a gyroscope at rest its bias.
    mean_se : float
        From the noise alone.
    sample_sd : float
        Standard deviation of the samples about their slow course.
    resolution : float
        Smallest step between two values; 0 when the axis never changed.
    terms : NoiseTerms or None
    per_kelvin, per_kelvin_se : float or None
        Slope of the mean against temperature; None without a temperature column or with under 2 K of change.
    """

    mean: float
    mean_se: float
    sample_sd: float
    resolution: float
    terms: NoiseTerms | None
    per_kelvin: float | None = None
    per_kelvin_se: float | None = None

    @property
    def is_stuck(self) -> bool:
        """Whether the axis gave one value throughout."""
        return self.resolution == 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class StillFacts:
    """What the still stretch showed.

    Parameters
    ----------
    start_s, end_s : float, s
    gyroscope, accelerometer : tuple of AxisCheck
        x, y, z.
    gravity_m_s2 : float, m/s²
        Norm of the mean specific force.
    temperature_c : tuple of float or None, °C
        Lowest and highest.
    gyroscope_curve, accelerometer_curve : Deviation
        Overlapping Allan deviation, rad/s and m/s².
    is_quite_still : bool
        False where the curve has the bump of a body that sways or a table that shakes.
    """

    start_s: float
    end_s: float
    gyroscope: tuple[AxisCheck, ...]
    accelerometer: tuple[AxisCheck, ...]
    gravity_m_s2: float
    temperature_c: tuple[float, float] | None
    gyroscope_curve: Deviation
    accelerometer_curve: Deviation
    is_quite_still: bool

    @property
    def duration_s(self) -> float:
        """Length of the stretch, s."""
        return self.end_s - self.start_s

    @property
    def bias_rad_s(self) -> FloatArray:
        """Shape (3,): mean of the gyroscope."""
        import numpy as np

        return np.array([axis.mean for axis in self.gyroscope])


@dataclass(frozen=True, slots=True, kw_only=True)
class SensorCheck:
    """All a recording tells about the sensor itself.

    Parameters
    ----------
    file, sensor : str
    stream : StreamFacts
    still : StillFacts or None
        None without a still stretch of 2 s or more; `not_still` says why.
    not_still : str
    start_velocity_se_rad_s : float or None, rad/s
        Standard error of a start velocity of `START_VELOCITY_RAD_S` with this sensor: noise over the gate, bias left
        after two seconds of standing still, and scale. None where the sensor was not quite still or an axis of its
        gyroscope is dead.
    start_velocity_span_rad_s : pair of float or None, rad/s
        The same for parts trimmed to each end of `TOLERANCE_SPAN`; None for a calibrated sensor.
    scale_se : float
        Relative scale error of the gyroscope that was assumed.
    rounding_m_s2, rounding_rad_s : float
        Steps the source rounds to; 0 where it does not say that it does.
    is_calibrated, is_accelerometer_calibrated : bool
        Whether a calibration is kept for gyroscope and accelerometer; the figures are those of the raw readings.
    findings : tuple of str
        Plain words, the important ones first.
    """

    file: str
    sensor: str
    stream: StreamFacts
    still: StillFacts | None
    not_still: str
    start_velocity_se_rad_s: float | None
    start_velocity_span_rad_s: tuple[float, float] | None
    scale_se: float
    rounding_m_s2: float
    rounding_rad_s: float
    is_calibrated: bool
    is_accelerometer_calibrated: bool
    findings: tuple[str, ...]
