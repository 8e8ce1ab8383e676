"""Laws of the rep detection."""

import math
from itertools import pairwise

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from armarc.reps.movements import find_movements
from armarc.reps.summary import tempo
from armarc.reps.turning import TurningState, finish, step, turning_points

FEW = settings(max_examples=60, deadline=None)
# A coarse grid makes plateaus and equal extremes common.
CURVES = arrays(np.float64, st.integers(0, 60), elements=st.integers(0, 8).map(lambda v: v / 4))
HYSTERESES = st.sampled_from([0.25, 0.5, 0.6, 1.0])


def folded(curve, hysteresis, state=None, first=0):
    """`step` over every sample, as the live engine does it."""
    state, turns = state or TurningState(), []
    for index, angle in enumerate(curve, first):
        state, turn = step(state, index, float(angle), hysteresis)
        if turn is not None:
            turns.append(turn)
    return state, turns


@FEW
@given(CURVES, HYSTERESES)
def test_every_sample_and_the_extremes_alone_confirm_the_same_turns(curve, hysteresis):
    state, turns = folded(curve, hysteresis)
    last = finish(state, hysteresis)
    assert turning_points(curve, hysteresis) == turns + ([last] if last is not None else [])


@FEW
@given(CURVES, HYSTERESES, st.integers(0, 60))
def test_where_the_stream_is_cut_does_not_matter(curve, hysteresis, cut):
    cut = min(cut, len(curve))
    state, before = folded(curve[:cut], hysteresis)
    state, after = folded(curve[cut:], hysteresis, state, cut)
    whole_state, whole = folded(curve, hysteresis)
    assert (before + after, state) == (whole, whole_state)


@FEW
@given(CURVES, HYSTERESES)
def test_turns_alternate_and_differ_by_the_hysteresis(curve, hysteresis):
    turns = turning_points(curve, hysteresis)
    for a, b in pairwise(turns):
        assert a.is_top != b.is_top
        assert a.index < b.index
        assert abs(a.angle_rad - b.angle_rad) >= hysteresis
        between = curve[a.index : b.index + 1]
        assert between.min() == min(a.angle_rad, b.angle_rad)
        assert between.max() == max(a.angle_rad, b.angle_rad)


@FEW
@given(CURVES, HYSTERESES)
def test_upside_down_tops_are_bottoms(curve, hysteresis):
    turns, turned = turning_points(curve, hysteresis), turning_points(-curve, hysteresis)
    assert [(t.index, t.is_top) for t in turns] == [(t.index, not t.is_top) for t in turned]


@FEW
@given(CURVES, HYSTERESES)
def test_movements_are_ordered_and_large_enough(curve, hysteresis):
    found = find_movements(curve, hysteresis, 2 * hysteresis)
    for m in found:
        assert m.bottom <= m.top <= m.bottom_after
        assert m.earliest <= m.top <= m.latest
        assert m.rise_rad >= 2 * hysteresis
        assert m.bottom >= 0
        assert m.bottom_after < len(curve)
    tops = [m.top for m in found]
    assert tops == sorted(set(tops))


@FEW
@given(st.lists(st.tuples(*[st.floats(0, 12)] * 4), min_size=1, max_size=6))
def test_a_tempo_is_four_whole_numbers(times):
    keys = ("eccentric_s", "pause_s", "concentric_s", "hold_s")
    said = tempo([dict(zip(keys, t, strict=True)) for t in times])
    digits = [int(d) for d in said.split("/")]
    assert len(digits) == 4
    for digit, key in zip(digits, range(4), strict=True):
        middle = sorted(t[key] for t in times)
        assert math.floor(middle[0]) <= digit <= math.ceil(middle[-1]) + 1
