"""The movement of the sensor as the counting sees it: no arm, no mounting, no exercise.

Everything is told by the path that the vertical takes on the sensor's sphere. The angle of the vertical about the
sensor axis the moving arm turns about neither drifts nor needs to know where the arm lies; a movement about the
vertical itself shows in the integrated rate instead.
"""

from __future__ import annotations

import math
from bisect import bisect_left
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from armarc.motion import up_in_sensor
from armarc.motion.quaternions import cached_pieces, to_matrix
from armarc.recording import STANDARD_GRAVITY_M_S2, BoolArray, FloatArray

COUNTING_RATE_HZ = 30.0
"""A rep has nothing faster to tell; the turning points are found again on the full curve."""
MOVING_RAD_S = math.radians(20)
STILL_RAD_S = math.radians(15)
REST_S = 0.4
WOBBLE_S = 0.2
"""Longest turn to and fro of a loose strap: where it wobbles, a sensor that turns nowhere over so long is at rest."""
Rests = NDArray[np.intp]
"""Half-open ranges of samples in time order, shape (k, 2)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SensorPath:
    """What the sensor did, thinned out to about `COUNTING_RATE_HZ`; n samples.

    Parameters
    ----------
    rate_hz : float, Hz
    every : int
        Sample k is sample ``k * every`` of the full recording.
    up : ndarray, shape (n, 3)
        Global up in sensor axes.
    ahead : ndarray of float32, shape (n, 3)
        A level direction that stays, in sensor axes.
    turned_rad : ndarray, shape (n, 3), rad
        Integral of the angular velocity, sensor axes.
    swept_rad2 : ndarray, shape (n, 3), rad²
        Twice the area that the path of `turned_rad` has swept about its start, as a vector.
    added_rad : ndarray, shape (n, 3), rad
        Running sum of `turned_rad`, from which its means are taken.
    yaw_rad : ndarray, shape (n,), rad
        Integral of its part about the vertical.
    rests : tuple of (first, stop)
        Half-open ranges in which the sensor is at rest.
    level_rad : ndarray, shape (n - 1, 3), rad
        Turning from sample to sample without its part about the vertical, sensor axes.
    moves : ndarray of bool, shape (n - 1,)
        Whether that is more than a resting sensor's.
    acceleration_m_s2 : ndarray, shape (n, 3), m/s², or None
        Beside gravity, sensor axes; None where nobody asked for it.
    missing : ndarray of bool, shape (n,), or None
        Filled in over a gap; None where nothing was.
    """

    rate_hz: float
    every: int
    up: FloatArray
    ahead: NDArray[np.float32]
    turned_rad: FloatArray
    swept_rad2: FloatArray
    added_rad: FloatArray
    yaw_rad: FloatArray
    rests: tuple[tuple[int, int], ...]
    level_rad: FloatArray
    moves: BoolArray
    acceleration_m_s2: FloatArray | None = None
    missing: BoolArray | None = None

    def __len__(self) -> int:
        return len(self.up)


def sensor_path(
    quaternion: FloatArray,
    angular_velocity_rad_s: FloatArray,
    rate_hz: float,
    specific_force_m_s2: FloatArray | None = None,
    missing: BoolArray | None = None,
) -> SensorPath:
    """Thin out an oriented recording.

    Parameters
    ----------
    quaternion : ndarray, shape (m, 4)
        Sensor → global, scalar first.
    angular_velocity_rad_s : ndarray, shape (m, 3), rad/s
        Sensor axes, bias removed.
    rate_hz : float, Hz
    specific_force_m_s2 : ndarray, shape (m, 3), m/s², or None
    missing : ndarray of bool, shape (m,), or None

    Returns
    -------
    SensorPath
    """
    every = max(1, round(rate_hz / COUNTING_RATE_HZ))
    # Copies: a view would keep the whole recording's.
    turned = np.stack([_integral(rate, rate_hz)[::every].copy() for rate in angular_velocity_rad_s.T], axis=1)
    about_up = np.empty(len(quaternion))
    for part in cached_pieces(len(quaternion)):
        about_up[part] = np.einsum("ij,ij->i", up_in_sensor(quaternion[part]), angular_velocity_rad_s[part])
    yaw = _integral(about_up, rate_hz)[::every].copy()
    del about_up
    slow_hz = rate_hz / every
    up = up_in_sensor(quaternion[::every])
    steps = np.diff(turned, axis=0)
    level = steps - np.einsum("ij,ij->i", steps, up[:-1])[:, None] * up[:-1]
    return SensorPath(
        rate_hz=slow_hz,
        every=every,
        up=up,
        ahead=to_matrix(quaternion[::every])[:, 0].astype(np.float32),
        turned_rad=turned,
        swept_rad2=_swept(turned),
        added_rad=np.cumsum(turned, axis=0),
        yaw_rad=yaw,
        rests=_rests(_still(turned, slow_hz), math.ceil(REST_S * slow_hz)),
        level_rad=level,
        moves=np.einsum("ij,ij->i", level, level) > (MOVING_RAD_S / slow_hz) ** 2,
        acceleration_m_s2=None
        if specific_force_m_s2 is None
        else np.stack([_thinned(each, every) for each in specific_force_m_s2.T], axis=1)
        - STANDARD_GRAVITY_M_S2 * up,
        missing=None if missing is None else _thinned(missing.astype(np.float64), every) > 0,
    )


def _swept(turned: FloatArray) -> FloatArray:
    out = np.zeros_like(turned)
    np.cumsum(cross_rows(turned[:-1], np.diff(turned, axis=0)), axis=0, out=out[1:])
    return out


def cross_rows(one: FloatArray, other: FloatArray) -> FloatArray:
    """Cross products of rows, shape (n, 3); NumPy's own of few takes three times as long."""
    (a, b, c), (x, y, z) = one.T, other.T
    return np.stack([b * z - c * y, c * x - a * z, a * y - b * x], axis=1)


def _thinned(values: FloatArray, every: int) -> FloatArray:
    """Every so manyth value, as the mean of those around it."""
    total = np.zeros(len(values) + 1)
    np.cumsum(values, out=total[1:])
    middle = np.arange(0, len(values), every)
    first, stop = np.maximum(middle - every // 2, 0), np.minimum(middle + every // 2 + 1, len(values))
    return np.asarray((total[stop] - total[first]) / (stop - first))


def _integral(rate: FloatArray, rate_hz: float) -> FloatArray:
    out = np.zeros_like(rate)
    np.cumsum(rate[:-1], out=out[1:])
    out /= rate_hz
    return out


def _still(turned: FloatArray, rate_hz: float) -> np.ndarray:
    """Samples at which the sensor does not turn, or only to and fro about the same place for longer than a rest."""
    still = np.zeros(len(turned), dtype=np.bool_)
    if len(turned) > 1:
        step = np.linalg.norm(np.diff(turned, axis=0), axis=1) * rate_hz
        still[1:] = step < STILL_RAD_S
        still[0] = still[1]
    over = max(1, round(WOBBLE_S * rate_hz))
    way = np.linalg.norm(turned[over:] - turned[:-over], axis=1) * rate_hz / over
    for first, stop in _rests(way < STILL_RAD_S, math.ceil((REST_S + WOBBLE_S) * rate_hz)):
        still[first + over // 2 : stop + over // 2] = True
    return still


def _rests(still: np.ndarray, least: int) -> tuple[tuple[int, int], ...]:
    edges = np.flatnonzero(np.diff(np.concatenate([[False], still, [False]]).astype(np.int8)))
    return tuple(
        (int(first), int(stop))
        for first, stop in zip(edges[::2], edges[1::2], strict=True)
        if stop - first >= least
    )


def rests_within(path: SensorPath, first: int, stop: int) -> Rests:
    """Rests of a stretch, shape (k, 2); one that its ends cut counts when half of a rest is left."""
    begin = max(bisect_left(path.rests, (first,)) - 1, 0)
    end = bisect_left(path.rests, (stop,))
    clipped = [(max(a, first), min(b, stop)) for a, b in path.rests[begin:end]]
    kept = [(a, b) for a, b in clipped if b - a >= 0.5 * REST_S * path.rate_hz]
    return np.array(kept, dtype=np.intp).reshape(-1, 2)


def turning_axis(path: SensorPath, first: int, stop: int) -> FloatArray | None:
    """Sensor axis about which a stretch turns most, the turning about the vertical left out.

    Returns
    -------
    ndarray, shape (3,), or None
        Unit vector of arbitrary sign; None where nothing moves.
    """
    level = _level_steps(path, first, stop)
    return None if level is None else np.linalg.eigh(level.T @ level)[1][:, 2]


def furthest_axes(path: SensorPath, first: int, stop: int) -> FloatArray | None:
    """The same for a stretch that may hold more than one movement, and the next axis at right angles, shape (2, 3).

    Every step counts by how far it turns and not by its square: quick handling would outweigh a set of slow reps.
    """
    level = _level_steps(path, first, stop)
    if level is None:
        return None
    size = np.sqrt(np.einsum("ij,ij->i", level, level))
    _, vectors = np.linalg.eigh((level / size[:, None]).T @ level)
    return np.ascontiguousarray(vectors[:, :0:-1].T)


def _level_steps(path: SensorPath, first: int, stop: int) -> FloatArray | None:
    """Turning from sample to sample without its part about the vertical, where the sensor moves, shape (k, 3)."""
    within = slice(first, max(stop - 1, first))
    level = path.level_rad[within][path.moves[within]]
    return level if len(level) else None


def angle_about(up: FloatArray, axis: FloatArray, within: slice = slice(None)) -> FloatArray:
    """Angle of the vertical about a sensor axis.

    Parameters
    ----------
    up : ndarray, shape (n, 3)
        Global up in sensor axes.
    axis : ndarray, shape (3,)
    within : slice
        Samples whose middle counts.

    Returns
    -------
    ndarray, shape (n,), rad
        Within ±180° of the middle of the path, so that a vertical that passes near the axis, where its angle means
        nothing, leaves no whole turn behind.
    """
    steps = up[within][1:] - up[within][:-1]
    middle = np.sqrt(np.einsum("ij,ij->i", steps, steps)) @ up[within][1:]
    middle = middle - (middle @ axis) * axis
    size = math.sqrt(float(middle @ middle))
    if size < 1e-3:
        middle = np.cross(axis, np.eye(3)[int(np.argmin(np.abs(axis)))])
        size = float(np.linalg.norm(middle))
    ahead = middle / size
    (a, b, c), (x, y, z) = axis.tolist(), ahead.tolist()
    return np.asarray(np.arctan2(up @ np.array([b * z - c * y, c * x - a * z, a * y - b * x]), up @ ahead))
