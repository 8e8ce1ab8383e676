"""A strap that slips between sets, or in one, is seen; turning the hand and hanging differently are not."""

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from armarc.api import process
from armarc.recording import Recording
from armarc.reps.steadiness import strap_steps
from armarc.simulate import SimulationOptions, plan_session, simulate_session


def looks(degrees, n=5):
    return np.tile([np.sin(np.radians(degrees)), 0.0, -np.cos(np.radians(degrees))], (n, 1))


@pytest.mark.parametrize(("degrees", "slipped"), [(0, False), (12, False), (18, True), (170, True)])
def test_a_set_that_hangs_otherwise(degrees, slipped):
    steady, other = strap_steps([looks(0, 8), looks(degrees)])
    assert steady == 0.0
    assert np.degrees(other) == pytest.approx(degrees if slipped else 0.0)


def scattered(degrees, seed, scatter_deg=1.5):
    """Bottoms that hang at the given angles and scatter about them."""
    rng = np.random.default_rng(seed)
    turns = Rotation.from_rotvec(
        np.radians(scatter_deg) / np.sqrt(2) * rng.standard_normal((len(degrees), 3))
    )
    return turns.apply(np.vstack([looks(d, 1) for d in degrees]))


def test_a_slip_of_five_degrees_inside_a_set_is_seen():
    found = [strap_steps([scattered([0] * 5 + [5] * 6, seed)])[0] for seed in range(100)]
    assert np.mean(np.array(found) > 0) > 0.85
    assert np.degrees(np.median(found)) == pytest.approx(5, abs=0.7)


def test_scatter_and_a_slow_change_are_no_slip():
    steady = [strap_steps([scattered([0] * 11, seed)])[0] > 0 for seed in range(200)]
    assert np.mean(steady) < 0.01
    tired = [strap_steps([scattered(np.linspace(0, 7, 11), seed)])[0] > 0 for seed in range(200)]
    assert np.mean(tired) < 0.1


def test_with_too_few_looks_nothing_is_said():
    assert strap_steps([looks(0, 6), looks(90, 1)]) == (0.0, 0.0)
    assert strap_steps([np.empty((0, 3))]) == (0.0,)
    assert strap_steps([]) == ()


def test_a_strap_turned_between_two_sets_is_said_and_moves_no_set():
    made, _ = simulate_session(plan_session(SimulationOptions(reps=5, sets=2, rest_s=25), 4), 4)
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
    assert any("lay otherwise on the arm" in warning for warning in slipped.warnings)
    for one, same in zip(slipped.sets, steady.sets, strict=True):
        assert len(one.reps) == len(same.reps)
        for rep, before in zip(one.reps, same.reps, strict=True):
            # Each part's arm has an error of its own.
            assert abs(rep.top_rad - before.top_rad) < np.hypot(rep.top_se_rad, before.top_se_rad)
            assert abs(rep.rom_rad - before.rom_rad) < np.hypot(rep.rom_se_rad, before.rom_se_rad)
