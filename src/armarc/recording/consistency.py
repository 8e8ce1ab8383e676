"""What gravity says about the gyroscope: its unit, the order and the signs of its axes.

Gravity is fixed in the room. Turn the accelerometer's readings of a short window back by the gyroscope's
integral, and gravity stands still if the gyroscope's unit and axes are right, while pushes and swings average
out; with a wrong unit or axis it is smeared over the sphere. No threshold on the gyroscope's size is
involved.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from armarc.recording.types import FloatArray

_WINDOW_S = 2.0
_STEP_S = 0.02
_LONGEST_S = 600.0
_TRAVEL_STEP_S = 0.25
_LEAST_TILT = 0.35  # chord of 20°


@dataclass(frozen=True, slots=True, kw_only=True)
class Smear:
    """`gravity_spread` under each reading of the gyroscope's numbers; NaN for fewer than 20 samples."""

    unturned: float
    rad_s: float
    deg_s: float

    @property
    def unit(self) -> str | None:
        """The unit that gravity tells, or None.

        Radians must explain the turning of the readings. Degrees must explain it, or radians must smear
        gravity all over: that happens only to numbers much larger than true radians. Real recordings whose
        gyroscope axes do not fit the accelerometer's fall between, and tell nothing.
        """
        if self.rad_s < 0.7 * min(self.unturned, self.deg_s):
            return "rad/s"
        if self.rad_s > 2.0 * self.deg_s and (self.explained_by_degrees or self.rad_s > 0.6):
            return "deg/s"
        return None

    @property
    def explained_by_degrees(self) -> bool:
        """Whether turning back by degrees makes gravity stand stiller than not turning at all."""
        return self.deg_s < 0.8 * self.unturned

    @property
    def certain(self) -> bool:
        """Whether the evidence is strong enough to contradict what a column's name says."""
        return self.unit == "rad/s" or (self.unit == "deg/s" and self.explained_by_degrees)


def gravity_smear(time_s: FloatArray, acceleration: FloatArray, angular_velocity: FloatArray) -> Smear:
    """Try the gyroscope's numbers as rad/s, as deg/s and not at all; arguments as for `gravity_spread`."""
    spreads = _spreads(time_s, acceleration, angular_velocity, (0.0, 1.0, math.pi / 180.0))
    return Smear(unturned=spreads[0], rad_s=spreads[1], deg_s=spreads[2])


def gravity_spread(
    time_s: FloatArray, acceleration: FloatArray, angular_velocity: FloatArray, *, scale: float = 1.0
) -> float:
    """How far gravity is smeared after turning it back by a gyroscope.

    Parameters
    ----------
    time_s : ndarray, shape (n,), s
    acceleration : ndarray, shape (n, 3), any unit
    angular_velocity : ndarray, shape (n, 3), any unit
    scale : float
        Size of that unit in rad/s; 0 leaves the readings as they are.

    Returns
    -------
    float
        Mean, over the windows of 2 s with the most turning and the least pushing, of 1 − |mean|² / mean square of
        the turned readings: 0 when they coincide, near 1 when they point everywhere; NaN for fewer than 20 samples.
    """
    return _spreads(time_s, acceleration, angular_velocity, (scale,))[0]


def _spreads(
    time_s: FloatArray, acceleration: FloatArray, angular_velocity: FloatArray, scales: tuple[float, ...]
) -> list[float]:
    """`gravity_spread` for several scales; which windows count does not depend on the scale."""
    n = len(time_s)
    if n < 20:
        return [float("nan")] * len(scales)
    period = float(np.median(np.diff(time_s)))
    if not period > 0:
        return [float("nan")] * len(scales)
    width = max(1, round(_STEP_S / period))
    n = min(n, int(_LONGEST_S / period))
    steps = min(max(8, round(_WINDOW_S / (width * period))), n // width)
    windows = n // (width * steps)
    force = _step_means(acceleration, windows, steps, width)
    turn = _step_means(angular_velocity, windows, steps, width) * (width * period)
    # Windows that turn a lot while nothing pushes say most; rest and impacts say little. Neither the path nor the
    # evenness of the magnitude depends on the unit, so the choice favours none.
    path = np.sqrt((turn**2).sum(axis=0)).sum(axis=0)
    magnitude = np.sqrt((force**2).sum(axis=0))
    pushed = magnitude.std(axis=0) / np.maximum(magnitude.mean(axis=0), 1e-300)
    worth = path / (0.03 + pushed)
    turning = worth >= 0.5 * float(np.quantile(worth, 0.9))
    force, turn = force[:, :, turning], turn[:, :, turning]
    power = np.maximum((force**2).sum(axis=0).mean(axis=0), 1e-300)
    spreads = []
    for scale in scales:
        turned = force if scale == 0 else _turned_back(force, scale * turn)
        mean = turned.mean(axis=1)
        spreads.append(float(np.mean(1.0 - (mean**2).sum(axis=0) / power)))
    return spreads


def _step_means(values: FloatArray, windows: int, steps: int, width: int) -> FloatArray:
    """Means over `width` samples as planes of shape (3, steps, windows): whole rows go through the processor."""
    rows = values[: windows * steps * width].reshape(windows, steps, width, 3)
    total = rows[:, :, 0].copy()
    for k in range(1, width):
        total += rows[:, :, k]
    return np.ascontiguousarray(total.transpose(2, 1, 0)) / width


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


def _turned_back(force: FloatArray, turn: FloatArray) -> FloatArray:
    """Readings, planes of shape (3, steps, windows), in the sensor's frame at the start of their windows.

    `turn` holds rotation vectors, rad. Unit quaternions are pairs of complex numbers, ``w + i x`` and ``y + i z``;
    running products by doubling: after each round a product reaches twice as far back.
    """
    half = 0.5 * turn
    angle = np.sqrt((half**2).sum(axis=0))
    half *= np.sinc(angle / np.pi)
    step = np.cos(angle) + 1j * half[0], half[1] + 1j * half[2]
    a, b = step
    reach = 1
    while reach < len(a):
        later = _product((a[:-reach], b[:-reach]), (a[reach:], b[reach:]))
        a, b = np.concatenate([a[:reach], later[0]]), np.concatenate([b[:reach], later[1]])
        reach *= 2
    # A reading is turned back by the steps before its own; the first of a window stands as it is.
    w, x = np.ones_like(angle), np.zeros_like(angle)
    y, z = np.zeros_like(angle), np.zeros_like(angle)
    w[1:], x[1:], y[1:], z[1:] = a[:-1].real, a[:-1].imag, b[:-1].real, b[:-1].imag
    fx, fy, fz = force
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
