"""Where a sampled curve crosses a level, between the samples."""

from __future__ import annotations

import numpy as np

from armarc.recording import FloatArray


def upward_crossings(curve: FloatArray, level: float) -> FloatArray:
    """Find where `curve` rises through `level`.

    Parameters
    ----------
    curve : ndarray, shape (n,)
    level : float

    Returns
    -------
    ndarray, shape (k,)
        Fractional sample indices, by linear interpolation.
    """
    at = ((curve[:-1] < level) & (curve[1:] >= level)).nonzero()[0]
    return at + (level - curve[at]) / (curve[at + 1] - curve[at])


def downward_crossings(curve: FloatArray, level: float) -> FloatArray:
    """Find where `curve` falls through `level`; see `upward_crossings`."""
    at = ((curve[:-1] > level) & (curve[1:] <= level)).nonzero()[0]
    return at + (curve[at] - level) / (curve[at] - curve[at + 1])


def value_at(curve: FloatArray, index: float) -> float:
    """Read a curve at a fractional sample index by linear interpolation."""
    low = min(max(int(np.floor(index)), 0), len(curve) - 1)
    high = min(low + 1, len(curve) - 1)
    return float(curve[low] + (index - low) * (curve[high] - curve[low]))
