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
from armarc.reps.body import RIGID, SetBody
from armarc.reps.measure import bound_reps, measure_rep
from armarc.reps.movements import Movement
from armarc.reps.types import Rep
from armarc.reps.uncertainty import angle_errors


def rate_of(table: FloatArray) -> float:
    """Sampling rate of a table of rows, Hz."""
    return (len(table) - 1) / float(table[-1, TIME] - table[0, TIME])


def motion_of(
    table: FloatArray,
    coordinate: str,
    mounting: Mounting,
    bias_rad_s: tuple[float, float, float],
    tilt_se_rad: float,
    side: str,
    tolerance: Tolerance,
) -> ArmMotion:
    """Some rows as the motion that the offline definitions measure; where the strap wobbles, below the wobble.

    Parameters
    ----------
    table : ndarray, shape (n, 14)
    coordinate : str
    mounting : Mounting
    bias_rad_s : tuple of 3 floats, rad/s
    tilt_se_rad : float, rad
    side : str
    tolerance : Tolerance
    """
    rate_hz = rate_of(table)
    quaternion = np.ascontiguousarray(table[:, QUATERNION : QUATERNION + 4])
    angle, bandwidth_hz = np.ascontiguousarray(table[:, ANGLE]), RATE_CUTOFF_HZ
    if mounting.wobble_rad > WOBBLING_RAD:
        bandwidth_hz = WOBBLES_ABOVE_HZ
        angle = low_pass(angle, rate_hz, bandwidth_hz)
    return ArmMotion(
        time_s=np.ascontiguousarray(table[:, TIME]),
        rate_hz=rate_hz,
        coordinate=coordinate,
        angle_rad=angle,
        angle_rate_rad_s=low_pass(table[:, ANGLE_RATE], rate_hz, min(bandwidth_hz, 0.4 * rate_hz)),
        elevation_rad=angle,
        quaternion=quaternion,
        angular_velocity_rad_s=table[:, RATE : RATE + 3] - np.array(bias_rad_s),
        specific_force_m_s2=np.ascontiguousarray(table[:, FORCE : FORCE + 3]),
        missing=table[:, MISSING] > 0,
        clipped=np.zeros(len(table), bool),
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
    body: SetBody = RIGID,
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
    body : SetBody
        What body and strap have shown in the set so far.

    Returns
    -------
    Rep or None
        Times on the clock of the rows. None when the movement holds no proper rise.
    """
    margin = round(rate_of(table))
    first = max(min(movement.earliest, movement.bottom) - margin, 0)
    stop = min(movement.latest + margin, len(table))
    part = table[first:stop]
    here = replace(
        movement,
        bottom=movement.bottom - first,
        top=movement.top - first,
        bottom_after=movement.bottom_after - first,
        earliest=movement.earliest - first,
        latest=min(movement.latest - first, len(part) - 1),
    )
    motion = motion_of(part, exercise.coordinate, mounting, bias_rad_s, tilt_se_rad, side, tolerance)
    raw = bound_reps(motion, (here,))
    if not raw:
        return None
    errors = angle_errors(motion).of_set(body)
    rep = measure_rep(motion, raw[0], exercise, errors, None, number)
    return replace(rep, quality=(*rep.quality, *body.flags))
