"""Counting by cycles: a movement whose angle turns twice per rep, with answers known by construction."""

import numpy as np
import pytest
from invented_reps import movements_of

from armarc.reps.cycles import by_cycles, find_period, miscounted

RATE_HZ = 50.0
PERIOD_S = 1.6
REPS = 12


def stretch(seconds):
    return np.arange(round(seconds * RATE_HZ)) / RATE_HZ


def row(reps=REPS, small=0.7):
    """A hand that goes up and down once per rep and tilts twice: angle, turning and specific force."""
    time_s = stretch(reps * PERIOD_S)
    turn = 2 * np.pi * time_s / PERIOD_S
    # Two tilts per rep, alternately of height 1 and `small`, in units of 0.2 rad.
    height = np.where(turn % (2 * np.pi) < np.pi, 1.0, small)
    angle = 0.2 * height * np.sin(turn) ** 2
    omega = np.zeros((len(time_s), 3))
    omega[:, 1] = np.gradient(angle, 1 / RATE_HZ)
    force = np.zeros((len(time_s), 3))
    force[:, 2] = 9.81 - 2.0 * np.cos(turn)
    return angle, omega, force


def grouped(angle, smallest=0.1):
    return (tuple(movements_of(angle, smallest)),)


def counted(grouping, angle, omega, force):
    return [len(group) for group in by_cycles(grouping, lambda k: angle, omega, force, RATE_HZ)]


def test_a_period_is_the_shortest_that_repeats_everything():
    _, omega, force = row()
    rest = force - force.mean(axis=0)
    assert find_period(np.hstack([omega, rest]), RATE_HZ) == pytest.approx(PERIOD_S * RATE_HZ, abs=1)


def test_noise_and_rest_have_no_period():
    rng = np.random.default_rng(1)
    assert find_period(rng.normal(size=(1500, 6)), RATE_HZ) is None
    assert find_period(np.zeros((1500, 6)), RATE_HZ) is None
    assert find_period(np.zeros((3, 6)), RATE_HZ) is None


@pytest.mark.parametrize("small", [0.6, 0.8, 0.95])
def test_two_turns_per_cycle_are_one_rep(small):
    angle, omega, force = row(small=small)
    by_turns = grouped(angle)
    assert len(by_turns[0]) == 2 * REPS
    found = by_cycles(by_turns, lambda k: angle, omega, force, RATE_HZ)
    assert [len(group) for group in found] == [REPS]
    # Its top is the higher of the two.
    assert [angle[m.top] for m in found[0]] == pytest.approx([0.2] * REPS, rel=0.02)
    assert all(m.bottom < m.top < m.bottom_after for m in found[0])


def test_one_turn_per_cycle_is_left_as_it_was():
    time_s = stretch(REPS * PERIOD_S)
    angle = 0.5 * (1 - np.cos(2 * np.pi * time_s / PERIOD_S))
    omega, force = np.zeros((2, len(time_s), 3))
    omega[:, 1] = np.gradient(angle, 1 / RATE_HZ)
    force[:, 0], force[:, 2] = 9.81 * np.sin(angle), 9.81 * np.cos(angle)
    before = grouped(angle, 0.5)
    assert by_cycles(before, lambda k: angle, omega, force, RATE_HZ) == before


def test_reps_missed_inside_a_set_are_found_by_its_cycles():
    angle, omega, force = row(small=0.3)
    angle = angle * np.where((stretch(REPS * PERIOD_S) // PERIOD_S) == 5, 0.6, 1.0)
    before = grouped(angle, 0.15)
    assert len(before[0]) == REPS - 1
    assert counted(before, angle, omega, force) == [REPS]


def test_cycles_end_where_the_movement_does():
    angle, omega, force = row()
    rest = np.zeros((round(8 * RATE_HZ), 3))
    rng = np.random.default_rng(2)
    still = rest + np.array([0, 0, 9.81])
    angle = np.concatenate([np.zeros(len(rest)), angle, np.zeros(len(rest))])
    omega = np.concatenate([rest, omega, rest]) + rng.normal(scale=0.002, size=(len(angle), 3))
    force = np.concatenate([still, force, still]) + rng.normal(scale=0.02, size=(len(angle), 3))
    assert counted(grouped(angle), angle, omega, force) == [REPS]


def test_where_each_cycle_of_a_set_is_counted_the_set_does_not_grow():
    # Handling after a set may go on at much the same pace.
    angle, omega, force = row(small=0.0)
    before = grouped(angle)
    assert len(before[0]) == REPS
    shorter = (before[0][: REPS // 2],)
    assert by_cycles(shorter, lambda k: angle, omega, force, RATE_HZ) == shorter


def test_a_pause_within_a_set_is_no_rep():
    angle, omega, force = row(small=0.0)
    half, pause = len(angle) // 2, round(2.4 * PERIOD_S * RATE_HZ)
    angle, omega, force = (np.insert(v, [half] * pause, v[0], axis=0) for v in (angle, omega, force))
    before = grouped(angle)
    assert len(before[0]) == REPS
    assert by_cycles(before, lambda k: angle, omega, force, RATE_HZ) == before


@pytest.mark.parametrize("hold", [1.3, 2.0, 2.6])
@pytest.mark.parametrize("which", [REPS // 2, REPS - 1])
def test_a_rep_held_for_cycles_is_one_rep(hold, which):
    turn = 2 * np.pi * stretch(REPS * PERIOD_S) / PERIOD_S
    top = round((which + 0.5) * PERIOD_S * RATE_HZ)
    turn = np.insert(turn, [top] * round(hold * PERIOD_S * RATE_HZ), turn[top])
    angle = 0.5 * (1 - np.cos(turn))
    omega, force = np.zeros((2, len(angle), 3))
    omega[:, 1] = np.gradient(angle, 1 / RATE_HZ)
    force[:, 0], force[:, 2] = 9.81 * np.sin(angle), 9.81 * np.cos(angle)
    assert counted(grouped(angle, 0.5), angle, omega, force) == [REPS]


def test_a_turn_just_beyond_the_cut_of_its_cycle_is_counted_once():
    assert miscounted([1, 0, 2, 1], [(0, 1, True)] * 4) == 0
    assert miscounted([1, 0, 1, 2], [(0, 1, True)] * 4) == 2
    assert miscounted([1, 0, 1, 2], [(0, 1, False)] * 4) == 0


def test_a_movement_or_two_of_many_cycles_make_no_set():
    # An arm that swings as one walks has cycles as well.
    angle, omega, force = row()
    few = (grouped(angle)[0][:2],)
    assert by_cycles(few, lambda k: angle, omega, force, RATE_HZ) == few
    none = ()
    assert by_cycles(none, lambda k: angle, omega, force, RATE_HZ) == none


def test_what_does_not_repeat_is_counted_by_its_turns():
    rng = np.random.default_rng(3)
    pauses = np.cumsum(rng.uniform(1.0, 9.0, 8))
    time_s = stretch(pauses[-1] + 3)
    angle = sum(0.8 * np.exp(-(((time_s - at) / 0.3) ** 2)) for at in pauses)
    omega, force = rng.normal(scale=0.01, size=(2, len(time_s), 3))
    omega[:, 1] += np.gradient(angle, 1 / RATE_HZ)
    force[:, 2] += 9.81
    before = grouped(angle, 0.4)
    assert by_cycles(before, lambda k: angle, omega, force, RATE_HZ) == before


@pytest.mark.parametrize("size", [20, 40])
def test_a_recording_of_a_moment_does_no_harm(size):
    rng = np.random.default_rng(4)
    angle = np.cumsum(rng.normal(size=size))
    omega, force = rng.normal(size=(2, size, 3))
    found = by_cycles(grouped(angle, 0.5), lambda k: angle, omega, force, RATE_HZ)
    assert all(0 <= m.bottom <= m.top <= m.bottom_after < size for group in found for m in group)
