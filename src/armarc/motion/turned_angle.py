"""The angle of a movement that is not told by how far the arm is raised: about the vertical, or about its own axis."""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise

import numpy as np

from armarc.motion.angles import angle_about, dominant_axis, horizontal_angle, horizontal_rate, remove_drift
from armarc.motion.quaternions import rotate
from armarc.recording import BoolArray, FloatArray

MOVING_RAD_S = math.radians(20)
QUIET_RAD_S = math.radians(8)
UPRIGHT_AXIS = 0.7
"""Vertical share of the dominant axis above which a horizontal angle makes sense."""
LEVEL_ARM = 0.8
"""An arm that points further up or down than this, as a sine, has no heading to speak of."""
ROUGH_SHARE = 0.6
SetSpan = tuple[tuple[int, int], tuple[int, ...]]
"""Half-open range of a set's samples, and those at which the arm rests between its reps."""


def turned_angle(
    quaternion: FloatArray,
    omega_rad_s: FloatArray,
    arm_axis: FloatArray,
    coordinate: str,
    sets: Sequence[SetSpan],
    notes: list[str],
) -> tuple[FloatArray, FloatArray, str]:
    """Horizontal or movement angle.

    Parameters
    ----------
    quaternion : ndarray, shape (n, 4)
        Sensor → global.
    omega_rad_s : ndarray, shape (n, 3), rad/s
        Sensor axes, bias removed.
    arm_axis : ndarray, shape (3,)
        Shoulder → hand in sensor axes.
    coordinate : str
        ``"horizontal"`` or ``"movement"``.
    sets : sequence of SetSpan
        In time order; empty before anything has been counted.
    notes : list of str
        What has to be said is added.

    Returns
    -------
    angle_rad, rate_rad_s : ndarray, shape (n,)
        Rising from the bottom of the sets. A movement angle counts from each set's bottom, about the axis that the set
        turns about: people turn round between sets, and may do another exercise.
    coordinate : str
        Which of the two it became.
    """
    turning = rotate(quaternion, omega_rad_s)
    moving = np.sqrt(np.einsum("ij,ij->i", turning, turning)) > MOVING_RAD_S
    axis: FloatArray | None = None
    if coordinate == "horizontal":
        inside = np.zeros(len(moving), bool)
        for (first, stop), _ in sets:
            inside[first:stop] = True
        axis, _ = _dominant(turning, moving & inside if sets else moving)
        if abs(axis[2]) >= UPRIGHT_AXIS:
            arm = rotate(quaternion, np.broadcast_to(arm_axis, omega_rad_s.shape))
            if moving.any() and float(np.median(np.abs(arm[moving, 2]))) < LEVEL_ARM:
                angle, rate = horizontal_angle(arm), horizontal_rate(arm, turning)
                longest = max(sets, key=lambda one: len(one[1]), default=((0, len(angle)), ()))
                angle = remove_drift(angle, np.asarray(longest[1]))
                sign = _rising_sign(angle, rate, *longest)
                return sign * angle, sign * rate, "horizontal"
            axis = np.array([0.0, 0.0, 1.0])
        else:
            axis = None
            notes.append(
                "the movement does not turn about the vertical: measured as the angle about its own dominant axis"
            )
    return *_about_own_axes(quaternion, turning, moving, axis, sets, notes), "movement"


def _about_own_axes(
    quaternion: FloatArray,
    turning: FloatArray,
    moving: BoolArray,
    axis: FloatArray | None,
    sets: Sequence[SetSpan],
    notes: list[str],
) -> tuple[FloatArray, FloatArray]:
    """Angle about each set's own axis, or about one that is given, from its bottom; from set to set at half-way."""
    n = len(moving)
    spans = list(sets) or [((0, n), ())]
    middles = [(one[0][1] + other[0][0]) // 2 for one, other in pairwise(spans)]
    angle, rate, least = np.empty(n), np.empty(n), 1.0
    for ((first, last), bottoms), (begin, stop) in zip(spans, pairwise([0, *middles, n]), strict=True):
        own, share = _dominant(turning[first:last], moving[first:last])
        own = own if axis is None else axis
        least = min(least, share)
        at = np.clip(np.asarray(bottoms, dtype=np.intp), begin, stop - 1) - begin  # two sets may share one
        turned = angle_about(quaternion[begin:stop], own, int(at[0]) if len(at) else 0)
        turned, speed = remove_drift(turned, at), turning[begin:stop] @ own
        sign = _rising_sign(turned, speed, (first - begin, last - begin), at)
        angle[begin:stop], rate[begin:stop] = sign * turned, sign * speed
    if least < ROUGH_SHARE:
        notes.append(
            f"only {100 * least:.0f} % of the movement turns about one axis: the movement angle is a rough measure"
        )
    return angle, rate


def _dominant(turning: FloatArray, used: BoolArray) -> tuple[FloatArray, float]:
    return dominant_axis(turning, used.astype(float) if used.any() else None)


def _rising_sign(
    angle_rad: FloatArray, rate_rad_s: FloatArray, span: tuple[int, int], bottoms: Sequence[int] | np.ndarray
) -> float:
    """+1 when the angle rises from the bottoms, −1 when it has to be turned round."""
    if len(bottoms) == 0:
        return resting_sign(angle_rad, rate_rad_s)
    low = float(np.median(angle_rad[np.asarray(bottoms)]))
    return 1.0 if float(angle_rad[max(span[0], 0) : span[1]].mean()) >= low else -1.0


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
