"""Size of a difference, with its uncertainty."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

import numpy as np

from armarc.log import special
from armarc.recording import FloatArray

CONFIDENCE = 0.95
MOST_DIGITS = 6


@dataclass(frozen=True, slots=True, kw_only=True)
class Effect:
    """Difference of two samples, second minus first.

    Parameters
    ----------
    paired : bool
    n_first, n_second : int
    mean_first, mean_second, difference : float
    low, high : float or None
        95 % interval of the difference (Student's t, paired; Welch's t, independent); None with too few values.
    size : float or None
        Standardised difference with Hedges' small-sample correction: over the mean of both SDs for pairs, over
        the pooled SD for independent samples.
    size_low, size_high : float or None
        95 % interval of the size (noncentral t).
    p : float or None
        Of the same t tests as the intervals of the difference, two-sided; None with too few values.
    measuring_se : float
        What measuring adds to the error of the difference beyond the scatter; in the intervals and in p.
    no_scatter : bool
        Enough values, all alike and without an error of measuring: no interval can be given, least of all one of
        no width.
    """

    paired: bool
    n_first: int
    n_second: int
    mean_first: float
    mean_second: float
    difference: float
    low: float | None = None
    high: float | None = None
    size: float | None = None
    size_low: float | None = None
    size_high: float | None = None
    p: float | None = None
    measuring_se: float = 0.0
    no_scatter: bool = False

    def words(self, digits: int) -> str:
        """Difference and interval with `digits` decimals, more where the interval would seem to have no width."""
        if self.low is None or self.high is None:
            return signed(self.difference, digits)
        digits = digits_for((self.high - self.low) / 2, digits)
        span = f"{signed(self.low, digits)} to {signed(self.high, digits)}"
        return f"{signed(self.difference, digits)} ({span})"


def signed(value: float, digits: int) -> str:
    """A number with its sign; what rounds to nothing is no negative nothing."""
    return f"{round(value, digits) + 0.0:+.{digits}f}"


def digits_for(error: float, digits: int) -> int:
    """Decimals, at least these, that an error above zero needs so as not to be printed as nothing."""
    while error > 0 and round(error, digits) == 0 and digits < MOST_DIGITS:
        digits += 1
    return digits


def paired_effect(
    first: Sequence[float] | FloatArray, second: Sequence[float] | FloatArray, measuring_se: float = 0.0
) -> Effect:
    """Difference of pairs.

    Parameters
    ----------
    first, second : array_like, shape (n,)
        Pair by pair, n ≥ 1.
    measuring_se : float
        Standard error of the difference that the scatter of the pairs does not show.

    Notes
    -----
    The size is the mean difference over the mean SD (d_av of Cumming 2012, from memory); its interval scales
    that of the noncentral t of the pairs by the ratio of the two SDs. An error beside the scatter adds to its
    variance, with the degrees of freedom of Welch 1947.
    """
    a, b = np.asarray(first, float), np.asarray(second, float)
    n = len(a)
    change = b - a
    base = {
        "paired": True,
        "n_first": n,
        "n_second": n,
        "mean_first": float(a.mean()),
        "mean_second": float(b.mean()),
        "difference": float(change.mean()),
        "measuring_se": measuring_se,
    }
    if n < 3:
        return Effect(**base)  # type: ignore[arg-type]
    error, df = _with_measuring(float(change.std(ddof=1)) / math.sqrt(n), n - 1, measuring_se)
    if error <= _rounding(a, b):
        return Effect(**base, no_scatter=True)  # type: ignore[arg-type]
    half = float(special.stdtrit(df, 0.5 + CONFIDENCE / 2)) * error
    interval = {"low": base["difference"] - half, "high": base["difference"] + half}
    average = math.sqrt((float(a.var(ddof=1)) + float(b.var(ddof=1))) / 2)
    interval["p"] = _p(base["difference"], error, df)
    if average <= 0:
        return Effect(**base, **interval)  # type: ignore[arg-type]
    t = float(change.mean()) / error
    low, high = noncentrality_interval(t, df)
    scale = hedges_correction(n - 1) * error / average
    return Effect(**base, **interval, size=t * scale, size_low=low * scale, size_high=high * scale)  # type: ignore[arg-type]


def independent_effect(
    first: Sequence[float] | FloatArray, second: Sequence[float] | FloatArray, measuring_se: float = 0.0
) -> Effect:
    """Difference of two samples that are not paired.

    Parameters
    ----------
    first, second : array_like, shape (n,) and (m,)
    measuring_se : float
        Standard error of the difference that the scatter of the samples does not show.

    Notes
    -----
    Interval of the difference after Welch 1947; size is Hedges' g (Hedges 1981, J Educ Stat 6:107) with the
    interval of the noncentral t. A single value against several is taken to scatter as they do (Crawford and Howell
    1998, Clin Neuropsychol 12:482, from memory).
    """
    a, b = np.asarray(first, float), np.asarray(second, float)
    n, m = len(a), len(b)
    difference = float(b.mean() - a.mean())
    base = {
        "paired": False,
        "n_first": n,
        "n_second": m,
        "mean_first": float(a.mean()),
        "mean_second": float(b.mean()),
        "difference": difference,
        "measuring_se": measuring_se,
    }
    if max(n, m) < 2:
        return Effect(**base)  # type: ignore[arg-type]
    if min(n, m) < 2:
        spread = a if n > m else b
        error = float(spread.std(ddof=1)) * math.sqrt(1 + 1 / len(spread))
        error, df = _with_measuring(error, len(spread) - 1, measuring_se)
        if error <= _rounding(a, b):
            return Effect(**base, no_scatter=True)  # type: ignore[arg-type]
        half = float(special.stdtrit(df, 0.5 + CONFIDENCE / 2)) * error
        p = _p(difference, error, df)
        return Effect(**base, low=difference - half, high=difference + half, p=p)  # type: ignore[arg-type]
    va, vb = float(a.var(ddof=1)) / n, float(b.var(ddof=1)) / m
    if math.sqrt(va + vb) <= _rounding(a, b) and measuring_se <= 0:
        return Effect(**base, no_scatter=True)  # type: ignore[arg-type]
    df = (va + vb) ** 2 / (va**2 / (n - 1) + vb**2 / (m - 1)) if va + vb > 0 else 1.0
    error, wider = _with_measuring(math.sqrt(va + vb), df, measuring_se)
    half = float(special.stdtrit(wider, 0.5 + CONFIDENCE / 2)) * error
    p = _p(difference, error, wider)
    pooled = math.sqrt((va * n * (n - 1) + vb * m * (m - 1)) / (n + m - 2))
    if min(n, m) < 3 or pooled <= 0:
        return Effect(**base, low=difference - half, high=difference + half, p=p)  # type: ignore[arg-type]
    error, wider = _with_measuring(pooled * math.sqrt((n + m) / (n * m)), n + m - 2, measuring_se)
    t = difference / error
    low, high = noncentrality_interval(t, wider)
    scale = hedges_correction(n + m - 2) * error / pooled
    return Effect(
        **base,  # type: ignore[arg-type]
        low=difference - half,
        high=difference + half,
        p=p,
        size=t * scale,
        size_low=low * scale,
        size_high=high * scale,
    )


def _with_measuring(error: float, df: float, measuring_se: float) -> tuple[float, float]:
    """Standard error and degrees of freedom once an error beside the scatter, known without any, has come to it."""
    if measuring_se <= 0:
        return error, df
    total = error**2 + measuring_se**2
    # Beyond a thousand degrees Student's t is the normal distribution to three digits.
    return math.sqrt(total), min(df * (total / error**2) ** 2, 1000.0) if error > 0 else 1000.0


def _rounding(a: FloatArray, b: FloatArray) -> float:
    """What the last digits of equal numbers may still scatter by."""
    return 1e-12 * max(float(np.abs(a).max()), float(np.abs(b).max()))


def _p(difference: float, error: float, df: float) -> float:
    """Two-sided p value of a difference with its standard error, above zero."""
    return 2 * float(special.stdtr(df, -abs(difference) / error))


def hedges_correction(df: float) -> float:
    """Factor that takes the bias out of a standardised difference: Γ(df/2)/(√(df/2)·Γ((df−1)/2)).

    Hedges 1981, J Educ Stat 6:107, exact form.
    """
    if df <= 1:
        return float("nan")
    return float(math.exp(special.gammaln(df / 2) - special.gammaln((df - 1) / 2)) / math.sqrt(df / 2))


@cache
def _gauss_legendre() -> tuple[FloatArray, FloatArray]:
    return np.polynomial.legendre.leggauss(200)


def noncentrality_interval(t: float, df: float) -> tuple[float, float]:
    """95 % interval of the noncentrality parameter behind an observed t.

    Notes
    -----
    The distribution function is the mean of the normal one over the spread of the standard deviation,
    ∫ Φ(t·s − δ) f(s) ds, by Gauss–Legendre: library routines give NaN at some places in the tails.
    """
    tail = (1 - CONFIDENCE) / 2
    root = math.sqrt(df)
    # The standard deviation over its true value is χ/√df.
    low_s = math.sqrt(2 * special.gammaincinv(df / 2, 1e-13)) / root
    high_s = math.sqrt(2 * special.gammainccinv(df / 2, 1e-13)) / root
    nodes, weights = _gauss_legendre()
    s = low_s + (nodes + 1) / 2 * (high_s - low_s)
    chi = s * root
    log_density = (
        (1 - df / 2) * math.log(2) - special.gammaln(df / 2) + special.xlogy(df - 1, chi) - chi**2 / 2
    )
    density = np.exp(log_density) * root * weights * (high_s - low_s) / 2

    def bound(probability: float) -> float:
        # It falls with delta from one to zero; beyond these ends either is reached.
        high = 10.0 + abs(t) * high_s
        low = -high
        while high - low > 1e-10:
            delta = (low + high) / 2
            if not low < delta < high:
                break
            if float(density @ special.ndtr(t * s - delta)) > probability:
                low = delta
            else:
                high = delta
        return (low + high) / 2

    return bound(1 - tail), bound(tail)
