"""How sure a change over sessions is when neighbouring sessions resemble each other."""

from __future__ import annotations

import numpy as np

from armarc.log import special
from armarc.recording import FloatArray

CORRELATIONS = np.linspace(0.0, 0.8, 9)
"""What a session and the next one may have in common. How much it is cannot be told from a few sessions, so all of
these are thought possible, the smaller the likelier: weight 1 − ρ. Weight and shape were chosen after looking at
simulated sessions (ρ 0 and 0.5), so that a false "real" stays below 10 % in both; no person's data was looked at."""

_HALVINGS = 60


def change_of_ends(values: FloatArray, ends: int) -> tuple[float, float, float]:
    """Mean of the last `ends` sessions minus that of the first ones, and how sure it is.

    Parameters
    ----------
    values : ndarray, shape (n,)
        One per session, in order; n ≥ 3, not all equal.
    ends : int
        At most n/2.

    Returns
    -------
    difference, half, p : float
        Half of the 95 % interval, and the p value of no change. Both are zero where a line or a step explains the
        sessions to the last digit.

    Notes
    -----
    Two courses are thought possible, a straight line and a step half way, each with noise of first-order
    autocorrelation ρ. Given both, the change is Student's t with n − 2 degrees of freedom about what was seen, with
    the variance of the two means under ρ; courses and ρ are weighted by 1 − ρ and by their restricted likelihood
    |V|^−½ |XᵀV⁻¹X|^−½ RSS^−(n−2)/2 (Harville 1974, Biometrika 61:383, from memory), which knows that a fitted course
    takes variance and correlation out of its residuals. The interval is that of the mixture.
    """
    contrast = np.zeros(len(values))
    contrast[:ends] -= 1 / ends
    contrast[-ends:] += 1 / ends
    difference = float(contrast @ values)
    weight, scales = _scales(values, contrast)
    if not len(scales):
        return difference, 0.0, 0.0 if difference else 1.0
    df = len(values) - 2
    p = 2 * float(weight @ special.stdtr(df, -abs(difference) / scales))
    return difference, _mixture_quantile(weight, scales, df), p


def widening(values: FloatArray, contrast: FloatArray) -> float:
    """How many times as wide the interval of a contrast is as that for sessions that know nothing of each other, ≥ 1.

    Parameters
    ----------
    values, contrast : ndarray, shape (n,)
        n ≥ 3; the weights sum up to nothing.
    """
    weight, scales = _scales(values, contrast)
    if not len(scales):
        return 1.0
    df = len(values) - 2
    alone = float(scales[0] * special.stdtrit(df, 0.975))
    return max(_mixture_quantile(weight, scales, df) / alone, 1.0)


def _scales(values: FloatArray, contrast: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Weight of each course and correlation, and the standard error of the contrast under it; the line without any
    correlation first; empty where one of them leaves nothing unexplained.
    """
    n, df = len(values), len(values) - 2
    place = np.arange(n, dtype=float)
    used = np.flatnonzero(contrast)
    lags = np.abs(used[:, None] - used[None, :])
    variance = np.array([contrast[used] @ rho**lags @ contrast[used] for rho in CORRELATIONS])
    level, seen = _whitened(np.ones(n)), _whitened(values - values.mean())
    log_weight, scale = [], []
    for course in (place - place.mean(), np.where(place < n / 2, -1.0, 1.0)):
        centred = course - course.mean()
        slope = _whitened(centred / centred.std())
        a, b, c = (level**2).sum(axis=1), (level * slope).sum(axis=1), (slope**2).sum(axis=1)
        u, v = (level * seen).sum(axis=1), (slope * seen).sum(axis=1)
        size = a * c - b**2
        fitted = ((c * u - b * v) / size)[:, None] * level + ((a * v - b * u) / size)[:, None] * slope
        unexplained = ((seen - fitted) ** 2).sum(axis=1)
        if unexplained.min() <= 1e-24 * float(values @ values):
            return np.zeros(0), np.zeros(0)
        spread = (n - 1) * np.log1p(-(CORRELATIONS**2)) + np.log(size)
        log_weight.append(np.log1p(-CORRELATIONS) - 0.5 * spread - 0.5 * df * np.log(unexplained))
        scale.append(np.sqrt(unexplained / df * variance))
    log_weights = np.concatenate(log_weight)
    weight = np.exp(log_weights - log_weights.max())
    return weight / weight.sum(), np.concatenate(scale)


def _whitened(values: FloatArray) -> FloatArray:
    """Values as they are without what each has of the one before, under every correlation, shape (k, n)."""
    rho = CORRELATIONS[:, None]
    rest = np.sqrt(1 - rho**2)
    return np.concatenate([values[None, :1] + 0 * rho, (values[1:] - rho * values[:-1]) / rest], axis=1)


def _mixture_quantile(weight: FloatArray, scale: FloatArray, df: float) -> float:
    """97.5 % point of a mixture of t distributions about zero, by halving."""
    low, high = 0.0, float(scale.max() * special.stdtrit(df, 0.975))
    for _ in range(_HALVINGS):
        middle = (low + high) / 2
        if float(weight @ special.stdtr(df, middle / scale)) < 0.975:
            low = middle
        else:
            high = middle
    return high
