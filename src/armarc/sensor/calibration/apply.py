"""Corrects recordings, and says how uncertain a sensor is with and without calibration."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike

from armarc.motion.tolerance import UNCALIBRATED_SCALE_SE, Tolerance
from armarc.recording import FloatArray, Recording
from armarc.recording.types import STANDARD_GRAVITY_M_S2
from armarc.sensor.calibration.types import Calibration

MARK = "calibrated_with"
"""Key in a recording's head that says it was corrected, so that it is never corrected twice."""
UNCALIBRATED_OFFSET_SE_M_S2 = 0.02 * STANDARD_GRAVITY_M_S2 / math.sqrt(3)
"""Zero-g offset anywhere within ±20 mg (typical of datasheets)."""
UNCALIBRATED_CROSS_SE = 0.005
AGEING_OFFSET_SE_M_S2 = 0.02
"""What soldering stress, ageing and temperature move a calibrated zero-g offset (2 mg; own judgement, no source)."""
AGEING_SCALE_SE = 0.001


@dataclass(frozen=True, slots=True, kw_only=True)
class SensorErrors:
    """Standard errors of a sensor for the error budget.

    Parameters
    ----------
    scale_se : float
        Relative, of an angular velocity about the axis that was asked for.
    tilt_se_rad : float, rad
        Of the inclination at rest, from the zero-g offset and cross-axis terms.
    bias_se_rad_s : float or None, rad/s
        Of the gyroscope's bias before anything was estimated from the recording; None without calibration.
    is_calibrated : bool
    """

    scale_se: float
    tilt_se_rad: float
    bias_se_rad_s: float | None
    is_calibrated: bool


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


def gyroscope_scale_se(calibration: Calibration | None, axis: ArrayLike | None = None) -> float:
    """Relative standard error of an angular velocity.

    Parameters
    ----------
    calibration : Calibration or None
    axis : array_like, shape (3,), or None
        Axis of the turning in sensor axes, such as the movement's dominant one; None takes the worst axis.
    """
    if calibration is None or calibration.gyroscope is None:
        return UNCALIBRATED_SCALE_SE
    gyroscope = calibration.gyroscope
    if axis is None:
        return math.hypot(float(gyroscope.scale_se.max()), AGEING_SCALE_SE)
    u = np.asarray(axis, dtype=float)
    u = u / np.linalg.norm(u)
    # The error seen along u is uᵀ·δM·u; its entries are taken as independent.
    own = float((u**4) @ gyroscope.scale_se**2)
    across = 1.0 - float((u**4).sum())
    return math.sqrt(own + across * gyroscope.cross_se**2 + AGEING_SCALE_SE**2)


def tolerance_of(calibration: Calibration | None) -> Tolerance | None:
    """Scale errors left by a calibration; None without one, for a sensor whose noise is all that is known of it.

    Parameters
    ----------
    calibration : Calibration or None
    """
    if calibration is None:
        return None
    force = UNCALIBRATED_SCALE_SE
    if calibration.accelerometer is not None:
        found = calibration.accelerometer
        # A cross-axis term counts half of a scale in `Tolerance`.
        force = math.hypot(max(float(found.scale_se.max()), 2 * found.cross_se), AGEING_SCALE_SE)
    return Tolerance(gyroscope=gyroscope_scale_se(calibration), accelerometer=force, told_by="calibration")


def accelerometer_tilt_se_rad(calibration: Calibration | None) -> float:
    """Standard error of the inclination at rest, rad, from the zero-g offset and the cross-axis terms."""
    if calibration is None or calibration.accelerometer is None:
        offset, cross = UNCALIBRATED_OFFSET_SE_M_S2, UNCALIBRATED_CROSS_SE
    else:
        found = calibration.accelerometer
        offset = math.hypot(float(np.sqrt(np.mean(found.offset_se_m_s2**2))), AGEING_OFFSET_SE_M_S2)
        cross = found.cross_se
    return math.hypot(offset / STANDARD_GRAVITY_M_S2, cross)


def sensor_errors(calibration: Calibration | None, axis: ArrayLike | None = None) -> SensorErrors:
    """What the error budget of a recording has to assume of its sensor.

    Parameters
    ----------
    calibration : Calibration or None
        What `find_calibration` gave.
    axis : array_like, shape (3,), or None
        Axis of the turning in sensor axes.
    """
    gyroscope = None if calibration is None else calibration.gyroscope
    return SensorErrors(
        scale_se=gyroscope_scale_se(calibration, axis),
        tilt_se_rad=accelerometer_tilt_se_rad(calibration),
        bias_se_rad_s=None if gyroscope is None else gyroscope.bias_se_rad_s,
        is_calibrated=calibration is not None,
    )
