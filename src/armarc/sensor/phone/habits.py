"""What a browser's motion events mean: they differ in sign, unit, axes, interval, rounding and rate.

The open specification (W3C, Device Orientation and Motion) wants m/s² with the reaction to gravity, °/s and ms;
browsers differ, and it has changed its mind about which axes alpha, beta and gamma are. Nothing is asked: the events
tell. What the acceleration is at rest is told by the orientation events, whose angles all browsers mean alike (own
reading of the specification); unit and axes of the rotation rates by gravity, as in files.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from armarc.recording import STANDARD_GRAVITY_M_S2, FloatArray
from armarc.recording.consistency import lever_misfit, short_windows

_DEGREE = math.pi / 180.0
_ORDERS = {"x, y, z": (0, 1, 2), "z, x, y": (1, 2, 0)}
_SCALES = {"°/s": _DEGREE, "rad/s": 1.0}
_CLEARLY = 0.5
_MOVED = 0.7
"""As where a file's alpha, beta and gamma are told: half the next best misfit, and well below that of not turning."""
_LEAST_TILT = 0.2
"""Change of the direction of gravity, about 12°, below which no movement tells anything and nothing is tried."""
_MOST_MISSING = 3.0
"""Events due for each that came, above which their stamps are not worth trying."""
_ROUNDINGS = (1.0, 0.5, 0.2, 0.1, 0.05, 0.02, 0.01)
_INTERVALS = {"ms": 1e-3, "µs": 1e-6, "s": 1.0}
_SAME_INTERVAL = math.log(1.5)
SLOW_HZ = 50.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Rotation:
    """What the rotation rates are.

    Parameters
    ----------
    order : tuple of int
        Which of alpha, beta, gamma are about x, y, z.
    unit : str
        ``"°/s"`` or ``"rad/s"``.
    told : bool
        By the movement; otherwise it is what the browser tried here gives.
    words : str
    """

    order: tuple[int, int, int] = (0, 1, 2)
    unit: str = "°/s"
    told: bool = False
    words: str = "rotation rates taken as °/s about x, y, z until the movement tells"

    @property
    def scale(self) -> float:
        """rad/s for one of the unit."""
        return _SCALES[self.unit]


@dataclass(frozen=True, slots=True, kw_only=True)
class Habits:
    """How this browser gives motion.

    Parameters
    ----------
    force_scale : float
        m/s² for one of the browser's unit; negative where it reports gravity instead of the reaction to it.
    rotation : Rotation
    rate_hz : float, Hz
    rounding_m_s2, rounding_rad_s : float or None
        Steps the readings are rounded to; None where they are finer than a hundredth of the browser's unit.
    words : tuple of str
        What was found.
    """

    force_scale: float
    rotation: Rotation
    rate_hz: float
    rounding_m_s2: float | None
    rounding_rad_s: float | None
    words: tuple[str, ...]

    def force(self, acceleration: FloatArray) -> FloatArray:
        """Specific force, shape (n, 3), m/s²."""
        return acceleration * self.force_scale

    def rates(self, rotation: FloatArray) -> FloatArray:
        """Angular velocity about x, y, z, shape (n, 3), rad/s."""
        return rotation[:, list(self.rotation.order)] * self.rotation.scale


def recognise(
    time_s: FloatArray,
    acceleration: FloatArray,
    rotation: FloatArray,
    *,
    interval: float | None = None,
    upright: tuple[float, float] | None = None,
) -> Habits:
    """Tell what the events mean from those of the first seconds.

    Parameters
    ----------
    time_s : ndarray, shape (n,), s
        n of 20 or more.
    acceleration, rotation : ndarray, shape (n, 3)
    interval, upright
        As in `Readings`.
    """
    rate_hz = event_rate_hz(time_s)
    size, unit_words = _acceleration_unit(acceleration)
    sign, sign_words = _gravity_sign(upright)
    turning = recognise_rotation(time_s, acceleration, rotation)
    coarse_a, coarse_g = _rounding(acceleration), _rounding(rotation)
    words = [unit_words, sign_words, turning.words, _rate_words(rate_hz, interval)]
    if coarse_a or coarse_g:
        steps = [f"{coarse_a * size:.3g} m/s²"] if coarse_a else []
        steps += [f"{coarse_g:g} {turning.unit}"] if coarse_g else []
        words.append(f"the browser rounds to {' and '.join(steps)}")
    return Habits(
        force_scale=sign * size,
        rotation=turning,
        rate_hz=rate_hz,
        rounding_m_s2=coarse_a * size if coarse_a else None,
        rounding_rad_s=coarse_g * turning.scale if coarse_g else None,
        words=tuple(words),
    )


def recognise_rotation(time_s: FloatArray, acceleration: FloatArray, rotation: FloatArray) -> Rotation:
    """Unit and order of the rotation rates, where the movement tells them.

    Turned back by the true ones, gravity stands still; each other reading leaves at least twice as much unexplained.
    """
    direction = acceleration / np.maximum(np.linalg.norm(acceleration, axis=1, keepdims=True), 1e-9)
    if len(direction) < 2 or float(np.ptp(direction, axis=0).max()) < _LEAST_TILT:
        return Rotation()
    if (time_s[-1] - time_s[0]) * event_rate_hz(time_s) > _MOST_MISSING * len(time_s):
        return Rotation()
    windows = short_windows(*_evenly(time_s, acceleration, rotation))
    if windows is None:
        return Rotation()
    tried = {
        (order, unit): lever_misfit(replace(windows, rate=windows.rate[list(_ORDERS[order])]), scale)
        for order in _ORDERS
        for unit, scale in _SCALES.items()
    }
    (order, unit), other = sorted(tried, key=lambda one: tried[one])[:2]
    best, following, unturned = tried[(order, unit)], tried[other], lever_misfit(windows, 0.0)
    if not (best < _CLEARLY * following and best < _MOVED * unturned):
        return Rotation()
    return Rotation(
        order=_ORDERS[order],
        unit=unit,
        told=True,
        words=f"rotation rates are {unit} about {order}: so gravity stands still (unexplained {best:.2g}, the next "
        f"best {following:.2g})",
    )


def event_rate_hz(time_s: FloatArray) -> float:
    """Events per second, pauses left out; a rate within a hundredth of a whole number is that number."""
    steps = np.diff(time_s)
    usual = float(np.median(steps[steps > 0])) if (steps > 0).any() else 0.0
    if not usual > 0:
        return 60.0
    # Events that were held up come late and the next ones early: the mean over both is right, that over pauses not.
    kept = steps[steps < 2.5 * usual]
    rate = min(1000.0, max(1.0, 1.0 / float(kept.mean())))
    return float(round(rate)) if abs(rate / round(rate) - 1.0) < 0.01 else round(rate, 2)


def _evenly(
    time_s: FloatArray, acceleration: FloatArray, rotation: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """The events at even times, for what wants them so."""
    even_s = np.arange(time_s[0], time_s[-1], 1.0 / event_rate_hz(time_s))

    def at(values: FloatArray) -> FloatArray:
        return np.column_stack([np.interp(even_s, time_s, column) for column in values.T])

    return even_s, at(acceleration), at(rotation)


def _acceleration_unit(acceleration: FloatArray) -> tuple[float, str]:
    size = float(np.median(np.linalg.norm(acceleration, axis=1)))
    if 0.5 < size < 2.5:
        return STANDARD_GRAVITY_M_S2, f"acceleration in g (median {size:.3g})"
    return 1.0, f"acceleration in m/s² (median {size:.3g})"


def _gravity_sign(upright: tuple[float, float] | None) -> tuple[float, str]:
    if upright is not None and upright[1] >= 10:
        mean = upright[0] / upright[1]
        if mean > 0.5:
            return 1.0, "it points up at rest: the reaction to gravity, as the orientation events tell"
        if mean < -0.5:
            return (
                -1.0,
                "it points down at rest, as the orientation events tell: gravity itself, turned round here",
            )
    return 1.0, (
        "no orientation events tell whether it points up or down at rest; taken as up (if it is not, plane and hand "
        "rotation are wrong, nothing else)"
    )


def _rate_words(rate_hz: float, interval: float | None) -> str:
    words = f"{rate_hz:g} events a second"
    if interval:
        off = {unit: abs(math.log(interval * size * rate_hz)) for unit, size in _INTERVALS.items()}
        unit = next((unit for unit in off if off[unit] < _SAME_INTERVAL), None)
        words += (
            f" (the browser says every {interval:g} {unit})"
            if unit
            else f" (an interval of {interval:g} fits that in no unit; the stamps were believed)"
        )
    return words if rate_hz >= SLOW_HZ else words + ": slow, fast starts will be coarse"


def _rounding(values: FloatArray) -> float | None:
    """The coarsest usual step all readings are multiples of."""
    if not values.any():
        return None
    for step in _ROUNDINGS:
        multiples = values / step
        if float(np.abs(multiples - np.round(multiples)).max()) < 1e-6:
            return step
    return None
