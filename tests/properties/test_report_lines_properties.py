"""Thinning a curve keeps what the eye looks for."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from armarc.report.picture_parts import area, stretches, thinned


@given(arrays(float, st.integers(1, 400), elements=st.floats(-1e6, 1e6, width=32)), st.integers(1, 60))
def test_extremes_and_ends_survive_and_order_is_kept(y, columns):
    x = np.arange(len(y), dtype=float)
    tx, ty = thinned(x, y, columns)
    assert ty.max() == y.max()
    assert ty.min() == y.min()
    assert (np.diff(tx) >= 0).all()
    assert np.array_equal(y[tx.astype(int)], ty)
    assert tx[-1] >= x[-1] - len(y) / columns
    assert len(tx) <= max(4 * columns, 4) + len(y) // columns


@given(arrays(bool, st.integers(0, 200)))
def test_stretches_rebuild_the_mask(mask):
    rebuilt = np.zeros(len(mask), bool)
    for first, stop in stretches(mask):
        assert first < stop
        rebuilt[first:stop] = True
    assert np.array_equal(rebuilt, mask)


@given(st.floats(0, 9), st.floats(0.01, 5))
def test_area_under_a_constant_is_a_rectangle(start, width):
    x = np.linspace(0, 15, 1501)
    outline = area(x, np.full(len(x), 3.0), start, start + width, 1.0)
    xs, ys = outline.T
    shoelace = 0.5 * abs(np.dot(xs, np.roll(ys, -1)) - np.dot(ys, np.roll(xs, -1)))
    assert abs(shoelace - 2.0 * width) < 1e-9
