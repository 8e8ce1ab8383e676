"""The twist: turning the hanging forearm palm-in, palm-out shows its long axis to the gyroscope."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from armarc.motion.angles import up_in_sensor
from armarc.recording import FloatArray

LEAST_RATE_RAD_S = math.radians(40)
LEAST_TURN_RAD = math.radians(200)
"""Sum of the turning both ways; a palm-in, palm-out move turns about 90° each way, and it is done twice."""
MOST_ACROSS = 0.25
"""Share of the turning that may be about other axes."""
LEAST_SHARE_BACK = 0.35


@dataclass(frozen=True, slots=True, kw_only=True)
class Twist:
    """Long axis of the forearm, unit vector in sensor axes toward the hand, and its standard error."""

    arm_axis: FloatArray
    uncertainty_rad: float
    first_sample: int
    stop_sample: int


def find_twist(angular_velocity_rad_s: FloatArray, quaternion: FloatArray, rate_hz: float) -> Twist | None:
    """Look for a twist of the hanging arm.

    Parameters
    ----------
    angular_velocity_rad_s : ndarray, shape (n, 3), rad/s
        Sensor axes, bias removed.
    quaternion : ndarray, shape (n, 4)
        Sensor → global, scalar first.
    rate_hz : float, Hz

    Returns
    -------
    Twist or None
        A stretch that turns at least 200° in all, both ways, about one axis that stays near the vertical.
    """
    # Who turns slowly turns slowly about the vertical, too.
    square = np.einsum("ij,ij->i", angular_velocity_rad_s, angular_velocity_rad_s)
    at = np.flatnonzero(square > LEAST_RATE_RAD_S**2)
    omega, up = angular_velocity_rad_s[at], up_in_sensor(quaternion[at])
    along = -np.einsum("ij,ij->i", omega, up)
    across = np.sqrt(np.maximum(square[at] - along**2, 0.0))
    twists = (np.abs(along) > LEAST_RATE_RAD_S) & (across < MOST_ACROSS * np.abs(along))
    at, omega, up, along = at[twists], omega[twists], up[twists], along[twists]
    best: Twist | None = None
    for part in _stretches(at, longest_break=round(0.5 * rate_hz)):
        turned = along[part] / rate_hz
        forth, back = float(turned[turned > 0].sum()), float(-turned[turned < 0].sum())
        if forth + back < LEAST_TURN_RAD or min(forth, back) < LEAST_SHARE_BACK * (forth + back):
            continue
        ends = int(at[part.start]), int(at[part.stop - 1]) + 1
        twist = _principal_axis(omega[part], up[part], *ends)
        if best is None or twist.uncertainty_rad < best.uncertainty_rad:
            best = twist
    return best


def _principal_axis(omega: FloatArray, up: FloatArray, first: int, stop: int) -> Twist:
    values, vectors = np.linalg.eigh(omega.T @ omega)
    axis = vectors[:, 2]
    if float(axis @ up.mean(axis=0)) > 0:  # the hand hangs below the elbow
        axis = -axis
    # Sideways spread of the rate over the number of independent looks (about ten a second of twisting).
    spread = math.sqrt(max(float(values[0] + values[1]) / 2, 0.0) / max(float(values[2]), 1e-12))
    looks = max(len(omega) / 10.0, 1.0)
    uncertainty = math.hypot(spread / math.sqrt(looks), math.radians(1.0))
    return Twist(arm_axis=axis, uncertainty_rad=uncertainty, first_sample=first, stop_sample=stop)


def _stretches(at: np.ndarray, longest_break: int) -> list[slice]:
    """Places of samples that follow one another without a longer break."""
    if len(at) == 0:
        return []
    cuts = [0, *(np.flatnonzero(np.diff(at) > longest_break) + 1).tolist(), len(at)]
    return [slice(first, stop) for first, stop in pairwise(cuts)]
