"""Rep shapes and the truth's measures against closed forms."""

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import brentq
from scipy.spatial.transform import Rotation

from armarc.errors import UsageError
from armarc.simulate import (
    RepPlan,
    SensorPlan,
    SessionPlan,
    SetPlan,
    SimulationOptions,
    find_pattern,
    plan_session,
    simulate_session,
)
from armarc.simulate.rep_shape import concentric_knots, shortest_concentric_s
from armarc.simulate.tracks import Knot, Track, Wave
from armarc.simulate.truth import spectral_arc_length

QUIET = SensorPlan(noise="ideal", rate_hz=50)
DEG = math.degrees


def one_set(*reps: RepPlan, **session) -> SessionPlan:
    return SessionPlan(sets=(SetPlan(reps=reps),), sway_m=0.0, sensor=QUIET, **session)


def truth_of(*reps: RepPlan, **session):
    return simulate_session(one_set(*reps, **session), 1)[1]


def test_a_move_between_rests_is_the_minimum_jerk_move():
    # Flash & Hogan 1985, J Neurosci 5:1688: x = 10τ³ − 15τ⁴ + 6τ⁵, peak speed 1.875 of the mean.
    track = Track(knots=(Knot(1.0, 2.0), Knot(3.0, 5.0)))
    tau = np.linspace(0, 1, 101)
    value, rate, _ = track.sample(1 + 2 * tau)
    np.testing.assert_allclose(value, 2 + 3 * (10 * tau**3 - 15 * tau**4 + 6 * tau**5), atol=1e-12)
    assert rate.max() == pytest.approx(1.875 * 3 / 2)


def test_peak_velocity_of_a_free_concentric():
    rep = RepPlan(bottom_rad=math.radians(10), top_rad=math.radians(90), concentric_s=2.0, eccentric_s=2.5)
    truth = truth_of(rep)
    rate = truth.series.angle_rate_rad_s
    # Flash & Hogan 1985: 1.875·ROM/T.
    assert DEG(rate.max()) == pytest.approx(1.875 * 80 / 2.0, rel=1e-4)
    assert DEG(-rate.min()) == pytest.approx(1.875 * 80 / 2.5, rel=1e-4)
    measured = truth.reps[0]
    # The 6 Hz low-pass of the definition takes next to nothing from so slow a movement.
    assert DEG(measured.peak_concentric_rad_s) == pytest.approx(75, rel=3e-3)
    assert DEG(measured.peak_concentric_at_rad) == pytest.approx(50, abs=0.5)


def test_the_instants_of_a_minimum_jerk_rep():
    rep = RepPlan(
        bottom_rad=math.radians(10), top_rad=math.radians(90), concentric_s=2.0, eccentric_s=2.0, hold_s=0.5
    )
    measured = truth_of(rep).reps[0]
    # Both phases peak at 75 °/s, so v_on is 5 °/s: solve 30τ²(1−τ)²·ROM/T = 5.
    tau = brentq(lambda x: 30 * x**2 * (1 - x) ** 2 * 80 / 2.0 - 5, 0, 0.5)
    began = 2.0 + 1.0  # still_s and ready_s
    expected = [began + 2 * tau, began + 2 * (1 - tau), began + 2.5 + 2 * tau, began + 2.5 + 2 * (1 - tau)]
    found = [measured.start_s, measured.top_start_s, measured.top_end_s, measured.end_s]
    # The low-pass moves the 5 °/s crossing by up to 3 ms.
    np.testing.assert_allclose(found, expected, atol=4e-3)
    assert measured.hold_s == pytest.approx(0.5 + 4 * tau, abs=8e-3)
    travelled = 80 * (1 - 2 * (10 * tau**3 - 15 * tau**4 + 6 * tau**5))
    assert DEG(measured.mean_concentric_rad_s) == pytest.approx(travelled / (2 * (1 - 2 * tau)), rel=5e-3)


@pytest.mark.parametrize("speed", [15, 30, 57.5, 90, 150])
@pytest.mark.parametrize("concentric_s", [1.0, 1.6, 3.0])
def test_the_gate_speed_is_the_wanted_one(speed, concentric_s):
    wanted = math.radians(speed)
    if concentric_s < shortest_concentric_s(wanted):
        with pytest.raises(UsageError, match="leaves no time"):
            truth_of(RepPlan(start_velocity_rad_s=wanted, concentric_s=concentric_s))
        return
    rep = truth_of(RepPlan(start_velocity_rad_s=wanted, concentric_s=concentric_s)).reps[0]
    assert DEG(rep.start_velocity_rad_s) == pytest.approx(speed, rel=1e-3)
    assert DEG(rep.rom_rad) == pytest.approx(82, abs=1e-6)


def test_gate_speed_of_a_free_concentric():
    rep = truth_of(RepPlan(bottom_rad=0.0, top_rad=math.radians(80), concentric_s=2.0)).reps[0]
    # 10° and 20° of 80° are x = 1/8 and 1/4 of the minimum-jerk move.
    edge = [brentq(lambda x, y=y: 10 * x**3 - 15 * x**4 + 6 * x**5 - y, 0, 1) for y in (1 / 8, 1 / 4)]
    assert DEG(rep.start_velocity_rad_s) == pytest.approx(10 / (2 * (edge[1] - edge[0])), rel=1e-3)


@pytest.mark.parametrize(("swing_cm", "returns"), [(0, "within"), (2, "within"), (5, "within"), (4, "after")])
def test_body_swing_is_the_planned_travel(swing_cm, returns):
    rep = RepPlan(swing_m=swing_cm / 100, swing_returns=returns)
    found = 100 * truth_of(rep).reps[0].body_swing_m
    # The measured concentric starts where the arm exceeds 5 °/s, when the body has just set off.
    assert 0.98 * swing_cm <= found <= swing_cm + 1e-9


def test_sway_alone_shows_as_millimetres():
    plan = replace(one_set(RepPlan()), sway_m=0.003)
    swing = [100 * simulate_session(plan, seed)[1].reps[0].body_swing_m for seed in range(5)]
    assert 0.05 < np.median(swing) < 0.8


def test_time_in_the_loaded_range():
    rep = RepPlan(bottom_rad=0.0, top_rad=math.radians(90), concentric_s=2.0, eccentric_s=3.0)
    inside = [brentq(lambda x, y=y: 10 * x**3 - 15 * x**4 + 6 * x**5 - y, 0, 1) for y in (1 / 3, 2 / 3)]
    assert truth_of(rep).reps[0].loaded_range_s == pytest.approx(5 * (inside[1] - inside[0]), abs=3e-3)


def test_plane_and_hand_rotation_are_those_of_the_plan():
    pattern = replace(find_pattern("scaption-raise"), plane_rad=math.radians(33))
    for side in ("right", "left"):
        rep = truth_of(RepPlan(), pattern=pattern, side=side, hand_rotation_rad=math.radians(20)).reps[0]
        assert DEG(rep.plane_rad) == pytest.approx(33, abs=1e-6)
        assert DEG(rep.hand_rotation_rad) == pytest.approx(20, abs=1e-3)


def test_the_thumb_hangs_forward_unless_turned():
    for side in ("right", "left"):
        for turn in (0.0, 25.0):
            truth = truth_of(RepPlan(bottom_rad=0.0), side=side, hang_turn_rad=math.radians(turn))
            turned = Rotation.from_quat(np.array(truth.series.quaternion[0]), scalar_first=True)
            thumb = turned.apply(truth.thumb_axis)
            # x is forward, y left: inward is to the left of a right arm.
            inward = thumb[1] if side == "right" else -thumb[1]
            assert math.degrees(math.atan2(inward, thumb[0])) == pytest.approx(turn, abs=1e-6)


def test_durations_add_up():
    plan = plan_session(SimulationOptions(reps=5, fatigue=0.2, variation=0.1, sensor=QUIET), 4)
    recording, truth = simulate_session(plan, 4)
    for before, rep, after in zip((None, *truth.reps), truth.reps, (*truth.reps[1:], None), strict=False):
        total = rep.concentric_s + rep.hold_s + rep.eccentric_s
        assert total == pytest.approx(rep.end_s - rep.start_s)
        if after is not None:
            assert rep.pause_s == pytest.approx(after.start_s - rep.end_s)
        if before is not None:
            assert before.end_s < rep.start_s
    planned = sum(r.concentric_s + r.hold_s + r.eccentric_s + r.pause_s for r in plan.sets[0].reps[:-1])
    last = plan.sets[0].reps[-1]
    planned += last.concentric_s + last.hold_s + last.eccentric_s
    # still 2 s, ready 1 s, at rest after the last rep 0.8 s, at the end 0.8 s
    assert recording.duration_s == pytest.approx(planned + 4.6, abs=0.03)


def test_fatigue_partial_last_and_cheat_show_in_the_truth():
    options = SimulationOptions(
        reps=6, fatigue=0.3, variation=0.0, partial_last=True, cheat_rep=3, sway_m=0, sensor=QUIET
    )
    reps = simulate_session(plan_session(options, 1), 1)[1].reps
    assert reps[4].start_velocity_rad_s < 0.8 * reps[0].start_velocity_rad_s
    assert reps[4].rom_rad < reps[0].rom_rad
    assert [rep.quality for rep in reps] == [(), (), ("swung",), (), (), ("partial",)]
    assert reps[2].body_swing_m > 0.04 > 0.005 > reps[1].body_swing_m
    assert DEG(reps[2].start_velocity_rad_s) > 100


def test_a_sticking_point_slows_but_never_turns_back():
    knots = concentric_knots(RepPlan(start_velocity_rad_s=1.2, concentric_s=3, grind=0.9), 0.0)
    t = np.linspace(0, 3, 3001)
    _, rate, _ = Track(knots=tuple(knots)).sample(t)
    middle = rate[(t > 0.8) & (t < 2.5)]
    assert 0 < middle.min() < 0.15 * rate.max()
    assert rate.min() > -1e-9


def test_several_reps_without_a_pause_keep_their_borders():
    rep = RepPlan(pause_s=0.0)
    reps = truth_of(rep, rep, rep).reps
    assert len(reps) == 3
    for rep in reps[:-1]:
        # At rest for an instant only: what is left is below the 5 °/s threshold.
        assert 0 < rep.pause_s < 0.35


def test_smoothness_of_a_minimum_jerk_speed():
    # Own calculation from the definition of Balasubramanian et al. 2015, J NeuroEng Rehabil 12:112: −1.4058 at
    # 50 to 200 Hz; also for a Gaussian exp(−5t²) at 100 Hz: −1.41403 (printed by the authors' open code).
    tau = np.linspace(0, 1, 201)
    assert spectral_arc_length(30 * tau**2 * (1 - tau) ** 2, 100) == pytest.approx(-1.4058, abs=0.005)
    t = np.arange(-1, 1, 0.01)
    assert spectral_arc_length(np.exp(-5 * t**2), 100) == pytest.approx(-1.41403, abs=2e-4)


@pytest.mark.parametrize("ramp_s", [0.0, 0.3])
def test_waves_have_the_derivatives_they_claim(ramp_s):
    span = {"start_s": 0.2, "end_s": 1.4, "ramp_s": ramp_s} if ramp_s else {}
    track = Track(
        knots=(Knot(0, 0), Knot(1.6, 1)),
        waves=(Wave(amplitude=0.3, frequency_hz=2.0, phase_rad=0.4, **span),),
    )
    t = np.arange(0, 1.6, 1e-4)
    value, rate, acceleration = track.sample(t)
    np.testing.assert_allclose(np.gradient(value, t)[2:-2], rate[2:-2], atol=1e-4)
    np.testing.assert_allclose(np.gradient(rate, t)[2:-2], acceleration[2:-2], atol=2e-2)


@pytest.mark.parametrize(
    "change",
    [
        {"concentric_s": 0.0},
        {"eccentric_s": math.nan},
        {"hold_s": -1},
        {"top_rad": 0.1},
        {"swing_m": 1.0},
        {"swing_returns": "never"},
        {"grind": 1.0},
        {"tremor_rad": 1.0},
        {"dip_m": -0.1},
        {"end_rad": 1.6},
    ],
)
def test_impossible_reps_are_refused_with_a_hint(change):
    with pytest.raises(UsageError) as caught:
        RepPlan(**change)
    assert caught.value.hint


def test_reps_must_join():
    with pytest.raises(UsageError, match="start where"):
        SetPlan(reps=(RepPlan(end_rad=0.2), RepPlan(bottom_rad=0.1)))


def test_an_elevation_beyond_overhead_is_refused():
    with pytest.raises(UsageError, match="leave the range"):
        one_set(RepPlan(top_rad=math.radians(178)))
