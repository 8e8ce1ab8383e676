"""What a calibration of a sensor holds."""

from __future__ import annotations

from dataclasses import dataclass

from armarc.recording import FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class AccelerometerCalibration:
    """True specific force = ``matrix @ (reading − offset)``.

    Parameters
    ----------
    offset_m_s2 : ndarray, shape (3,), m/s²
        Zero-g offset.
    matrix : ndarray, shape (3, 3)
        Scale on the diagonal, cross-axis off it; symmetric, as a turn of the whole sensor cannot be seen at rest.
    offset_se_m_s2, scale_se : ndarray, shape (3,)
        Standard errors per axis; `scale_se` is relative and leaves out the error all axes share through local gravity.
    cross_se : float
        Standard error of a cross-axis term, rad.
    poses, rests : int
    spread_before_m_s2, spread_after_m_s2 : float, m/s²
        Root mean square of the gravity norm's deviation, as delivered and with each pose predicted by the others.
    gravity_m_s2 : float, m/s²
        Gravity that was assumed.
    """

    offset_m_s2: FloatArray
    matrix: FloatArray
    offset_se_m_s2: FloatArray
    scale_se: FloatArray
    cross_se: float
    poses: int
    rests: int
    spread_before_m_s2: float
    spread_after_m_s2: float
    gravity_m_s2: float


@dataclass(frozen=True, slots=True, kw_only=True)
class GyroscopeCalibration:
    """True angular velocity = ``matrix @ (reading − bias)``.

    Parameters
    ----------
    bias_rad_s : ndarray, shape (3,), rad/s
        Mean over the rests.
    bias_se_rad_s : float, rad/s
        How far the bias of another day may be from it, one axis: never below `LEAST_BIAS_SE_RAD_S`.
    matrix : ndarray, shape (3, 3)
        Scale on the diagonal, alignment with the accelerometer off it.
    scale_se : ndarray, shape (3,)
        Relative standard error of each axis's scale. An axis that was never turned keeps that of a sensor nobody
        calibrated.
    cross_se : float
        Standard error of an off-diagonal term, rad.
    turns : int
    turned_axes : tuple of str
        Axes whose scale the turns settled.
    error_before_rad, error_after_rad : float, rad
        Root mean square error of a turn, as delivered (bias removed) and with each turn predicted by the others.
    mean_turn_rad : float, rad
    """

    bias_rad_s: FloatArray
    bias_se_rad_s: float
    matrix: FloatArray
    scale_se: FloatArray
    cross_se: float
    turns: int
    turned_axes: tuple[str, ...]
    error_before_rad: float
    error_after_rad: float
    mean_turn_rad: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Calibration:
    """Calibration of one sensor; either half may be missing.

    ``sensor`` is its name or nickname, ``serial`` and ``address`` what tells it from another of the same name.
    """

    sensor: str
    made_at: str
    serial: str = ""
    address: str = ""
    files: tuple[str, ...] = ()
    temperature_c: float | None = None
    accelerometer: AccelerometerCalibration | None = None
    gyroscope: GyroscopeCalibration | None = None

    @property
    def label(self) -> str:
        """How a corrected recording names it."""
        return f"{self.sensor} {self.made_at}"
