"""Turning points with hysteresis, and movements made of them."""

import numpy as np
import pytest

from armarc.reps.turning import Turn, TurningState, finish, step
from turns import turning_points


def turns_of(*angles, hysteresis=1.0):
    return [(t.at, t.angle_rad, t.is_top) for t in turning_points(np.array(angles, float), hysteresis)]


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
