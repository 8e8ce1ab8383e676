"""A strap that slips between sets, or in one, is seen; turning the hand and hanging differently are not."""

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from armarc.pipeline import process
from armarc.recording import Recording
from armarc.reps.steadiness import moved_sets
from armarc.simulate import Knobs, plan_session, simulate_session


def looks(degrees, n=5):
    return np.tile([np.sin(np.radians(degrees)), 0.0, -np.cos(np.radians(degrees))], (n, 1))


@pytest.mark.parametrize(("degrees", "slipped"), [(0, False), (12, False), (18, True), (170, True)])
def test_a_set_that_hangs_otherwise(degrees, slipped):
    assert moved_sets([looks(0, 8), looks(degrees)]) == (False, slipped)


def test_within_a_set_and_with_too_few_looks():
    assert moved_sets([np.vstack([looks(0, 4), looks(25, 4)])]) == (True,)
    assert moved_sets([looks(0, 6), looks(90, 1)]) == (False, False)
    assert moved_sets([]) == ()


def test_a_strap_turned_between_two_sets_is_flagged():
    made, _ = simulate_session(plan_session(Knobs(reps=5, sets=2, rest_s=25), 4), 4)
    steady = process(made, exercise="lateral-raise")
    flags = [rep.quality for one in steady.sets for rep in one.reps]
    assert all("unsteady_sensor" not in quality for quality in flags)

    later = made.time_s > steady.sets[0].end_s + 8
    turn = Rotation.from_euler("x", 30, degrees=True)
    force, rate = made.specific_force_m_s2.copy(), made.angular_velocity_rad_s.copy()
    force[later], rate[later] = turn.apply(force[later]), turn.apply(rate[later])
    slipped = process(
        Recording(
            time_s=made.time_s,
            specific_force_m_s2=force,
            angular_velocity_rad_s=rate,
            rate_hz=made.rate_hz,
        ),
        exercise="lateral-raise",
    )
    flags = [{"unsteady_sensor" in rep.quality for rep in one.reps} for one in slipped.sets]
    assert {True} in flags
    assert any("moved on the arm" in warning for warning in slipped.warnings)
