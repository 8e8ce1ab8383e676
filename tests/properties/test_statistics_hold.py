"""What trends and comparisons claim, against simulated sessions whose truth is known. No person was measured."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.signal import lfilter

from armarc.log.measures import find_measure
from armarc.log.relevance import holm, lifters_spread
from armarc.log.table import SessionKey, SetTable, TaskKey
from armarc.log.trend import change_between_ends

ROM = find_measure("rom_deg")
BURN_IN = 40


def correlated(rng, rho, n, rounds):
    """Sessions with first-order autocorrelation `rho` and variance 1, shape (rounds, n)."""
    driven = rng.standard_normal((rounds, n + BURN_IN)) * np.sqrt(1 - rho**2)
    return lfilter([1.0], [1.0, -rho], driven, axis=1)[:, BURN_IN:]


def misses(rng, rho, n, rounds, change):
    """Share of 95 % intervals that miss the true change of the end means, and of changes called real."""
    course = change(n)
    m = min(3, n // 2)
    true = course[-m:].mean() - course[:m].mean()
    found = [change_between_ends(80 + course + noise) for noise in correlated(rng, rho, n, rounds)]
    missed = np.mean([not one.low <= true <= one.high for one in found])
    return float(missed), float(np.mean([one.is_real for one in found]))


def flat(n):
    return np.zeros(n)


def rising(n):
    return 0.4 * np.arange(n)


def stepping(n):
    return np.where(np.arange(n) < n / 2, 0.0, 4.0)


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


def lifters(rng, people, sessions, between, error):
    """Invented lifters whose means spread by `between` and whose sessions by `error`."""
    keys = sorted(SessionKey(f"2026-01-{1 + j:02d}", i * sessions + j, f"lifter {i:02d}", "") for i in range(people)
                  for j in range(sessions))  # fmt: skip
    means = rng.normal(80, between, people)
    values = np.array([means[key.id // sessions] for key in keys]) + rng.normal(0, error, len(keys))
    return SetTable(
        set_id=np.arange(1, len(keys) + 1),
        done_s=np.arange(len(keys), dtype=float),
        session=np.arange(len(keys)),
        sessions=tuple(keys),
        task=np.zeros(len(keys), np.int64),
        tasks=(TaskKey("lateral-raise", "", "right", 8.0),),
        numbers={ROM.key: values},
    )


def test_the_smallest_worthwhile_change_is_the_true_one():
    # 20 lifters of ten sessions, true 0.2 · 4 = 0.80, error of a session as large as the spread of the lifters.
    rng = np.random.default_rng(5)
    found = [lifters_spread(lifters(rng, 20, 10, 4.0, 4.0), ROM).worthwhile for _ in range(300)]
    assert np.mean(found) == pytest.approx(0.80, rel=0.05)
    # The SD of 20 people is itself uncertain by 1/√38 = 16 %: so many single logs lie within that.
    assert np.mean(np.abs(np.array(found) / 0.80 - 1) < 0.17) > 0.6


def test_holm_keeps_chance_out_of_eight_measures():
    rng = np.random.default_rng(2)
    p = rng.random((4000, 8))
    alone = np.mean((p < 0.05).any(axis=1))
    assert alone > 0.3
    assert np.mean([(holm(one) < 0.05).any() for one in p]) == pytest.approx(0.05, abs=0.012)
