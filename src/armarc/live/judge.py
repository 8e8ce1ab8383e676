"""One movement measured on the live angle."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from armarc.arm_track import RATE_CUTOFF_HZ, WOBBLING_RAD
from armarc.exercises import Exercise
from armarc.live.rows import ANGLE, ANGLE_RATE, FORCE, MISSING, QUATERNION, RATE, TIME
from armarc.motion import ArmMotion, Mounting, Orientation, low_pass
from armarc.motion.lever_arm import WOBBLES_ABOVE_HZ
from armarc.motion.tolerance import UNKNOWN_TOLERANCE, Tolerance
from armarc.recording import FloatArray
from armarc.reps.measure import bound_reps, measure_rep
from armarc.reps.movements import Movement
from armarc.reps.types import Rep
from armarc.reps.uncertainty import angle_errors


def rate_of(table: FloatArray) -> float:
    """Sampling rate of a table of rows, Hz."""
    return (len(table) - 1) / float(table[-1, TIME] - table[0, TIME])


def measure_movement(
    table: FloatArray,
    movement: Movement,
    exercise: Exercise,
    mounting: Mounting,
    bias_rad_s: tuple[float, float, float],
    tilt_se_rad: float,
    side: str,
    number: int,
    tolerance: Tolerance = UNKNOWN_TOLERANCE,
) -> Rep | None:
    """Measure one movement with the offline definitions on the live angle.

    Parameters
    ----------
    table : ndarray, shape (n, 14)
        Rows that hold the movement.
    movement : Movement
        Indices into `table`.
    tolerance : Tolerance
        Scale errors of the sensor.

    Returns
    -------
    Rep or None
        Times on the clock of the rows. None when the movement holds no proper rise.
    """
    margin = round(rate_of(table))
    first = max(min(movement.earliest, movement.bottom) - margin, 0)
    stop = min(movement.latest + margin, len(table))
    part = table[first:stop]
    rate_hz = rate_of(part)
    here = replace(
        movement,
        bottom=movement.bottom - first,
        top=movement.top - first,
        bottom_after=movement.bottom_after - first,
        earliest=movement.earliest - first,
        latest=min(movement.latest - first, len(part) - 1),
    )
    quaternion = np.ascontiguousarray(part[:, QUATERNION : QUATERNION + 4])
    coordinate = exercise.coordinate
    angle, bandwidth_hz = np.ascontiguousarray(part[:, ANGLE]), RATE_CUTOFF_HZ
    if mounting.wobble_rad > WOBBLING_RAD:
        bandwidth_hz = WOBBLES_ABOVE_HZ
        angle = low_pass(angle, rate_hz, bandwidth_hz)
    motion = ArmMotion(
        time_s=np.ascontiguousarray(part[:, TIME]),
        rate_hz=rate_hz,
        coordinate=coordinate,
        angle_rad=angle,
        angle_rate_rad_s=low_pass(part[:, ANGLE_RATE], rate_hz, min(bandwidth_hz, 0.4 * rate_hz)),
        elevation_rad=angle,
        quaternion=quaternion,
        angular_velocity_rad_s=part[:, RATE : RATE + 3] - np.array(bias_rad_s),
        specific_force_m_s2=np.ascontiguousarray(part[:, FORCE : FORCE + 3]),
        missing=part[:, MISSING] > 0,
        clipped=np.zeros(len(part), bool),
        orientation=Orientation(
            quaternion=quaternion,
            gyroscope_bias_rad_s=np.array(bias_rad_s),
            bias_se_rad_s=0.0,
            tilt_se_rad=tilt_se_rad,
            method="causal",
        ),
        mounting=mounting,
        side=side,
        tolerance=tolerance,
    )
    raw = bound_reps(motion, (here,))
    if not raw:
        return None
    return measure_rep(motion, raw[0], exercise, angle_errors(motion), None, number)
