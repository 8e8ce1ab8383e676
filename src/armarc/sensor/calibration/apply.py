"""Corrects recordings, and says how uncertain a sensor is with and without calibration."""

from __future__ import annotations

import math
from dataclasses import replace

from armarc.motion.tolerance import UNCALIBRATED_SCALE_SE, Tolerance
from armarc.recording import FloatArray, Recording
from armarc.sensor.calibration.types import Calibration

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
