"""How the shoulder moved, seen from the wrist: what is left of the accelerometer once gravity and the arm's own
rotation about the shoulder are taken away."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from armarc.motion.filters import low_pass
from armarc.motion.kinematics import angular_acceleration, lever_acceleration
from armarc.motion.quaternions import rotate
from armarc.recording import STANDARD_GRAVITY_M_S2, FloatArray

BANDWIDTH_HZ = 8.0
MEDIAN_STEPS, MEDIAN_SHARE = 10, 0.01
"""Of the spatial median; no single point counts more than a hundred of the usual distance."""


def path_diameter(position_m: FloatArray) -> float:
    """Peak-to-peak of a path: the largest distance between two of its points (of 80 at least), m.

    Parameters
    ----------
    position_m : ndarray, shape (m, 3), m
    """
    return path_diameters([position_m])[0]


def path_diameters(positions_m: Sequence[FloatArray]) -> list[float]:
    """The same of several paths of equal length, m."""
    paths = np.stack([path[:: max(1, len(path) // 80)] for path in positions_m])
    points = paths - paths[:, :1]
    # |a − b|² = |a|² + |b|² − 2 a·b, the path starts at the origin, so that nothing cancels badly.
    square, one = (points**2).sum(axis=2, keepdims=True), np.ones((*points.shape[:2], 1))
    apart = np.concatenate([points, square, one], axis=2) @ np.concatenate(
        [-2.0 * points, one, square], axis=2
    ).transpose(0, 2, 1)
    return [math.sqrt(max(float(each), 0.0)) for each in apart.max(axis=(1, 2), initial=0.0)]


def spatial_medians(groups: Sequence[FloatArray]) -> FloatArray:
    """The point nearest to all of each group (sum of distances): what is loud for less than half of the time hardly
    moves it.

    Unlike the median of each component it turns with the vectors, so that nothing depends on the heading of the
    global frame, which is arbitrary. Steps of Weiszfeld (1937), Tohoku Math J 43:355, from the mean.

    Parameters
    ----------
    groups : sequence of ndarray, shape (n, 3), n at least 1 and each its own

    Returns
    -------
    ndarray, shape (groups, 3)
    """
    if not groups:
        return np.empty((0, 3))
    vectors, count = np.concatenate(groups), np.array([len(group) for group in groups])
    firsts = np.cumsum(count) - count
    middle = np.add.reduceat(vectors, firsts) / count[:, None]
    for _ in range(MEDIAN_STEPS):
        apart = vectors - np.repeat(middle, count, axis=0)
        distance = np.sqrt(np.einsum("ij,ij->i", apart, apart))
        usual = np.add.reduceat(distance, firsts) / count
        weight = 1 / (distance + np.repeat(MEDIAN_SHARE * usual + 1e-12, count))
        middle = np.add.reduceat(weight[:, None] * vectors, firsts)
        middle /= np.add.reduceat(weight, firsts)[:, None]
    return np.asarray(middle)


def shoulder_acceleration(
    quaternion: FloatArray,
    angular_velocity_rad_s: FloatArray,
    specific_force_m_s2: FloatArray,
    rate_hz: float,
    lever_arm_m: FloatArray,
    *,
    bandwidth_hz: float = BANDWIDTH_HZ,
) -> FloatArray:
    """Acceleration of the shoulder centre, ``R·f − g·up − R·(α×r + ω×(ω×r))``.

    Parameters
    ----------
    quaternion : ndarray, shape (n, 4)
    angular_velocity_rad_s : ndarray, shape (n, 3), rad/s
        Sensor axes, bias removed.
    specific_force_m_s2 : ndarray, shape (n, 3), m/s²
    rate_hz : float, Hz
    lever_arm_m : ndarray, shape (3,), m
        Shoulder → sensor, sensor axes.
    bandwidth_hz : float, Hz
        Everything is low-passed to this.

    Returns
    -------
    ndarray, shape (n, 3), m/s², global frame
    """
    alpha = angular_acceleration(angular_velocity_rad_s, rate_hz)
    own = lever_acceleration(angular_velocity_rad_s, alpha, lever_arm_m)
    total = rotate(quaternion, specific_force_m_s2 - own)
    total[:, 2] -= STANDARD_GRAVITY_M_S2
    return low_pass(total, rate_hz, min(bandwidth_hz, 0.4 * rate_hz))


def integrate_cycle(acceleration_m_s2: FloatArray, rate_hz: float) -> FloatArray:
    """Integrate an acceleration twice between two rests at the same place.

    Parameters
    ----------
    acceleration_m_s2 : ndarray, shape (m, k), m/s²
        Any number of columns: vectors, or functions of time an acceleration error may consist of.
    rate_hz : float, Hz

    Returns
    -------
    ndarray, shape (m, k), m
        Position from the place of rest: zero at both ends, as is its rate. Four conditions for two constants of
        integration leave two for the acceleration: an error that is constant or grows evenly (tilt, zero-g
        offset and their drift) cancels exactly.
    """
    step = 1.0 / rate_hz
    velocity = _integral(acceleration_m_s2, step)
    position = _integral(velocity, step)
    time_s = np.arange(len(acceleration_m_s2)) * step
    if len(time_s) < 3:
        return np.zeros_like(position)
    # e(t) = c0 + c1·t has the integrals c0·t + c1·t²/2 and c0·t²/2 + c1·t³/6.
    last = float(time_s[-1])
    ends = np.array([[last, last**2 / 2], [last**2 / 2, last**3 / 6]])
    error = np.linalg.solve(ends, np.stack([velocity[-1], position[-1]]))
    return np.asarray(position - np.outer(time_s**2 / 2, error[0]) - np.outer(time_s**3 / 6, error[1]))


def _integral(values: FloatArray, step: float) -> FloatArray:
    out = np.zeros_like(values)
    np.cumsum((values[1:] + values[:-1]) * (0.5 * step), axis=0, out=out[1:])
    return out
