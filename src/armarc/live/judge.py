"""Which movements of the stretch at hand are reps: the offline grouping on the live angle, then the live measures."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from armarc.exercises import Exercise
from armarc.live.rows import ANGLE, ANGLE_RATE, FORCE, MISSING, QUATERNION, RATE, TIME
from armarc.motion import ArmMotion, Mounting, Orientation, low_pass, up_in_sensor
from armarc.motion.tolerance import UNKNOWN_TOLERANCE, Tolerance
from armarc.recording import FloatArray
from armarc.reps.grouping import HURRIED, group_movements
from armarc.reps.measure import bound_reps, measure_rep
from armarc.reps.movements import Movement, half_rise_rad_s
from armarc.reps.types import Rep
from armarc.reps.uncertainty import angle_errors

RATE_CUTOFF_HZ = 6.0
ALIKE_RAD = math.radians(35)
ALIKE_RATIO = 1.7
ALIKE_SPEED = 4.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Kind:
    """What a set's movements look like: direction of up at the top, rise, speed of the middle of the rise, and the
    time from top to top (of a single movement from bottom to bottom)."""

    up: tuple[float, float, float]
    rise_rad: float
    speed_rad_s: float
    cycle_s: float
    size: int

    def hurries_beside(self, main: Kind) -> bool:
        """Whether it is neither like another set nor as unhurried as a set of another exercise, as offline."""
        slack = 1 + 1 / max(self.size - 1, 1)
        quick = self.speed_rad_s > HURRIED * main.speed_rad_s or main.cycle_s > HURRIED * self.cycle_s * slack
        return quick and not self.resembles(main)

    def resembles(self, other: Kind) -> bool:
        """Whether two sets could be of the same exercise."""
        cosine = sum(a * b for a, b in zip(self.up, other.up, strict=True))
        return (
            cosine > math.cos(ALIKE_RAD)
            and abs(math.log(self.rise_rad / other.rise_rad)) < math.log(ALIKE_RATIO)
            and abs(math.log(self.speed_rad_s / other.speed_rad_s)) < math.log(ALIKE_SPEED)
        )


def rate_of(table: FloatArray) -> float:
    """Sampling rate of a table of rows, Hz."""
    return (len(table) - 1) / float(table[-1, TIME] - table[0, TIME])


def find_groups(table: FloatArray, exercise: Exercise) -> tuple[tuple[Movement, ...], ...]:
    """Groups of look-alike movements in a table of rows; indices count from its first row."""
    return group_movements(
        np.ascontiguousarray(table[:, ANGLE]),
        up_in_sensor(table[:, QUATERNION : QUATERNION + 4]),
        rate_of(table),
        exercise.smallest_rom_rad,
        exercise.rest_s,
    ).sets


def kind_of(table: FloatArray, movements: tuple[Movement, ...]) -> Kind:
    """What a group of movements looks like."""
    angle, rate_hz = np.ascontiguousarray(table[:, ANGLE]), rate_of(table)
    tops = [m.top for m in movements]
    up = up_in_sensor(table[tops, QUATERNION : QUATERNION + 4]).mean(axis=0)
    up /= max(float(np.linalg.norm(up)), 1e-9)
    speeds = [max(half_rise_rad_s(angle, m, rate_hz), 1e-3) for m in movements]
    return Kind(
        up=(float(up[0]), float(up[1]), float(up[2])),
        rise_rad=float(np.median([m.rise_rad for m in movements])),
        speed_rad_s=float(np.median(speeds)),
        cycle_s=float(
            np.median(np.diff(tops)) if len(tops) > 1 else movements[0].bottom_after - movements[0].bottom
        )
        / rate_hz,
        size=len(movements),
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
    motion = ArmMotion(
        time_s=np.ascontiguousarray(part[:, TIME]),
        rate_hz=rate_hz,
        coordinate=coordinate,
        angle_rad=np.ascontiguousarray(part[:, ANGLE]),
        angle_rate_rad_s=low_pass(part[:, ANGLE_RATE], rate_hz, min(RATE_CUTOFF_HZ, 0.4 * rate_hz)),
        elevation_rad=np.ascontiguousarray(part[:, ANGLE]),
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
