"""How far a number moves when nothing changed: typical error, limits of agreement, intraclass correlation."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from armarc.errors import UsageError
from armarc.log import special
from armarc.recording import FloatArray

Z_95 = 1.959963984540054
"""97.5 % point of the standard normal distribution."""

WORTHWHILE_SHARE = 0.2
"""Share of the between-subject SD that is worth anything (Hopkins 2000, Sports Med 30:1-15)."""

CONFIDENCE = 0.95


@dataclass(frozen=True, slots=True, kw_only=True)
class PairedError:
    """Test against retest.

    Parameters
    ----------
    pairs : int
    mean : float
        Grand mean of both trials.
    bias : float
        Mean of second minus first.
    sd_change : float
    typical_error : float
        ``sd_change / √2`` (Hopkins 2000).
    typical_error_low, typical_error_high : float
        95 % interval (χ²).
    cv_pct : float or None
        100·typical error/mean; None where the mean is not above zero.
    limits : tuple of float
        Bias ± 1.96·SD (Bland and Altman 1999, Stat Methods Med Res 8:135).
    limit_half_width : float
        Half of the 95 % interval of each limit, t·√(3/n)·SD, from the same paper.
    detectable : float
        Smallest change that one retest shows with 95 % confidence: 1.96·√2·typical error (Weir 2005, J Strength
        Cond Res 19:231, from memory).
    """

    pairs: int
    mean: float
    bias: float
    sd_change: float
    typical_error: float
    typical_error_low: float
    typical_error_high: float
    cv_pct: float | None
    limits: tuple[float, float]
    limit_half_width: float
    detectable: float

    @property
    def detectable_low(self) -> float:
        """Lower end of its 95 % interval, from that of the typical error."""
        return detectable_change(self.typical_error_low)

    @property
    def detectable_high(self) -> float:
        """Upper end: with few pairs the definition does not hold what it says, this does nearly."""
        return detectable_change(self.typical_error_high)


def paired_error(first: Sequence[float] | FloatArray, second: Sequence[float] | FloatArray) -> PairedError:
    """Typical error and limits of agreement of pairs of trials.

    Parameters
    ----------
    first, second : array_like, shape (n,)
        n ≥ 3, all finite.

    Raises
    ------
    UsageError
        With fewer than three pairs, or trials of different lengths.
    """
    a, b = np.asarray(first, float), np.asarray(second, float)
    if a.shape != b.shape or a.ndim != 1 or len(a) < 3:
        raise UsageError(f"repeatability needs three pairs or more, got {len(a)} and {len(b)} values")
    change = b - a
    n, sd = len(a), float(np.std(b - a, ddof=1))
    error = sd / math.sqrt(2)
    low, high = sd_interval(error, n - 1)
    mean, bias = float(np.mean((a + b) / 2)), float(np.mean(change))
    t = float(special.stdtrit(n - 1, 0.5 + CONFIDENCE / 2))
    return PairedError(
        pairs=n,
        mean=mean,
        bias=bias,
        sd_change=sd,
        typical_error=error,
        typical_error_low=low,
        typical_error_high=high,
        cv_pct=100 * error / mean if mean > 0 else None,
        limits=(bias - Z_95 * sd, bias + Z_95 * sd),
        limit_half_width=t * math.sqrt(3 / n) * sd,
        detectable=detectable_change(error),
    )


def sd_interval(sd: float, df: float) -> tuple[float, float]:
    """95 % interval of a standard deviation with `df` degrees of freedom (χ² distribution)."""
    tail = (1 - CONFIDENCE) / 2
    low, high = (math.sqrt(df / (2 * special.gammaincinv(df / 2, p))) for p in (1 - tail, tail))
    return sd * low, sd * high


def detectable_change(typical_error: float, df: float | None = None) -> float:
    """Smallest change between two single measurements that is not error, with 95 % confidence.

    Parameters
    ----------
    typical_error : float
    df : float or None
        Degrees of freedom it was told from: with few of them Student's t holds what the normal distribution, None,
        only claims.
    """
    quantile = Z_95 if df is None else float(special.stdtrit(df, 0.5 + CONFIDENCE / 2))
    return quantile * math.sqrt(2) * typical_error


def series_df(count: int) -> float:
    """Degrees of freedom of the differences of neighbours in a series of `count`: 2(n−1)²/(3n−4).

    A value in the middle is used twice (von Neumann 1941, Ann Math Stat 12:367, from memory); 1 for a single pair.
    """
    return 2 * (count - 1) ** 2 / (3 * count - 4)


def smallest_worthwhile(between_sd: float, typical_error: float, sessions: float = 1.0) -> float:
    """0.2 times the SD between subjects with the error taken out of it (Hopkins 2000).

    Parameters
    ----------
    between_sd : float
        SD of the subjects' means.
    typical_error : float
        Error of one session.
    sessions : float
        How many sessions a mean is of: its variance holds TE²/k of error.
    """
    return WORTHWHILE_SHARE * math.sqrt(max(between_sd**2 - typical_error**2 / sessions, 0.0))


@dataclass(frozen=True, slots=True, kw_only=True)
class MeanSquares:
    """Mean squares of a table of n targets measured k times each, named as in Shrout and Fleiss 1979."""

    targets: int
    trials: int
    between: float
    trial: float
    error: float
    within: float


def mean_squares(scores: FloatArray) -> MeanSquares:
    """Two-way analysis of variance without replication.

    Parameters
    ----------
    scores : array_like, shape (n, k)
        Targets in rows, trials in columns; n ≥ 2, k ≥ 2, complete.

    Raises
    ------
    UsageError
        If the table is too small.
    """
    x = np.asarray(scores, float)
    if x.ndim != 2 or min(x.shape) < 2:
        raise UsageError("an intraclass correlation needs two targets and two trials or more")
    n, k = x.shape
    grand = x.mean()
    rows = k * float(np.sum((x.mean(axis=1) - grand) ** 2))
    columns = n * float(np.sum((x.mean(axis=0) - grand) ** 2))
    within = float(np.sum((x - x.mean(axis=1, keepdims=True)) ** 2))
    return MeanSquares(
        targets=n,
        trials=k,
        between=rows / (n - 1),
        trial=columns / (k - 1),
        error=max(within - columns, 0.0) / ((n - 1) * (k - 1)),
        within=within / (n * (k - 1)),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Icc:
    """One intraclass correlation with its 95 % interval."""

    value: float
    low: float
    high: float


def intraclass(scores: FloatArray) -> dict[str, Icc]:
    """Intraclass correlations (1,1), (2,1) and (3,1).

    Parameters
    ----------
    scores : array_like, shape (n, k)
        See `mean_squares`.

    Notes
    -----
    Formulas and intervals of Shrout and Fleiss 1979, Psychol Bull 86:420. (1,1) takes trials as
    interchangeable, (2,1) counts a shift between trials as error, (3,1) does not.
    """
    ms = mean_squares(scores)
    n, k = ms.targets, ms.trials
    b, j, e, w = ms.between, ms.trial, ms.error, ms.within
    tail = 1 - (1 - CONFIDENCE) / 2
    out = {"1,1": _one_ratio(b, w, k, n - 1, n * (k - 1), tail)}
    two = _share(b - e, b + (k - 1) * e + k * (j - e) / n)
    low, high = _two_way_interval(two, b, j, e, n, k, tail)
    # The interval of (2,1) is an approximation that fails for tiny tables with a negative value: say nothing then.
    low, high = low if math.isfinite(low) else -1.0, high if math.isfinite(high) else 1.0
    out["2,1"] = Icc(value=two, low=min(low, two), high=max(high, two))
    out["3,1"] = _one_ratio(b, e, k, n - 1, (n - 1) * (k - 1), tail)
    return out


def _one_ratio(b: float, e: float, k: int, df1: int, df2: int, tail: float) -> Icc:
    value = _share(b - e, b + (k - 1) * e)
    if e <= 0:
        return Icc(value=value, low=value, high=value)
    ratio = b / e
    low = ratio / float(special.fdtri(df1, df2, tail))
    high = ratio * float(special.fdtri(df2, df1, tail))
    return Icc(value=value, low=(low - 1) / (low + k - 1), high=(high - 1) / (high + k - 1))


def _two_way_interval(
    icc: float, b: float, j: float, e: float, n: int, k: int, tail: float
) -> tuple[float, float]:
    if e <= 0:
        return icc, icc
    fj = j / e
    inner = n * (1 + (k - 1) * icc) - k * icc
    df = (k - 1) * (n - 1) * (k * icc * fj + inner) ** 2 / ((n - 1) * (k * icc * fj) ** 2 + inner**2)
    up, down = float(special.fdtri(n - 1, df, tail)), float(special.fdtri(df, n - 1, tail))
    rest = k * j + (k * n - k - n) * e
    return n * (b - up * e) / (up * rest + n * b), n * (down * b - e) / (rest + n * down * b)


def _share(part: float, whole: float) -> float:
    return part / whole if whole > 0 else 0.0
