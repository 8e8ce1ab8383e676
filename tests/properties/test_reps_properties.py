"""Laws of the rep detection."""

import math
from itertools import pairwise
from types import SimpleNamespace

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from armarc.reps.candidates import find_candidates
from armarc.reps.path import sensor_path
from armarc.reps.phases import find_instants
from armarc.reps.summary import tempo
from armarc.reps.turning import TurningState, finish, step
from turns import turning_points

HZ = 100.0
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


def path_of(curve):
    """A sensor that tilts as the curve says, at the rate at which the counting looks."""
    half = np.append(curve, np.zeros(max(2 - len(curve), 0))) / 2
    quaternion = np.stack([np.cos(half), 0 * half, np.sin(half), 0 * half], axis=1)
    return sensor_path(quaternion, np.zeros((len(half), 3)), 30.0)


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
        assert a.at < b.at
        assert abs(a.angle_rad - b.angle_rad) >= hysteresis
        between = curve[a.at : b.at + 1]
        assert between.min() == min(a.angle_rad, b.angle_rad)
        assert between.max() == max(a.angle_rad, b.angle_rad)


@FEW
@given(CURVES, HYSTERESES)
def test_upside_down_tops_are_bottoms(curve, hysteresis):
    turns, turned = turning_points(curve, hysteresis), turning_points(-curve, hysteresis)
    assert [(t.at, t.is_top) for t in turns] == [(t.at, not t.is_top) for t in turned]


@FEW
@given(CURVES, HYSTERESES)
def test_candidates_are_ordered_and_inside_the_recording(curve, hysteresis):
    found = find_candidates(path_of(curve), curve, 0, hysteresis, is_start=True, is_end=True)
    if found is None:
        return
    assert (found.bottom <= found.top).all()
    assert (found.top <= found.bottom_after).all()
    assert (np.diff(found.top) > 0).all()
    assert found.bottom[0] >= 0
    assert found.bottom_after[-1] < len(curve)
    assert not (found.is_begun & found.is_open).any()
    assert np.isfinite(found.speed_rad_s).all()
    assert (found.range_rad > 0).all()


@FEW
@given(CURVES, HYSTERESES)
def test_only_the_ends_of_the_recording_cut_a_movement(curve, hysteresis):
    found = find_candidates(path_of(curve), curve, 0, hysteresis, is_start=False, is_end=False)
    assert found is None or not found.is_cut.any()


@FEW
@given(
    st.integers(1, 6),
    st.floats(0, 30),
    st.floats(0, 4),
    st.floats(0.5, 9),
    st.floats(0, 1.5),
    st.integers(0, 2**32 - 1),
)
def test_the_instants_of_a_rep_follow_each_other(reps, pulse_deg, pulses, wobble_hz, wobble_deg, seed):
    """Raises with pulses at the top, double tops and a wobbling strap, bounded wherever they turn."""
    rng = np.random.default_rng(seed)
    t = np.arange(round(HZ * (3.2 * reps + 1))) / HZ
    inside = np.clip((t - 0.5) / 3.2, 0, reps)
    angle = 10 + 40 * (1 - np.cos(2 * np.pi * inside)) * rng.uniform(0.6, 1.0)
    high = np.clip(np.sin(np.pi * (inside % 1)), 0, 1) ** 6
    angle += pulse_deg * high * np.sin(2 * np.pi * pulses * (inside % 1))
    angle += wobble_deg * np.sin(2 * np.pi * wobble_hz * t + rng.uniform(0, 6))
    angle, rate = np.radians(angle), np.gradient(np.radians(angle), 1 / HZ)
    tops = [turn.at for turn in turning_points(angle, math.radians(8)) if turn.is_top]
    for before, top, after in zip([0, *tops], tops, [*tops[1:], len(angle) - 1], strict=False):
        at = find_instants(angle, rate, before, top, after + 1, HZ)
        if at is not None:
            assert before <= at.start <= at.top_start <= at.top_end <= at.end <= after + 1


@FEW
@given(st.lists(st.tuples(*[st.floats(0, 12)] * 4), min_size=1, max_size=6))
def test_a_tempo_is_four_whole_numbers(times):
    keys = ("eccentric_s", "pause_s", "concentric_s", "hold_s")
    said = tempo([SimpleNamespace(**dict(zip(keys, t, strict=True))) for t in times])
    digits = [int(d) for d in said.split("/")]
    assert len(digits) == 4
    for digit, key in zip(digits, range(4), strict=True):
        middle = sorted(t[key] for t in times)
        assert math.floor(middle[0]) <= digit <= math.ceil(middle[-1]) + 1
