"""What a calibration of a sensor holds, what it makes of recordings, how uncertain a sensor is with and without it."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from armarc.motion.tolerance import UNCALIBRATED_SCALE_SE, Tolerance
from armarc.recording import FloatArray, Recording


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


MARK = "calibrated_with"
"""Key in a recording's head that says it was corrected, so that it is never corrected twice."""
AGEING_SCALE_SE = 0.001
"""What soldering stress, ageing and temperature move a calibrated scale (own judgement, no source)."""


def apply_calibration(recording: Recording, calibration: Calibration | None) -> Recording:
    """Correct a recording.

    Parameters
    ----------
    recording : Recording
    calibration : Calibration or None
        None gives the recording back as it is.

    Returns
    -------
    Recording
        With the mark ``calibrated_with`` in its metadata. One that carries the mark already comes back as it is.
        Samples at the end of the range stay flagged.
    """
    if calibration is None or MARK in recording.metadata.other:
        return recording
    force, omega = correct_samples(
        calibration, recording.specific_force_m_s2, recording.angular_velocity_rad_s
    )
    other = recording.metadata.other | {MARK: calibration.label}
    said = f"corrected with the calibration of {calibration.sensor} made at {calibration.made_at}"
    return replace(
        recording,
        specific_force_m_s2=force,
        angular_velocity_rad_s=omega,
        metadata=replace(recording.metadata, other=other),
        source=replace(recording.source, inferences=(*recording.source.inferences, said)),
    )


def correct_samples(
    calibration: Calibration, specific_force_m_s2: FloatArray, angular_velocity_rad_s: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Correct samples, shape (n, 3) each, m/s² and rad/s; what was not calibrated stays as it is."""
    force, omega = specific_force_m_s2, angular_velocity_rad_s
    if calibration.accelerometer is not None:
        force = (force - calibration.accelerometer.offset_m_s2) @ calibration.accelerometer.matrix.T
    if calibration.gyroscope is not None:
        omega = (omega - calibration.gyroscope.bias_rad_s) @ calibration.gyroscope.matrix.T
    return force, omega


def gyroscope_scale_se(calibration: Calibration | None) -> float:
    """Relative standard error of an angular velocity about the worst axis."""
    if calibration is None or calibration.gyroscope is None:
        return UNCALIBRATED_SCALE_SE
    return math.hypot(float(calibration.gyroscope.scale_se.max()), AGEING_SCALE_SE)


def tolerance_of(calibration: Calibration | None) -> Tolerance | None:
    """Scale errors left by a calibration; None without one, for a sensor whose noise is all that is known of it."""
    if calibration is None:
        return None
    force = UNCALIBRATED_SCALE_SE
    if calibration.accelerometer is not None:
        found = calibration.accelerometer
        # A cross-axis term counts half of a scale in `Tolerance`.
        force = math.hypot(max(float(found.scale_se.max()), 2 * found.cross_se), AGEING_SCALE_SE)
    return Tolerance(gyroscope=gyroscope_scale_se(calibration), accelerometer=force, told_by="calibration")
