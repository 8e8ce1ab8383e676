"""Where a sampled curve crosses a level, between the samples."""

from __future__ import annotations

import math

from armarc.recording import BoolArray, FloatArray


def upward_crossings(curve: FloatArray, level: float, begin: int = 0) -> list[float]:
    """Find where `curve` rises through `level`.

    Parameters
    ----------
    curve : ndarray, shape (n,)
    level : float
    begin : int
        Index of the first sample.

    Returns
    -------
    list of float
        Fractional sample indices, by linear interpolation.
    """
    below = curve < level
    return _between(curve, level, begin, below[:-1] > below[1:])


def downward_crossings(curve: FloatArray, level: float, begin: int = 0) -> list[float]:
    """Find where `curve` falls through `level`; see `upward_crossings`."""
    above = curve > level
    return _between(curve, level, begin, above[:-1] > above[1:])


def _between(curve: FloatArray, level: float, begin: int, passes: BoolArray) -> list[float]:
    # Plain numbers: there are one or two, and arrays of them take several times as long.
    at = passes.nonzero()[0].tolist()
    return [k + float((level - curve[k]) / (curve[k + 1] - curve[k])) + begin for k in at]


def value_at(curve: FloatArray, index: float) -> float:
    """Read a curve at a fractional sample index by linear interpolation."""
    low = min(max(math.floor(index), 0), len(curve) - 1)
    high = min(low + 1, len(curve) - 1)
    return float(curve[low] + (index - low) * (curve[high] - curve[low]))
