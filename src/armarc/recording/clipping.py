"""Samples that sit at the end of the sensor's range."""

from __future__ import annotations

import math

import numpy as np

from armarc.recording.types import STANDARD_GRAVITY_M_S2, BoolArray, FloatArray

ACCELEROMETER_RANGES_M_S2 = tuple(STANDARD_GRAVITY_M_S2 * g for g in (2.0, 4.0, 8.0, 16.0, 30.0, 32.0, 64.0))
GYROSCOPE_RANGES_RAD_S = tuple(math.radians(d) for d in (125.0, 245.0, 250.0, 500.0, 1000.0, 2000.0, 4000.0))
_FLAT_RUN = 3
_RANGE_TOLERANCE = 0.002


def clipped_samples(
    values: FloatArray, ranges: tuple[float, ...], smallest_extreme: float, stated_range: float | None = None
) -> BoolArray:
    """Flag samples at the end of the range.

    A sample counts as clipped when it reaches the stated range; when the largest value of all axes is, within
    0.2 %, one of the usual ranges and is reached more than once; or when an axis stays for three samples or
    more exactly at its own extreme.

    Parameters
    ----------
    values : ndarray, shape (n, 3)
    ranges : tuple of float
        Usual full-scale values, same unit.
    smallest_extreme : float
        Flat extremes below this are a sensor at rest, not one at the end of its range.
    stated_range : float or None
        Full scale from the recording's metadata.

    Returns
    -------
    ndarray of bool, shape (n,)
    """
    flags = np.zeros(len(values), bool)
    if not len(values):
        return flags
    # Column by column: a reduction over the long axis of (n, 3) rows is several times slower.
    high = [float(column.max()) for column in values.T]
    low = [float(column.min()) for column in values.T]
    peak = max(*high, *(-x for x in low))
    if stated_range and peak >= stated_range * (1 - _RANGE_TOLERANCE):
        flags |= (np.abs(values) >= stated_range * (1 - _RANGE_TOLERANCE)).any(axis=1)
    elif any(abs(peak / full - 1.0) <= _RANGE_TOLERANCE for full in ranges):
        at_end = (np.abs(values) >= peak * (1 - 1e-4)).any(axis=1)
        if at_end.sum() > 1:
            flags |= at_end
    for axis in range(values.shape[1]):
        column = values[:, axis]
        for extreme in (high[axis], low[axis]):
            if abs(extreme) >= smallest_extreme:
                flags |= _long_runs(column == extreme)
    return flags


def _long_runs(mask: BoolArray) -> BoolArray:
    """Keep the runs of at least three True."""
    places = np.flatnonzero(mask)
    out = np.zeros(len(mask), bool)
    if len(places) < _FLAT_RUN:
        return out
    starts = np.flatnonzero(np.diff(places, prepend=-2) > 1)
    lengths = np.diff(np.append(starts, len(places)))
    keep = np.repeat(lengths >= _FLAT_RUN, lengths)
    out[places[keep]] = True
    return out
