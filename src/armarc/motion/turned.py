"""The angle of movements that raise no arm: about the vertical, or about the axis they turn about themselves.

Nothing shows a heading: a lifter faces elsewhere in the next set, and the smoother's heading drifts meanwhile. So
every set has an axis of its own.
"""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np

from armarc.motion.angles import angle_about, dominant_axis, horizontal_angle, horizontal_rate
from armarc.motion.quaternions import rotate
from armarc.recording import FloatArray

MOVING_RAD_S = math.radians(20)
QUIET_RAD_S = math.radians(8)
UPRIGHT_AXIS = 0.7
"""Vertical share of the dominant axis above which a horizontal angle makes sense."""
ONE_AXIS = 0.6
"""Share of the turning below which one axis says little."""


def turned_angle(
    quaternion: FloatArray,
    angular_velocity_rad_s: FloatArray,
    arm_axis: FloatArray,
    coordinate: str,
    ranges: tuple[tuple[int, int], ...],
    notes: list[str],
) -> tuple[FloatArray, FloatArray, str]:
    """Horizontal or movement angle, its rate, and which of the two it became.

    Parameters
    ----------
    quaternion : ndarray, shape (n, 4)
        Sensor → global.
    angular_velocity_rad_s : ndarray, shape (n, 3), rad/s
        Sensor axes.
    arm_axis : ndarray, shape (3,)
        Shoulder → hand, sensor axes.
    coordinate : str
        ``"horizontal"`` or ``"movement"``.
    ranges : tuple of (first, stop)
        Samples of the sets; empty while none is known.
    notes : list of str
        What the user should know is added.

    Returns
    -------
    angle, rate : ndarray, shape (n,), rad and rad/s
        Arbitrary zero.
    coordinate : str
    """
    turning = rotate(quaternion, angular_velocity_rad_s)
    moving = np.sqrt(np.einsum("ij,ij->i", turning, turning)) > MOVING_RAD_S
    ranges = ranges or ((0, len(turning)),)
    found = []
    for first, stop in ranges:
        worth = moving[first:stop].astype(float)
        found.append(dominant_axis(turning[first:stop], worth if worth.any() else None))
    if coordinate == "horizontal":
        if float(np.median([abs(axis[2]) for axis, _ in found])) >= UPRIGHT_AXIS:
            arm = rotate(quaternion, np.broadcast_to(arm_axis, turning.shape))
            level = float(np.median(np.abs(arm[moving, 2]))) if moving.any() else 1.0
            if level < 0.8:
                angle, rate = horizontal_angle(arm), horizontal_rate(arm, turning)
                sign = resting_sign(angle, rate)
                return sign * angle, sign * rate, "horizontal"
            found = [(np.array([0.0, 0.0, 1.0]), share) for _, share in found]
        else:
            notes.append(
                "the movement does not turn about the vertical: measured as the angle about its own dominant axis"
            )
    share = min(share for _, share in found)
    if share < ONE_AXIS:
        notes.append(
            f"only {100 * share:.0f} % of the movement turns about one axis: the movement angle is a rough measure"
        )
    angle, rate = np.zeros(len(turning)), np.zeros(len(turning))
    for part, (first, stop), (axis, _) in zip(_stretches(ranges, len(turning)), ranges, found, strict=True):
        about = angle_about(quaternion[part], axis, quaternion[first])
        speed = turning[part] @ axis
        inside = slice(max(first - part.start, 0), stop - part.start)
        sign = resting_sign(about[inside], speed[inside])
        _append(angle, part, sign * about)
        rate[part] = sign * speed
    return angle, rate, "movement"


def risen(
    angle_rad: FloatArray, rate_rad_s: FloatArray, sets: list[tuple[tuple[int, int, int], ...]]
) -> tuple[FloatArray, FloatArray]:
    """Turn an angle of arbitrary zero round wherever it falls while the reps go up.

    Parameters
    ----------
    angle_rad, rate_rad_s : ndarray, shape (n,)
    sets : list of tuple of (bottom, top, bottom after)
        Samples of the reps of each set.

    Returns
    -------
    angle, rate : ndarray, shape (n,)
    """
    angle, rate = angle_rad.copy(), rate_rad_s.copy()
    ranges = tuple((reps[0][0], reps[-1][2]) for reps in sets)
    for part, reps in zip(_stretches(ranges, len(angle)), sets, strict=True):
        rises = [angle_rad[top] - angle_rad[bottom] for bottom, top, _ in reps]
        sign = 1.0 if float(np.median(rises)) >= 0 else -1.0
        _append(angle, part, sign * angle_rad[part])
        rate[part] *= sign
    return angle, rate


def _append(angle: FloatArray, part: slice, values: FloatArray) -> None:
    """Go on with an angle of arbitrary zero where the part before ended."""
    angle[part] = values
    if part.start:
        angle[part] += angle[part.start - 1] - values[0]


def _stretches(ranges: tuple[tuple[int, int], ...], samples: int) -> list[slice]:
    """Cut a recording half-way between its sets, one part for each."""
    middles = [(stop + first) // 2 for (_, stop), (first, _) in pairwise(ranges)]
    return [slice(first, stop) for first, stop in pairwise([0, *middles, samples])]


def resting_sign(angle_rad: FloatArray, rate_rad_s: FloatArray) -> float:
    """Decide which end of a movement is its bottom: the one the arm rests at, else the one it starts from.

    Returns
    -------
    float
        +1 when the angle already rises from the bottom, −1 when it has to be turned round.
    """
    moving = np.flatnonzero(np.abs(rate_rad_s) > MOVING_RAD_S)
    if len(moving) == 0:
        return 1.0
    part = angle_rad[moving[0] : moving[-1] + 1]
    low, high = np.quantile(part, [0.05, 0.95])
    if high - low < 1e-6:
        return 1.0
    quiet = np.abs(rate_rad_s[moving[0] : moving[-1] + 1]) < QUIET_RAD_S
    place = (part - low) / (high - low)
    at_low, at_high = float((quiet & (place < 0.35)).sum()), float((quiet & (place > 0.65)).sum())
    if max(at_low, at_high) > 2 * min(at_low, at_high) + 1:
        return 1.0 if at_low > at_high else -1.0
    return 1.0 if (angle_rad[moving[0]] - low) / (high - low) < 0.5 else -1.0
