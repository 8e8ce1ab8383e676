"""Robust smoothing of a scatter of points, and its robust slope."""

from __future__ import annotations

import math

import numpy as np

from armarc.log.repeatability import Z_95
from armarc.recording import FloatArray

SPAN = 2 / 3
"""Share of the points that each local line is fitted to."""


def lowess(x: FloatArray, y: FloatArray, *, robust_rounds: int = 3) -> FloatArray:
    """Locally weighted straight lines, made robust against outliers.

    Parameters
    ----------
    x : ndarray, shape (n,)
        Rising; equal values are allowed.
    y : ndarray, shape (n,)
    robust_rounds : int
        How often outliers are weighted down by their residual and the lines are fitted again.

    Returns
    -------
    ndarray, shape (n,)

    Notes
    -----
    Cleveland 1979, J Am Stat Assoc 74:829: tricube weights over the nearest `SPAN` of the points, bisquare weights
    of residuals over six times their median.
    """
    x, y = np.asarray(x, float), np.asarray(y, float)
    n = len(x)
    if n < 3:
        return y.copy()
    near = max(min(int(SPAN * n + 1e-7), n), 2)
    distance = np.abs(x[:, None] - x[None, :])
    reach = np.sort(distance, axis=1)[:, near - 1][:, None]
    extent = x[-1] - x[0]
    inside = np.where(distance <= 0.999 * reach, 1.0, 0.0)
    ratio = np.divide(distance, reach, out=np.zeros_like(distance), where=reach > 0)
    # The thresholds 0.999 and 0.001 are those of Cleveland's own program.
    tricube = np.where(ratio > 0.001, (1 - np.minimum(ratio, 1) ** 3) ** 3, 1.0) * inside
    tricube = np.where(reach > 0, tricube, np.where(distance == 0, 1.0, 0.0))
    trust = np.ones(n)
    fitted = y.copy()
    for _ in range(robust_rounds + 1):
        fitted = _local_lines(x, y, tricube * trust[None, :], extent, fitted)
        residual = np.abs(y - fitted)
        six = 6 * float(np.median(residual))
        if six < 1e-7 * float(np.mean(residual)) or six == 0:
            break
        u = residual / six
        trust = np.where(u <= 0.001, 1.0, np.where(u > 0.999, 0.0, (1 - np.minimum(u, 1) ** 2) ** 2))
    return fitted


def _local_lines(
    x: FloatArray, y: FloatArray, weight: FloatArray, extent: float, before: FloatArray
) -> FloatArray:
    """Value of each point's weighted line at the point itself; where no weight is left, the value before."""
    total = weight.sum(axis=1)
    known = total > 0
    w = np.divide(weight, total[:, None], out=np.zeros_like(weight), where=known[:, None])
    centre = w @ x
    offset = x - centre
    spread = np.sum(w * (x[None, :] - centre[:, None]) ** 2, axis=1)
    # Points that stand on top of each other carry no slope.
    sloped = np.sqrt(spread) > 0.001 * extent
    lean = np.divide(offset, spread, out=np.zeros_like(offset), where=sloped)
    w = w * (1 + lean[:, None] * (x[None, :] - centre[:, None]))
    return np.where(known, w @ y, before)


def median_slope(x: FloatArray, y: FloatArray) -> tuple[float, float, float]:
    """Median of the slopes of all pairs of points (Theil and Sen) with its 95 % interval.

    Parameters
    ----------
    x : ndarray, shape (n,)
        Rising; equal values are allowed, but not all of them.
    y : ndarray, shape (n,)

    Notes
    -----
    Sen 1968, J Am Stat Assoc 63:1379, equation 2.6 for the interval with ties.
    """
    first, second = np.triu_indices(len(x), 1)
    run = x[second] - x[first]
    slopes = (y[second] - y[first])[run > 0] / run[run > 0]
    n, count = len(x), len(slopes)

    def tied(values: FloatArray) -> float:
        repeats = np.unique(values, return_counts=True)[1]
        return float(np.sum(repeats * (repeats - 1) * (2 * repeats + 5)))

    variance = (n * (n - 1) * (2 * n + 5) - tied(x) - tied(y)) / 18
    half = Z_95 * math.sqrt(max(variance, 0.0))
    high = min(round((count + half) / 2), count - 1)
    low = max(round((count - half) / 2) - 1, 0)
    middle = [(count - 1) // 2, count // 2]
    # Only these places of the sorted slopes are needed.
    slopes = np.partition(slopes, [*middle, low, high])
    return float(np.mean(slopes[middle])), float(slopes[low]), float(slopes[high])
