"""What gravity says about a gyroscope: its unit, the order and the signs of its axes; and about gravity itself.

Gravity is fixed in the room. Turn the accelerometer's readings of a window back by the gyroscope's integral, and
gravity stands still if the gyroscope's unit and axes are right. Two things push besides: the arm itself, whose
acceleration is that of a point at a fixed place from the joint it swings about, ``ω̇ × r + ω × (ω × r)``, and
everything else, which averages out the better the longer the window. Short windows with the lever arm ``r`` fitted
tell how well gyroscope and accelerometer fit; the mean over long windows is gravity, whatever the set's speed.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import permutations, product
from typing import Any

import numpy as np

from armarc.recording.stamps import usual_step
from armarc.recording.types import STANDARD_GRAVITY_M_S2, FloatArray

_STEP_S = 0.02
_SHORT_S = 2.0
_LONG_S = 8.0
"""A hand gains or loses some 4 m/s at the most, which leaves 0.5 m/s² of the mean over 8 s."""
_LONGEST_S = 600.0
_MOST_WINDOWS = 60
_LONGEST_ARM_M = 1.2
_FEWEST_SAMPLES = 20
_TRAVEL_STEP_S = 0.25
_LEAST_TILT = 0.35  # chord of 20°


@dataclass(frozen=True, slots=True, kw_only=True)
class Windows:
    """Readings cut into windows, planes of shape (3, steps, windows); only the windows that turn most.

    ``force`` in the accelerometer's unit, ``rate`` in the gyroscope's, ``step_s`` between them.
    """

    force: FloatArray
    rate: FloatArray
    step_s: float


@dataclass(frozen=True, kw_only=True)  # without slots, so that what is asked for is worked out once
class TurnedBack:
    """What turning the readings back with one scale of the gyroscope's numbers gives.

    Parameters
    ----------
    short, long : Windows
        Of 2 s and of 8 s.
    scale : float
        Size of the gyroscope's unit, rad/s; 0 leaves the readings as they are.
    """

    short: Windows
    long: Windows
    scale: float

    @cached_property
    def misfit(self) -> float:
        """Share of the readings' power that neither standing gravity nor one lever arm explains: 0 for a rigid arm
        with the right scale and axes, towards 1 where gravity is smeared all over."""
        return lever_misfit(self.short, self.scale)

    @cached_property
    def _standing(self) -> tuple[FloatArray, FloatArray]:
        """Size of the mean turned reading and the readings' mean square, by long window."""
        mean, power = _long_means(self.long, self.scale)
        return np.sqrt((mean**2).sum(axis=0)), power

    @property
    def gravity(self) -> float:
        """Size of the mean turned reading over long windows (median over them), in the readings' unit."""
        return float(np.median(self._standing[0]))

    @property
    def share(self) -> float:
        """That size over the readings' root mean square: 1 at rest, about 0.4 in violent swings, near 0 where gravity
        is missing or smeared."""
        size, power = self._standing
        return float(np.median(size / np.sqrt(power)))

    @cached_property
    def tilting_rad(self) -> float:
        """How far the sensor turns across gravity in a long window, by this scale, rad."""
        (fx, fy, fz), (wx, wy, wz) = self.long.force, self.long.rate
        across = np.stack([fy * wz - fz * wy, fz * wx - fx * wz, fx * wy - fy * wx])
        lengths = np.sqrt((self.long.force**2).sum(axis=0))
        tilting = np.sqrt((across**2).sum(axis=0)) / np.maximum(lengths, 1e-300)
        return float(np.median((tilting * (abs(self.scale) * self.long.step_s)).sum(axis=0)))

    @property
    def speed_rad_s(self) -> float:
        """Mean angular speed in the short windows that turn most, rad/s."""
        return self.scale * float(np.sqrt((self.short.rate**2).sum(axis=0)).mean())


def short_windows(
    time_s: FloatArray, acceleration: FloatArray, angular_velocity: FloatArray
) -> Windows | None:
    """Windows of 2 s that turn at least half as far as those that turn most; None for fewer than 20 samples."""
    steps = _steps(time_s, acceleration, angular_velocity)
    return None if steps is None else _cut(steps, _SHORT_S)


def windows_of(
    time_s: FloatArray, acceleration: FloatArray, angular_velocity: FloatArray
) -> tuple[Windows, Windows] | None:
    """The same, and those of 8 s."""
    steps = _steps(time_s, acceleration, angular_velocity)
    return None if steps is None else (_cut(steps, _SHORT_S), _cut(steps, _LONG_S))


def lever_misfit(windows: Windows, scale: float) -> float:
    """Misfit (see `TurnedBack`) of short windows with one size of the gyroscope's unit, in rad/s."""
    return _misfit(windows.force, _swing(windows, scale))


def better_arrangement(short: Windows, long: Windows, scale: float) -> tuple[str, TurnedBack]:
    """The order and signs of the gyroscope's axes, mirror images included, that leave the smallest misfit.

    Returns
    -------
    str, TurnedBack
        The arrangement as in ``"+y,-x,+z"``: which of the gyroscope's axes are the accelerometer's x, y and z.
    """
    tried: dict[str, tuple[float, FloatArray]] = {}
    swings = {sign: _swing(short, sign * scale) for sign in (1.0, -1.0)}
    for order in permutations(range(3)):
        for signs in product((1.0, -1.0), repeat=3):
            matrix = np.zeros((3, 3))
            matrix[range(3), order] = signs
            name = ",".join(("+" if s > 0 else "-") + "xyz"[i] for s, i in zip(signs, order, strict=True))
            # To turn the gyroscope is to turn the accelerometer the other way; a mirror image turns all round.
            sign = 1.0 if np.linalg.det(matrix) > 0 else -1.0
            force = np.einsum("ji,jsw->isw", sign * matrix, short.force)
            tried[name] = _misfit(force, swings[sign]), matrix
    best = min(tried, key=lambda name: tried[name][0])
    matrix = tried[best][1]
    turned = TurnedBack(short=_rearranged(short, matrix), long=_rearranged(long, matrix), scale=scale)
    return best, turned


@dataclass(frozen=True, slots=True, kw_only=True)
class _Swing:
    """What the gyroscope says of short windows: rotations to their starts, and the accelerations, so turned, of points
    1 m along each axis, without their means; ``arm`` has the shape (3, 3 steps windows)."""

    rotation: tuple[FloatArray, ...]
    arm: FloatArray
    normal: FloatArray


def _swing(windows: Windows, scale: float) -> _Swing:
    rate = windows.rate * scale
    rotation = _rotations(_turns(rate, windows.step_s))
    arms = []
    for own in _arm_accelerations(rate, windows.step_s):
        moved = _rotated(own, rotation)
        arms.append(moved - moved.mean(axis=1, keepdims=True))
    arm = np.stack(arms).reshape(3, -1)
    return _Swing(rotation=rotation, arm=arm, normal=arm @ arm.T)


def _misfit(force: FloatArray, swing: _Swing) -> float:
    back = _rotated(force, swing.rotation)
    rest = (back - back.mean(axis=1, keepdims=True)).ravel()
    # The reach is bounded in units of gravity, for which the readings' median stands: their unit is not known yet.
    lengths = np.sqrt((force**2).sum(axis=0))
    longest = _LONGEST_ARM_M / STANDARD_GRAVITY_M_S2 * float(np.median(lengths))
    left = rest - _bounded_fit(swing.normal, swing.arm @ rest, longest) @ swing.arm
    return float(left @ left) / max(float((lengths**2).sum()), 1e-300)


def _rearranged(windows: Windows, matrix: FloatArray) -> Windows:
    return replace(windows, rate=np.einsum("ij,jsw->isw", matrix, windows.rate))


def _steps(time_s: FloatArray, acceleration: FloatArray, angular_velocity: FloatArray) -> Windows | None:
    """Means over 0.02 s of the first ten minutes, rows of shape (steps, 3)."""
    n = len(time_s)
    if n < _FEWEST_SAMPLES:
        return None
    period = usual_step(np.diff(time_s))
    if not period > 0:
        return None
    width = max(1, round(_STEP_S / period))
    count = min(n, int(_LONGEST_S / period)) // width
    force, rate = (_step_means(values, count, width) for values in (acceleration, angular_velocity))
    return Windows(force=force, rate=rate, step_s=width * period)


def _cut(means: Windows, length_s: float) -> Windows:
    """Windows of those steps, as planes; the ones that turn most."""
    count = len(means.rate)
    steps = min(max(8, round(length_s / means.step_s)), count)
    windows = count // steps
    force, rate = (rows[: windows * steps].reshape(windows, steps, 3) for rows in (means.force, means.rate))
    path = np.sqrt(np.einsum("wsi,wsi->ws", rate, rate)).sum(axis=1)
    chosen = np.flatnonzero(path >= 0.5 * float(np.quantile(path, 0.9)))
    chosen = chosen[:: -(-len(chosen) // _MOST_WINDOWS)]
    force, rate = (np.ascontiguousarray(rows[chosen].transpose(2, 1, 0)) for rows in (force, rate))
    return Windows(force=force, rate=rate, step_s=means.step_s)


def _long_means(windows: Windows, scale: float) -> tuple[FloatArray, FloatArray]:
    """Mean turned reading, shape (3, windows), and mean square reading of each window."""
    turned = _rotated(windows.force, _rotations(_turns(windows.rate * scale, windows.step_s)))
    power = np.maximum((windows.force**2).sum(axis=0).mean(axis=0), 1e-300)
    return turned.mean(axis=1), power


def _turns(rate: FloatArray, step_s: float) -> FloatArray:
    """Rotation vectors, rad, from the middle of each step to the middle of the next."""
    turn = rate * step_s
    turn[:, :-1] = 0.5 * (turn[:, :-1] + turn[:, 1:])
    return turn


def _arm_accelerations(rate: FloatArray, step_s: float) -> tuple[FloatArray, FloatArray, FloatArray]:
    """``ω̇ × r + ω × (ω × r)`` for r of 1 m along x, y and z, in the sensor's axes; `rate` in rad/s, shape (3, steps,
    windows)."""
    (x, y, z), (ax, ay, az) = rate, np.gradient(rate, step_s, axis=1)
    square = x * x + y * y + z * z
    return (
        np.stack([x * x - square, y * x + az, z * x - ay]),
        np.stack([x * y - az, y * y - square, z * y + ax]),
        np.stack([x * z + ay, y * z - ax, z * z - square]),
    )


def _bounded_fit(normal: FloatArray, right: FloatArray, longest: float) -> FloatArray:
    """Least squares for a vector no longer than `longest` (trust region: the damping that makes it that long)."""
    values, vectors = np.linalg.eigh(normal)
    turned = vectors.T @ right
    floor = max(float(values[-1]), 1e-300) * 1e-12

    along = [(one, max(value, 0.0)) for one, value in zip(turned.tolist(), values.tolist(), strict=True)]

    def length(damping: float) -> float:
        return math.hypot(*(one / (value + damping) for one, value in along))

    low, high = floor, max(math.hypot(*turned.tolist()) / max(longest, 1e-300), floor)
    if length(low) <= longest:
        high = low
    else:
        for _ in range(50):
            middle = math.sqrt(low * high)
            low, high = (middle, high) if length(middle) > longest else (low, middle)
    return np.asarray(vectors @ (turned / (np.maximum(values, 0.0) + high)))


def _step_means(values: FloatArray, count: int, width: int) -> FloatArray:
    """Means over `width` samples, shape (count, 3)."""
    total = np.einsum("swi->si", values[: count * width].reshape(count, width, 3))
    return np.asarray(total / width)


def tilt_travel(time_s: FloatArray, acceleration: FloatArray, angular_velocity: FloatArray) -> float:
    """How far gravity wanders in the sensor for every unit the gyroscope says it turned.

    Axes that do not fit each other do not matter here, only lengths: gravity cannot wander much further than the
    sensor turns, and in a raise not much less.

    Parameters
    ----------
    time_s : ndarray, shape (n,), s
    acceleration : ndarray, shape (n, 3), any unit
    angular_velocity : ndarray, shape (n, 3), any unit

    Returns
    -------
    float
        Path of the direction of gravity, rad, over the path of the gyroscope, both of averages over 0.25 s; NaN for
        fewer than 20 samples, a sensor that never tilts by 20°, or a gyroscope that shows nothing.
    """
    n = len(time_s)
    if n < 20:
        return float("nan")
    period = float(np.median(np.diff(time_s)))
    if not period > 0:
        return float("nan")
    width = max(1, round(_TRAVEL_STEP_S / period))
    used = n // width * width
    force = acceleration[:used].reshape(-1, width, 3).mean(axis=1)
    turn = angular_velocity[:used].reshape(-1, width, 3).mean(axis=1) * (width * period)
    direction = force / np.maximum(np.linalg.norm(force, axis=1, keepdims=True), 1e-300)
    if len(direction) < 2 or float(np.linalg.norm(direction - direction[0], axis=1).max()) < _LEAST_TILT:
        return float("nan")
    wandered = np.linalg.norm(np.diff(direction, axis=0), axis=1)
    turned = np.linalg.norm(turn, axis=1)
    moving = turned[1:] > 0.2 * float(np.quantile(turned, 0.95))
    total = float(turned[1:][moving].sum())
    return float(wandered[moving].sum()) / total if total > 0 else float("nan")


def _rotations(turn: FloatArray) -> tuple[FloatArray, ...]:
    """Unit quaternions w, x, y, z that turn readings to the sensor's frame at the start of their windows.

    `turn` holds rotation vectors, rad, planes of shape (3, steps, windows). The quaternions are pairs of complex
    numbers, ``w + i x`` and ``y + i z``.
    """
    half = 0.5 * turn
    angle = np.sqrt((half**2).sum(axis=0))
    half *= np.sinc(angle / np.pi)
    a, b = _running_product(np.cos(angle) + 1j * half[0], half[1] + 1j * half[2])
    # A reading is turned back by the steps before its own; the first of a window stands as it is.
    w, x = np.ones_like(angle), np.zeros_like(angle)
    y, z = np.zeros_like(angle), np.zeros_like(angle)
    w[1:], x[1:], y[1:], z[1:] = a[:-1].real, a[:-1].imag, b[:-1].real, b[:-1].imag
    return w, x, y, z


def _running_product(a: Any, b: Any) -> tuple[Any, Any]:
    """Products of all steps up to each: first inside groups of about √steps, then group after group."""
    steps = len(a)
    size = math.isqrt(steps - 1) + 1
    pad = ((0, -steps % size), (0, 0))
    a, b = (np.pad(part, pad).reshape(-1, size, part.shape[1]) for part in (a, b))
    for k in range(1, size):
        a[:, k], b[:, k] = _product((a[:, k - 1], b[:, k - 1]), (a[:, k], b[:, k]))
    for k in range(1, len(a)):
        a[k], b[k] = _product((a[k - 1, -1], b[k - 1, -1]), (a[k], b[k]))
    return a.reshape(-1, a.shape[2])[:steps], b.reshape(-1, b.shape[2])[:steps]


def _rotated(vectors: FloatArray, rotation: tuple[FloatArray, ...]) -> FloatArray:
    w, x, y, z = rotation
    fx, fy, fz = vectors
    tx, ty, tz = 2.0 * (y * fz - z * fy), 2.0 * (z * fx - x * fz), 2.0 * (x * fy - y * fx)
    return np.stack(
        [
            fx + w * tx + y * tz - z * ty,
            fy + w * ty + z * tx - x * tz,
            fz + w * tz + x * ty - y * tx,
        ]
    )


def _product(left: tuple[Any, Any], right: tuple[Any, Any]) -> tuple[Any, Any]:
    """Hamilton product of quaternions held as pairs of complex numbers."""
    (a, b), (c, d) = left, right
    return a * c - b * np.conj(d), a * d + b * np.conj(c)
