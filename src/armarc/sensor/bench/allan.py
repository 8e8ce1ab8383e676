"""Allan deviation and its relatives.

``values`` are rates (angular velocity, specific force): what the time and frequency literature calls fractional
frequency. Formulas: W. J. Riley, *Handbook of Frequency Stability Analysis*, NIST Special Publication 1065 (2008),
section 5; for inertial sensors IEEE Std 952, Annex C, uses the first of them.

From it to the noise terms of an inertial sensor. Names and slopes as in IEEE Std 952, Annex C (angle random walk
N: σ = N/√τ; bias instability B: the flat floor, σ = √(2 ln 2 / π)·B = 0.664 B; rate random walk K: σ = K·√(τ/3)).
N² is the *two-sided* power spectral density. The density n that datasheets print in °/s/√Hz is one-sided,
n = √2·N; some datasheets and programs quietly print N there.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.optimize import nnls

from armarc.errors import UsageError
from armarc.recording import FloatArray

POINTS_PER_DECADE = 8


@dataclass(frozen=True, slots=True, kw_only=True)
class Deviation:
    """A deviation over averaging times; m averaging times, k columns.

    Parameters
    ----------
    statistic : str
        One of `STATISTICS`.
    tau_s : ndarray, shape (m,), s
    value : ndarray, shape (m, k)
        In the unit of the values (`"time"`: times s).
    degrees_of_freedom : ndarray, shape (m,)
        Equivalent χ² degrees of freedom of the variance for white noise; 1 at least.
    """

    statistic: str
    tau_s: FloatArray
    value: FloatArray
    degrees_of_freedom: FloatArray

    @property
    def relative_se(self) -> FloatArray:
        """Shape (m,): relative standard error of the deviation (half that of the variance)."""
        return np.sqrt(0.5 / self.degrees_of_freedom)


def averaging_factors(n: int) -> list[int]:
    """Numbers of samples to average over, evenly spread on a logarithmic scale from 1 to a third of all."""
    top = max(1, n // 3)
    count = max(2, round(POINTS_PER_DECADE * np.log10(max(top, 2))) + 1)
    return sorted({int(f) for f in np.round(np.geomspace(1, top, count))})


def deviation(
    values: ArrayLike,
    rate_hz: float,
    factors: Sequence[int] | None = None,
    *,
    statistic: str = "overlapping",
) -> Deviation:
    """Deviation of evenly sampled rates.

    Parameters
    ----------
    values : array_like, shape (n,) or (n, k)
        Rates, evenly sampled, finite.
    rate_hz : float, Hz
    factors : sequence of int or None
        Numbers of samples to average over; those the recording is too short for are left out. None spreads them.
    statistic : str
        One of `STATISTICS`.

    Raises
    ------
    UsageError
        An unknown statistic, or values that are not finite or too few.

    Notes
    -----
    With averages ȳ over τ, the Allan variance is ``⟨(ȳ₂ − ȳ₁)²⟩ / 2``; ``overlapping`` takes every start instead of
    every τ-th. Degrees of freedom: NIST SP 1065, table 5, white frequency noise.
    """
    if statistic not in STATISTICS:
        raise UsageError(f"there is no statistic {statistic!r}", "use one of " + ", ".join(STATISTICS))
    y = np.asarray(values, dtype=np.float64)
    y = y[:, None] if y.ndim == 1 else y
    if y.ndim != 2 or len(y) < 3 or not np.isfinite(y).all():
        raise UsageError("a deviation needs three or more finite values", "check the recording")
    if not rate_hz > 0:
        raise UsageError(f"a rate of {rate_hz} Hz makes no sense", "give a positive rate")
    function, least_spans = _FUNCTIONS[statistic]
    wanted = averaging_factors(len(y)) if factors is None else sorted({int(f) for f in factors})
    centred = y - y.mean(axis=0)  # changes nothing, and keeps the sums small
    phase = np.zeros((y.shape[1], len(y) + 1))
    np.cumsum(centred.T, axis=1, out=phase[:, 1:])
    rows: list[list[float]] = []
    used: list[int] = []
    for factor in wanted:
        if factor < 1 or least_spans * factor > len(y):
            continue
        used.append(factor)
        rows.append([function(column, factor) / factor for column in phase])
    tau = np.asarray(used, dtype=float) / rate_hz
    value = np.asarray(rows, dtype=float).reshape(len(used), y.shape[1])
    if statistic == "time":
        value = value * tau[:, None] / np.sqrt(3.0)
    freedom = _freedom(len(y), np.asarray(used, dtype=float), statistic)
    return Deviation(statistic=statistic, tau_s=tau, value=value, degrees_of_freedom=freedom)


# Each function takes the sums x of the values from the first on, shape (n + 1,), and a lag of m samples, and gives
# the root mean square of its difference, scaled so that dividing by m gives the deviation.

_BLOCK = 1 << 15
"""Long differences are taken in blocks that stay in the processor's cache."""


def _mean_square_second(x: FloatArray, lag: int) -> float:
    count = len(x) - 2 * lag
    total = 0.0
    buffer = np.empty(min(count, _BLOCK))
    for start in range(0, count, _BLOCK):
        stop = min(start + _BLOCK, count)
        d = buffer[: stop - start]
        np.add(x[start + 2 * lag : stop + 2 * lag], x[start:stop], out=d)
        d -= x[start + lag : stop + lag]
        d -= x[start + lag : stop + lag]
        total += float(
            np.einsum("i,i->", d, d)
        )  # one thread: blocks this small are not worth waking others for
    return total / count


def _allan(x: FloatArray, m: int) -> float:
    d = np.diff(x[::m], 2)
    return float(np.sqrt(d @ d / (2 * len(d))))


def _overlapping(x: FloatArray, m: int) -> float:
    return float(np.sqrt(_mean_square_second(x, m) / 2))


def _modified(x: FloatArray, m: int) -> float:
    sums = np.concatenate([[0.0], np.cumsum(x)])
    means = (sums[m:] - sums[:-m]) / m
    return float(np.sqrt(_mean_square_second(means, m) / 2))


def _hadamard(x: FloatArray, m: int) -> float:
    d = np.diff(x[::m], 3)
    return float(np.sqrt(d @ d / (6 * len(d))))


def _overlapping_hadamard(x: FloatArray, m: int) -> float:
    d = x[3 * m :] - 3 * x[2 * m : -m] + 3 * x[m : -2 * m] - x[: -3 * m]
    return float(np.sqrt(d @ d / (6 * len(d))))


def _total(x: FloatArray, m: int) -> float:
    """Second differences with the record mirrored through its two ends."""
    n = len(x)
    before = 2 * x[0] - x[1 : n - 1][::-1]
    after = 2 * x[-1] - x[1 : n - 1][::-1]
    long = np.concatenate([before, x, after])
    middle = np.arange(len(before) + 1, len(before) + n - 1)
    d = long[middle - m] - 2 * long[middle] + long[middle + m]
    return float(np.sqrt(d @ d / (2 * len(d))))


_FUNCTIONS: dict[str, tuple[Callable[[FloatArray, int], float], float]] = {
    "allan": (_allan, 2),
    "overlapping": (_overlapping, 2),
    "modified": (_modified, 3),
    "time": (_modified, 3),
    "hadamard": (_hadamard, 3),
    "overlapping_hadamard": (_overlapping_hadamard, 3),
    "total": (_total, 1),
}
"""Function, and how many averaging times a record must hold for one difference."""

STATISTICS = tuple(_FUNCTIONS)


def _freedom(n: int, m: NDArray[np.float64], statistic: str) -> FloatArray:
    """Equivalent degrees of freedom for white frequency noise (NIST SP 1065, table 5), n rates, factor m."""
    if statistic in ("allan", "hadamard"):
        spare = 1 if statistic == "allan" else 2
        return np.maximum(0.7 * (n / m - spare), 1.0)
    points = n + 1.0
    edf = (3 * (points - 1) / (2 * m) - 2 * (points - 2) / points) * 4 * m**2 / (4 * m**2 + 5)
    return np.maximum(edf, 1.0)


FLOOR = math.sqrt(2 * math.log(2) / math.pi)
"""σ/B on the flat floor."""
SHORTEST_TAU_S = 0.1
"""Below, a filter inside the sensor makes the samples smoother than white noise."""
SMOOTHED_TAU_S = 0.5
"""… and below this, where it plainly does."""
SMOOTHED = 0.8
SHARED = 3.0
"""Points of one curve within an octave or so share what they know: variances from a fit grow by this."""
LEAST_FREEDOM = 4.0
"""The right-hand end of the curve, known to ± 35 % or worse, is left out."""
SHORTEST_FIT_S = 120.0
"""Below, noise and drift cannot be parted: all of the first second counts as noise."""
SHORTEST_FLOOR_S = 30.0
RISE = 1.15
"""How far the curve must rise again, in standard errors and by itself, before its lowest point counts as a floor."""


@dataclass(frozen=True, slots=True, kw_only=True)
class NoiseTerms:
    """Noise of one axis; angles in rad for a gyroscope, velocities in m/s for an accelerometer.

    Parameters
    ----------
    random_walk : float, rad/√s or m/s/√s
        N: angle (velocity) random walk. N² is the two-sided power spectral density.
    random_walk_se : float
    instability : float or None, rad/s or m/s²
        B: lowest point of the curve over 0.664; None where the recording is too short to say anything.
    instability_tau_s : float or None, s
        Where the lowest point lies.
    floor_seen : bool
        The curve rises again after it. Without that `instability` is an upper bound.
    rate_random_walk : float or None, rad/s/√s or m/s²/√s
        K, where the curve's right-hand end climbs; otherwise None.
    whiteness : float
        Standard deviation of the samples over what white noise of density N would have: below 1 the sensor
        smooths, above 1 it rings, quantises or moved.
    """

    random_walk: float
    random_walk_se: float
    instability: float | None
    instability_tau_s: float | None
    floor_seen: bool
    rate_random_walk: float | None
    whiteness: float

    @property
    def density(self) -> float:
        """One-sided density n = √2·N, per √Hz: what datasheets print."""
        return math.sqrt(2) * self.random_walk


def noise_terms(
    curve: Deviation, axis: int, *, sample_sd: float, rate_hz: float, duration_s: float
) -> NoiseTerms | None:
    """Read the terms off one axis of an overlapping Allan deviation.

    Parameters
    ----------
    curve : Deviation
    axis : int
        Column.
    sample_sd : float
        Standard deviation of the samples about their slow course.
    rate_hz : float, Hz
    duration_s : float, s
        Length of the recording: below 30 s nothing is said about drift.

    Returns
    -------
    NoiseTerms or None
        None when the curve has fewer than three usable points or the axis never changed.
    """
    value = curve.value[:, axis]
    white, white_se, climb, whiteness = 0.0, 0.0, 0.0, 0.0
    tau = sigma = se = np.zeros(0)
    for shortest_s in (SHORTEST_TAU_S, SMOOTHED_TAU_S):
        usable = (curve.degrees_of_freedom >= LEAST_FREEDOM) & (value > 0)
        usable &= curve.tau_s >= min(shortest_s, float(curve.tau_s[-1]) / 10)
        if int(usable.sum()) < 3:
            return None
        tau, sigma, se = curve.tau_s[usable], value[usable], curve.relative_se[usable]
        white, white_se, climb = _fit(tau, sigma, se) if duration_s >= SHORTEST_FIT_S else (0.0, 0.0, 0.0)
        if white <= 0:
            white, white_se = _level(tau, sigma, se)
        whiteness = sample_sd / (white * math.sqrt(rate_hz))
        if whiteness > SMOOTHED:
            break
    instability, at, seen = _floor(tau, sigma, se) if duration_s >= SHORTEST_FLOOR_S else (None, None, False)
    return NoiseTerms(
        random_walk=white,
        random_walk_se=white_se,
        instability=instability,
        instability_tau_s=at,
        floor_seen=seen,
        rate_random_walk=climb if seen and climb > 0 else None,
        whiteness=whiteness,
    )


def _level(tau: FloatArray, sigma: FloatArray, se: FloatArray) -> tuple[float, float]:
    """N and its error from the first second alone: an upper bound where something else than noise is in it."""
    early = tau <= max(1.0, float(tau[2]))
    weight = 1 / se[early] ** 2
    white = math.sqrt(float(((sigma[early] ** 2 * tau[early]) * weight).sum() / weight.sum()))
    # Points of one curve share their samples: together they know hardly more than the best of them.
    return white, white / math.sqrt(float(weight.max()))


def _fit(tau: FloatArray, sigma: FloatArray, se: FloatArray) -> tuple[float, float, float]:
    """N, its error, and K by non-negative least squares of σ² = N²/τ + 0.664²B² + K²τ/3, each point by its own error.

    Quantisation (3Q²/τ²) is left out: beyond a tenth of a second noise has long smoothed the steps.
    """
    square = sigma**2
    weight = 1 / (2 * se * square)
    columns = np.stack([1 / tau, np.full(len(tau), FLOOR**2), tau / 3], axis=1)
    matrix = columns * weight[:, None]
    scale = np.linalg.norm(matrix, axis=0)
    terms, _ = nnls(matrix / scale, square * weight)
    terms = terms / scale
    white = math.sqrt(terms[0])
    if white <= 0:
        return 0.0, 0.0, 0.0
    active = matrix[:, terms > 0]
    known = np.linalg.inv(active.T @ active)[0, 0]
    return white, math.sqrt(SHARED * known) / (2 * white), math.sqrt(terms[2])


def _floor(tau: FloatArray, sigma: FloatArray, se: FloatArray) -> tuple[float | None, float | None, bool]:
    lowest = int(sigma.argmin())
    after = sigma[lowest + 1 :]
    rises = after > np.maximum(RISE, 1 + se[lowest + 1 :]) * sigma[lowest]
    seen = bool(rises.any())
    return float(sigma[lowest]) / FLOOR, float(tau[lowest]), seen
