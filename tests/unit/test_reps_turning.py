"""Turning points with hysteresis, and movements made of them."""

import math

import numpy as np
import pytest
from invented_reps import raises

from armarc.reps.movements import (
    clusters,
    find_movements,
    half_rise_rad_s,
    refine,
    rest_between,
    typical_rise,
)
from armarc.reps.turning import Turn, TurningState, finish, step, turning_points


def turns_of(*angles, hysteresis=1.0):
    return [(t.index, t.angle_rad, t.is_top) for t in turning_points(np.array(angles, float), hysteresis)]


def test_a_zigzag_turns_at_its_corners():
    assert turns_of(0, 2, 0, 3, 1) == [
        (0, 0, False),
        (1, 2, True),
        (2, 0, False),
        (3, 3, True),
        (4, 1, False),
    ]


def test_a_reversal_smaller_than_the_hysteresis_is_a_wobble():
    assert turns_of(0, 5, 4.5, 6, 0) == [(0, 0, False), (3, 6, True), (4, 0, False)]


def test_a_reversal_of_exactly_the_hysteresis_turns():
    assert turns_of(0, 5, 4, 6, 0) == [
        (0, 0, False),
        (1, 5, True),
        (2, 4, False),
        (3, 6, True),
        (4, 0, False),
    ]


def test_of_a_plateau_the_first_sample_is_the_turning_point():
    assert turns_of(0, 0, 0, 4, 4, 4, 0, 0) == [(0, 0, False), (3, 4, True), (6, 0, False)]


def test_of_equal_extremes_the_first_counts():
    assert turns_of(0, 4, 3.5, 4, 0) == [(0, 0, False), (1, 4, True), (4, 0, False)]


def test_the_first_turn_may_be_a_top():
    assert turns_of(5, 0, 5) == [(0, 5, True), (1, 0, False), (2, 5, True)]


def test_the_last_extreme_is_where_the_movement_had_come_to():
    assert turns_of(0, 5, 4.5) == [(0, 0, False), (1, 5, True)]


@pytest.mark.parametrize("angles", [(), (3.0,), (1.0, 1.2), (2.0, 2.0, 2.0), (0.0, 0.4, 0.1, 0.5)])
def test_without_a_movement_there_is_no_turn(angles):
    assert turns_of(*angles) == []


def test_a_wobble_before_the_first_movement_moves_its_bottom_to_the_lowest_place():
    assert turns_of(0.3, 0.0, 0.5, 0.2, 3, 0)[0] == (1, 0.0, False)


def test_nothing_is_confirmed_before_the_hysteresis_is_passed():
    state, said = TurningState(), []
    for k, angle in enumerate([0, 1.5, 3.0, 2.5, 1.9, 1.0]):
        state, turn = step(state, k, float(angle), 1.0)
        said.append(turn)
    assert said == [None, Turn(0, 0.0, False), None, None, Turn(2, 3.0, True), None]
    assert finish(state, 1.0) == Turn(5, 1.0, False)


# --- movements


def test_a_raise_is_one_movement_with_its_bottoms():
    curve = raises()
    (m,) = find_movements(curve.angle_rad, math.radians(15), math.radians(30))
    assert math.degrees(m.rise_rad) == pytest.approx(80)
    assert math.degrees(m.fall_rad) == pytest.approx(80)
    assert m.bottom <= 100
    assert 300 <= m.top <= 350
    assert m.bottom_after >= 548
    assert not m.is_open
    assert not m.is_begun


def test_a_movement_below_the_smallest_range_is_none():
    small = raises([35.0])
    assert find_movements(small.angle_rad, math.radians(15), math.radians(30)) == []
    large = raises([41.0])
    assert len(find_movements(large.angle_rad, math.radians(15), math.radians(30))) == 1


def test_a_rep_cut_at_its_end_is_open_and_one_cut_at_its_start_is_begun():
    curve = raises([90.0, 90.0, 90.0])
    first, last = 100 + 150, round(100 * curve.begins_s[2]) + 220
    found = find_movements(curve.angle_rad[first:last], math.radians(15), math.radians(30))
    assert [(m.is_begun, m.is_open) for m in found] == [(True, False), (False, False), (False, True)]


def test_a_small_fall_at_the_end_still_leaves_the_rep_open():
    curve = raises()
    cut = curve.angle_rad[: 350 + 60]  # a few degrees down
    (m,) = find_movements(cut, math.radians(15), math.radians(30))
    assert m.is_open
    assert m.bottom_after == len(cut) - 1


def test_a_steady_arm_holds_no_movement():
    assert find_movements(np.full(500, 0.3), math.radians(15), math.radians(30)) == []


def test_partial_reps_do_not_pull_the_typical_rise_down():
    curve = raises([90, 90, 90, 45, 45])
    found = find_movements(curve.angle_rad, math.radians(15), math.radians(30))
    assert math.degrees(typical_rise(found)) == pytest.approx(80, abs=0.1)


def test_a_second_look_takes_partial_reps_in_and_bounces_out():
    # 26° of range are less than the 30° a movement of its own needs, but more than 0.4 of the others' 60°.
    curve = raises([70, 70, 36, 70], bottom_deg=10)
    angle = curve.angle_rad
    found = find_movements(angle, math.radians(15), math.radians(30))
    assert len(found) == 3
    assert len(refine(angle, found, math.radians(30), curve.rate_hz)) == 4
    t = np.arange(len(angle)) / 100
    bounced = angle - np.radians(16) * np.exp(-(((t - 3.25) / 0.1) ** 2))  # a dip at the first top
    found = find_movements(bounced, math.radians(10), math.radians(10))
    assert len(found) == 5
    assert len(refine(bounced, found, math.radians(30), 100)) == 4


def test_rests_split_clusters():
    curve = raises([90] * 4, pause_s=[1.0, 12.0, 1.0])
    found = find_movements(curve.angle_rad, math.radians(15), math.radians(30))
    assert [len(c) for c in clusters(curve.angle_rad, found, 10.0, 100.0)] == [2, 2]
    assert [len(c) for c in clusters(curve.angle_rad, found, 20.0, 100.0)] == [4]


def test_the_rest_between_reps_is_counted_from_a_quarter_of_the_range():
    curve = raises([90, 90], pause_s=3.0)
    one, other = find_movements(curve.angle_rad, math.radians(15), math.radians(30))
    # Both ways the quarter lies at ramp(τ) = 1/4, τ = 0.3594 (minimum jerk).
    expected = 3.0 + 2 * 2.0 * 0.3594
    assert rest_between(curve.angle_rad, one, other) / 100 == pytest.approx(expected, abs=0.02)


def test_the_pace_of_a_movement_is_that_of_its_middle_half():
    curve = raises(hold_s=3.0)
    (m,) = find_movements(curve.angle_rad, math.radians(15), math.radians(30))
    # ramp(τ) = 1/4 and 3/4 at τ = 0.3594 and 0.6406.
    assert half_rise_rad_s(curve.angle_rad, m, 100) == pytest.approx(
        math.radians(40) / (2 * (0.6406 - 0.3594)), rel=0.04
    )
