"""Body swing of simulated bodies: a girdle that rises with the arm, with and without a swing begun with the arm."""

from dataclasses import replace

import numpy as np
import pytest

from armarc.api import process
from armarc.simulate import draw_options, plan_session, simulate_session
from grids import crossed

SETS = range(300, 304)


def swings(name, swing_m):
    """Measured and true swing of every rep, with the standard error, m; None where there is no number."""
    out = []
    for seed in SETS:
        options = replace(draw_options(name, seed), swing_m=swing_m)
        recording, truth = simulate_session(plan_session(options, seed), seed)
        for rep in (rep for one in process(recording).sets for rep in one.reps):
            true = min(truth.reps, key=lambda r: abs(r.start_s - rep.phases.start_s))
            out.append((rep.body_swing_m, rep.body_swing_se_m, rep.body_swing_reason, true.body_swing_m))
    return out


@pytest.mark.parametrize(
    ("swing_m", "name"), crossed([0.023, 0.058, 0.117], ["rigid", "rising-girdle"], fold=2)
)
def test_a_swing_begun_with_the_arm_reads_what_it_is(name, swing_m):
    found = swings(name, swing_m)
    told = [each for each in found if each[2] is None]
    assert len(told) > 0.9 * len(found)
    off = np.array([abs(got - true) for got, _, _, true in told])
    within = np.array([max(0.2 * true, 2 * se) for _, se, _, true in told])
    assert np.mean(off <= within) > 0.97
    ratio = off / np.array([se for _, se, _, _ in told])
    assert np.mean(ratio < 1) > 0.6
    assert np.mean(ratio < 2) > 0.88


def test_a_strict_body_with_a_rising_girdle_swings_by_less_than_a_centimetre_or_cannot_be_told():
    found = swings("rising-girdle", 0.0)
    assert np.mean([reason is not None or got < 0.01 for got, _, reason, _ in found]) > 0.97
