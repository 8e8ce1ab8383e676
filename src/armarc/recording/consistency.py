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
    telling = _telling_windows(time_s, acceleration, angular_velocity)
    if telling is None:
        return Smear(unturned=math.nan, rad_s=math.nan, deg_s=math.nan)
    force, turn = telling
    return Smear(
        unturned=_spread(force),
        rad_s=_spread(_turned_back(force, turn)),
        deg_s=_spread(_turned_back(force, turn * (math.pi / 180.0))),
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
    telling = _telling_windows(time_s, acceleration, angular_velocity)
    if telling is None:
        return math.nan
    force, turn = telling
    return _spread(_turned_back(force, scale * turn))


def _telling_windows(
    time_s: FloatArray, acceleration: FloatArray, angular_velocity: FloatArray
) -> tuple[FloatArray, FloatArray] | None:
    """Readings and turns, each (k, m, 3), of the windows that turn a lot while nothing pushes.

    Those say most; rest and impacts say little. Neither the path nor the evenness of the magnitude depends on the
    unit, so the choice favours none.
    """
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
    shape = (windows, steps, 3)
    force = _step_means(acceleration, width, windows * steps).reshape(shape)
    turn = _step_means(angular_velocity, width, windows * steps).reshape(shape) * (width * period)
    path = _lengths(turn).sum(axis=1)
    magnitude = _lengths(force)
    pushed = magnitude.std(axis=1) / np.maximum(magnitude.mean(axis=1), 1e-300)
    worth = path / (0.03 + pushed)
    telling = worth >= 0.5 * float(np.quantile(worth, 0.9))
    return force[telling], turn[telling]


def _step_means(values: FloatArray, width: int, count: int) -> FloatArray:
    """Means over the first `count` steps of `width` rows, shape (count, 3)."""
    total = values[: count * width : width].copy()
    for k in range(1, width):
        total += values[k : count * width : width]
    return total / width


def _lengths(vectors: FloatArray) -> FloatArray:
    return np.asarray(np.sqrt(np.einsum("...i,...i->...", vectors, vectors)))


def _spread(readings: FloatArray) -> float:
    """Mean over the windows of 1 − |mean|² / mean square; readings of shape (k, m, 3)."""
    mean = readings.mean(axis=1)
    power = np.maximum(np.einsum("kmi,kmi->k", readings, readings) / readings.shape[1], 1e-300)
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
    direction = force / np.maximum(_lengths(force)[:, None], 1e-300)
    if len(direction) < 2 or float(_lengths(direction - direction[0]).max()) < _LEAST_TILT:
        return float("nan")
    wandered = _lengths(np.diff(direction, axis=0))
    turned = _lengths(turn)
    moving = turned[1:] > 0.2 * float(np.quantile(turned, 0.95))
    total = float(turned[1:][moving].sum())
    return float(wandered[moving].sum()) / total if total > 0 else float("nan")


def _turned_back(force: FloatArray, turn: FloatArray) -> FloatArray:
    """Readings (k, m, 3) in the sensor's frame at the start of each of k windows; `turn` holds rotation
    vectors, rad."""
    x, y, z = np.ascontiguousarray(turn.T)  # planes of shape (m, k)
    angle = np.sqrt(x * x + y * y + z * z)
    ratio = 0.5 * np.sinc(angle / (2 * np.pi))
    # Unit quaternions as pairs of complex numbers, w + ix and y + iz; a reading is turned by the steps before it.
    q1, q2 = np.ones_like(x, dtype=complex), np.zeros_like(x, dtype=complex)
    q1[1:], q2[1:] = np.cos(0.5 * angle[:-1]) + 1j * (ratio * x)[:-1], (ratio * (y + 1j * z))[:-1]
    reach = 1
    while reach < len(x):
        # Each element holds the product of `reach` steps; one round doubles that (a prefix product).
        a, b, c, d = q1[:-reach], q2[:-reach], q1[reach:], q2[reach:]
        q1[reach:], q2[reach:] = a * c - b * np.conj(d), a * d + b * np.conj(c)
        reach *= 2
    w, i, j, k = q1.real, q1.imag, q2.real, q2.imag
    fx, fy, fz = np.ascontiguousarray(force.T)
    tx, ty, tz = 2.0 * (j * fz - k * fy), 2.0 * (k * fx - i * fz), 2.0 * (i * fy - j * fx)
    turned = (
        fx + w * tx + j * tz - k * ty,
        fy + w * ty + k * tx - i * tz,
        fz + w * tz + i * ty - j * tx,
    )
    return np.stack(turned).T
