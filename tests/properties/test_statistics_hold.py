"""What trends and comparisons claim, against simulated sessions whose truth is known. No person was measured."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from armarc.log.relevance import false_discovery, holm, lifters_spread
from invented_sessions import ROM, flat, lifters, misses, rising, stepping


def check(rounds, lengths, shapes, slack):
    rng = np.random.default_rng(13)
    for n in lengths:
        for shape in shapes:
            rates = {rho: misses(rng, rho, n, rounds, shape) for rho in (0.0, 0.3, 0.5)}
            covered = 1 - np.mean([missed for missed, _ in rates.values()])
            assert 0.93 - slack <= covered <= 0.98 + slack, (n, shape.__name__, covered)
            if shape is flat:
                assert rates[0.0][1] <= 0.06 + slack, (n, rates)
                assert rates[0.5][1] <= 0.10 + slack, (n, rates)


def test_a_change_is_rarely_invented():
    check(250, (8, 12), (flat,), 0.025)


@pytest.mark.slow
@pytest.mark.timeout(900)
def test_a_change_is_rarely_invented_at_any_length_and_with_true_changes():
    check(800, (5, 6, 8, 12, 20), (flat, rising, stepping), 0.01)


def test_the_smallest_worthwhile_change_is_the_true_one():
    # 20 lifters of ten sessions, true 0.2 · 4 = 0.80, error of a session as large as the spread of the lifters.
    rng = np.random.default_rng(5)
    found = [lifters_spread(lifters(rng, 20, 10, 4.0, 4.0), ROM).worthwhile for _ in range(300)]
    assert np.mean(found) == pytest.approx(0.80, rel=0.05)
    # The SD of 20 people is itself uncertain by 1/√38 = 16 %: no more single logs can lie within 15 % of the truth.
    assert np.mean(np.abs(np.array(found) / 0.80 - 1) < 0.15) > 0.5


def test_false_discoveries_are_corrected_as_scipy_does():
    p = np.random.default_rng(3).random(36) ** 3
    assert false_discovery(p) == pytest.approx(stats.false_discovery_control(p))
    p[[4, 9]] = np.nan
    known = ~np.isnan(p)
    assert false_discovery(p)[known] == pytest.approx(stats.false_discovery_control(p[known]))
    assert np.isnan(false_discovery(p)[~known]).all()


def test_holm_keeps_chance_out_of_eight_measures():
    rng = np.random.default_rng(2)
    p = rng.random((4000, 8))
    alone = np.mean((p < 0.05).any(axis=1))
    assert alone > 0.3
    assert np.mean([(holm(one) < 0.05).any() for one in p]) == pytest.approx(0.05, abs=0.012)
