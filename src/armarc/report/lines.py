"""Curves made ready to draw: thinned without losing a peak, and cut at gaps."""

from __future__ import annotations

import numpy as np

from armarc.recording import BoolArray, FloatArray


def thinned(x: FloatArray, y: FloatArray, columns: int) -> tuple[FloatArray, FloatArray]:
    """Keep the lowest and the highest point of each of `columns` stretches.

    Parameters
    ----------
    x, y : ndarray, shape (n,)
        NaN in `y` breaks the line.
    columns : int
        About the number of picture columns.

    Returns
    -------
    tuple of ndarray
        About ``2 * columns`` points in order, or the input when it is short already.
    """
    n = len(x)
    if n <= 4 * columns:
        return x, y
    width = n // columns
    columns = n // width
    whole = width * columns
    blocks = y[:whole].reshape(columns, width)
    gaps = np.isnan(blocks)
    low = np.argmin(np.where(gaps, np.inf, blocks), axis=1)
    high = np.argmax(np.where(gaps, -np.inf, blocks), axis=1)
    start = np.arange(columns) * width
    keep = np.sort(np.stack([start + low, start + high], axis=1), axis=1).ravel()
    kept_y = y[keep]
    kept_y[np.repeat(gaps.any(axis=1), 2)] = np.nan
    return np.append(x[keep], x[whole:]), np.append(kept_y, y[whole:])


def stretches(mask: BoolArray) -> list[tuple[int, int]]:
    """Half-open index ranges in which `mask` is true."""
    edges = np.flatnonzero(np.diff(np.concatenate(([False], mask, [False])).astype(np.int8)))
    return [(int(a), int(b)) for a, b in zip(edges[::2], edges[1::2], strict=True)]


def area(x: FloatArray, y: FloatArray, start: float, stop: float, floor: float) -> FloatArray:
    """Outline, shape (m, 2), of the area between `floor` and the curve from `start` to `stop`."""
    first, last = np.searchsorted(x, (start, stop))
    step = max(1, (last - first) // 200)
    inner = slice(first, last, step)
    xs = np.concatenate(([start], x[inner], [stop]))
    ys = np.concatenate(([np.interp(start, x, y)], y[inner], [np.interp(stop, x, y)]))
    outline = np.stack([xs, ys], axis=1)
    return np.concatenate((outline, [[stop, floor], [start, floor]]))
