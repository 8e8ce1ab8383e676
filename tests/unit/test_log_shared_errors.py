"""Errors that all reps of a set share, in the difference of two groups of sets."""

import math

import numpy as np
import pytest

from armarc.log.effects import independent_effect, paired_effect
from armarc.log.shared_errors import RepsOfSet, measuring_se
from grids import crossed


def one(recording, error):
    return RepsOfSet(recording=recording, reps=[{"rom_deg": 80.0, "rom_deg_se": error}] * 3)


def room(first, second, key="rom_deg"):
    """Of sets that count one by one."""
    return measuring_se([[one] for one in first], [[one] for one in second], key)


def test_sets_of_one_recording_share_their_error_as_far_as_it_is_equally_large():
    assert room([one(1, 3.0)], [one(1, 3.0)]) == 0.0
    assert room([one(1, 3.0)], [one(1, 5.0)]) == pytest.approx(4.0)


def test_errors_of_two_recordings_add_as_squares():
    assert room([one(1, 3.0)], [one(2, 4.0)]) == pytest.approx(5.0)
    assert room([one(1, 3.0)] * 3, [one(2, 4.0)] * 5) == pytest.approx(5.0)


def test_what_the_scatter_of_recordings_shows_is_not_counted_twice():
    groups = [[one(first + k, 3.0) for k in range(6)] for first in (0, 10)]
    assert room(*groups) == pytest.approx(0.0, abs=1e-6)
    paired = [[one(k, 3.0) for k in range(6)]] * 2
    assert room(*paired) == 0.0


def test_a_measure_without_an_error_adds_none():
    assert room([one(1, 3.0)], [one(2, 4.0)], "smoothness_sparc") == 0.0


def test_reps_without_an_error_of_their_own_are_left_out():
    reps = [{"rom_deg_se": None}, {"rom_deg_se": 2.0}, {}]
    assert RepsOfSet(recording=1, reps=reps).error_of("rom_deg") == 2.0


def test_sessions_count_the_recordings_they_hold():
    """Against draws: what the means of sessions of several recordings show of their errors, and what they do not."""
    first = [[one(1, 3.0), one(1, 3.0)], [one(2, 3.0), one(3, 3.0)]]
    second = [[one(4, 2.0)], [one(4, 2.0), one(5, 2.0)], [one(6, 2.0)]]
    rng = np.random.default_rng(11)
    off = rng.normal(0.0, 1.0, (40000, 7)) * np.array([0, 3, 3, 3, 2, 2, 2])
    means = [
        np.stack([off[:, [entry.recording for entry in sets]].mean(axis=1) for sets in group], axis=1)
        for group in (first, second)
    ]
    whole = np.var(means[1].mean(axis=1) - means[0].mean(axis=1))
    seen = sum(np.mean(group.var(axis=1, ddof=1)) / group.shape[1] for group in means)
    assert measuring_se(first, second, "rom_deg") ** 2 == pytest.approx(max(whole - seen, 0.0), abs=0.1)


def two_sets(rng, error, same_recording):
    """Eight reps each, 1 of scatter about a true difference of 2; one error for all reps of a recording."""
    off = rng.normal(0.0, error, 2)
    off[1] = off[0] if same_recording else off[1]
    return rng.normal(50.0, 1.0, 8) + off[0], rng.normal(52.0, 1.0, 8) + off[1]


@pytest.mark.parametrize(
    ("same_recording", "effect"), crossed([True, False], [paired_effect, independent_effect], fold=2)
)
def test_the_interval_holds_the_true_difference_in_nineteen_of_twenty(effect, same_recording):
    rng = np.random.default_rng(7)
    held, held_by_scatter = 0, 0
    for _ in range(400):
        first, second = two_sets(rng, 1.5, same_recording)
        shared = room([one(1, 1.5)], [one(1 if same_recording else 2, 1.5)])
        whole, bare = effect(first, second, shared), effect(first, second)
        held += whole.low <= 2.0 <= whole.high
        held_by_scatter += bare.low <= 2.0 <= bare.high
    assert 0.93 < held / 400 < 0.98
    if not same_recording:
        assert held_by_scatter / 400 < 0.5


def test_size_and_p_have_the_same_room_as_the_interval():
    rng = np.random.default_rng(2)
    first, second = two_sets(rng, 0.0, same_recording=True)
    bare, whole = paired_effect(first, second), paired_effect(first, second, 2.0)
    assert whole.size == pytest.approx(bare.size)
    assert whole.size_low < bare.size_low < bare.size_high < whole.size_high
    assert bare.p < 0.01 < 0.2 < whole.p
    assert math.isclose(whole.measuring_se, 2.0)
    assert paired_effect(first, second, 0.0) == bare


def test_reps_that_do_not_scatter_still_have_the_error_of_measuring():
    same = [50.0, 51.0, 52.0]
    found = independent_effect(same, [x + 1 for x in same], 0.5)
    steady = independent_effect([50.0] * 3, [51.0] * 3, 0.5)
    assert found.low < steady.low == pytest.approx(1 - 1.96 * 0.5, abs=0.01)
    assert steady.p == pytest.approx(0.0456, abs=0.002)  # the normal distribution at two standard errors
