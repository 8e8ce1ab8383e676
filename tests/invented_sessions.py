"""Invented sessions of known truth, for what statistics of a log claim. No person was measured."""

from __future__ import annotations

from datetime import date

import numpy as np
from scipy.signal import lfilter

from armarc.log.measures import find_measure
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
        day=np.array([date.fromisoformat(key.day).toordinal() for key in keys]),
        lifter=np.array([key.id // sessions for key in keys]),
        numbers={ROM.key: values},
    )
