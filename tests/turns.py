"""Turning points of a finished curve and the tilt of a turn, as tests compare them."""

import numpy as np

from armarc.reps.turning import Turn, turns_of


def turning_points(angle_rad, hysteresis_rad):
    """The turns of a finished curve, one by one as `armarc.reps.turning.step` confirms them."""
    at, angles, is_top = turns_of(angle_rad, hysteresis_rad)
    return [
        Turn(index, angle, (k % 2 == 0) == is_top)
        for k, (index, angle) in enumerate(zip(at, angles, strict=True))
    ]


def inclination(q):
    """Angle between the vertical axes on both sides, rad: what heading cannot change."""
    quaternion = np.asarray(q, dtype=np.float64)
    upright = np.hypot(quaternion[..., 0], quaternion[..., 3])
    tilted = np.hypot(quaternion[..., 1], quaternion[..., 2])
    return 2.0 * np.arctan2(tilted, upright)
