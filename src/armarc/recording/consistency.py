"""What gravity says about the gyroscope: its unit, the order and the signs of its axes.

Gravity is fixed in the room. Turn the accelerometer's readings of a short window back by the gyroscope's
integral, and gravity stands still if the gyroscope's unit and axes are right, while pushes and swings average
out; with a wrong unit or axis it is smeared over the sphere. No threshold on the gyroscope's size is
involved.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

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
    windows = _telling_windows(time_s, acceleration, angular_velocity)
    if windows is None:
        return Smear(unturned=math.nan, rad_s=math.nan, deg_s=math.nan)
    return Smear(
        unturned=_spread(*windows, 0.0),
        rad_s=_spread(*windows, 1.0),
        deg_s=_spread(*windows, math.pi / 180.0),
    )


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
    windows = _telling_windows(time_s, acceleration, angular_velocity)
    return float("nan") if windows is None else _spread(*windows, scale)


def _telling_windows(
    time_s: FloatArray, acceleration: FloatArray, angular_velocity: FloatArray
) -> tuple[FloatArray, FloatArray] | None:
    """Readings and turns per step, (k, m, 3), of the windows in which gravity says most; None if too short."""
    n = len(time_s)
    if n < 20:
        return None
    period = float(np.median(np.diff(time_s)))
    if not period > 0:
        return None
    width = max(1, round(_STEP_S / period))
    n = min(n, int(_LONGEST_S / period))
    steps = min(max(8, round(_WINDOW_S / (width * period))), n // width)
    windows = n // (width * steps)
    used = windows * steps * width
    force = acceleration[:used].reshape(windows, steps, width, 3).mean(axis=2)
    turn = angular_velocity[:used].reshape(windows, steps, width, 3).mean(axis=2) * (width * period)
    # Windows that turn a lot while nothing pushes say most; rest and impacts say little. Neither the path nor the
    # evenness of the magnitude depends on the unit, so the choice favours none.
    path = np.linalg.norm(turn, axis=2).sum(axis=1)
    magnitude = np.linalg.norm(force, axis=2)
    pushed = magnitude.std(axis=1) / np.maximum(magnitude.mean(axis=1), 1e-300)
    worth = path / (0.03 + pushed)
    turning = worth >= 0.5 * float(np.quantile(worth, 0.9))
    return force[turning], turn[turning]


def _spread(force: FloatArray, turn: FloatArray, scale: float) -> float:
    turned = _turned_back(force, scale * turn) if scale else force
    mean = turned.mean(axis=1)
    power = np.maximum((turned**2).sum(axis=2).mean(axis=1), 1e-300)
    return float(np.mean(1.0 - (mean**2).sum(axis=1) / power))


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
    """Readings (k, m, 3) in the sensor's frame at the start of each of k windows; `turn` holds rotation
    vectors, rad."""
    angle = np.linalg.norm(turn, axis=2, keepdims=True)
    half = np.concatenate([np.cos(0.5 * angle), 0.5 * np.sinc(angle / (2 * np.pi)) * turn], axis=2)
    # Products of all the turns before each reading, in runs of 1, 2, 4, … turns: a few long sums, not many short.
    q = np.empty((4, *force.shape[:2]))
    q[:, :, 0] = np.array([1.0, 0.0, 0.0, 0.0])[:, None]
    q[:, :, 1:] = np.moveaxis(half[:, :-1], 2, 0)
    run = 1
    while run < force.shape[1]:
        q[:, :, run:] = _product(q[:, :, :-run], q[:, :, run:])
        run *= 2
    w, v = q[0], q[1:]
    f = np.moveaxis(force, 2, 0)
    t = 2.0 * _cross(v, f)
    return np.ascontiguousarray(np.moveaxis(f + w * t + _cross(v, t), 0, 2))


def _product(p: FloatArray, q: FloatArray) -> FloatArray:
    """Hamilton products of quaternions, scalar first, along the first axis."""
    w, v, r, u = p[0], p[1:], q[0], q[1:]
    return np.concatenate([(w * r - (v * u).sum(axis=0))[None], w * u + r * v + _cross(v, u)])


def _cross(a: FloatArray, b: FloatArray) -> FloatArray:
    """Cross products along the first axis; `numpy.cross` spends most of its time on telling the axes apart."""
    return np.stack(
        [a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]],
    )
