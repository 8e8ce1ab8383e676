"""The measures and flags of reps in closed form."""

import math
from dataclasses import replace

import numpy as np
import pytest
from invented_motion import motion_of
from invented_reps import Curve, movements_of, raises, ramp
from scipy.optimize import brentq

from armarc.exercises import Band, Exercise
from armarc.reps.measure import bound_reps, finish_set, measure_rep
from armarc.reps.uncertainty import angle_errors

EXERCISE = Exercise(
    key="test",
    name="Test",
    band=Band(math.radians(40), math.radians(70)),
    loaded_range_rad=(math.radians(30), math.radians(60)),
)
DEG = math.degrees


def level_of(share):
    return brentq(lambda tau: ramp(np.array(tau)) - share, 0, 1)


def measured(motion, exercise=EXERCISE):
    movements = movements_of(motion.angle_rad, math.radians(12))
    errors = angle_errors(motion)
    raw = bound_reps(motion, tuple(movements))
    return finish_set(
        [measure_rep(motion, r, exercise, errors, None, k) for k, r in enumerate(raw, 1)], motion
    )


def reps_of(curve, exercise=EXERCISE, **changes):
    return measured(motion_of(curve, **changes), exercise)


def test_the_measures_of_a_minimum_jerk_rep():
    (rep,) = reps_of(raises(up_s=2.0, hold_s=0.5, down_s=3.0))
    on = brentq(lambda x: 30 * x**2 * (1 - x) ** 2 * 80 / 2.0 - 5, 0, 0.5)
    off = brentq(lambda x: 30 * x**2 * (1 - x) ** 2 * 80 / 3.0 - 5, 0, 0.5)
    assert (DEG(rep.bottom_rad), DEG(rep.top_rad), DEG(rep.rom_rad)) == pytest.approx((10, 90, 80))
    assert rep.concentric_s == pytest.approx(2 * (1 - 2 * on), abs=2e-3)
    assert rep.hold_s == pytest.approx(0.5 + 2 * on + 3 * off, abs=2e-3)
    assert rep.eccentric_s == pytest.approx(3 * (1 - 2 * off), abs=2e-3)
    assert rep.time_under_tension_s == pytest.approx(rep.concentric_s + rep.hold_s + rep.eccentric_s)
    # Flash & Hogan 1985: the peak is 15/8 of the mean, half way.
    assert DEG(rep.peak_concentric_rad_s) == pytest.approx(1.875 * 80 / 2, rel=1e-3)
    assert DEG(rep.peak_eccentric_rad_s) == pytest.approx(1.875 * 80 / 3, rel=1e-3)
    assert DEG(rep.peak_concentric_at_rad) == pytest.approx(50, abs=0.5)
    assert rep.drive_angle_rad == rep.peak_concentric_at_rad  # by definition
    travelled = 80 * (1 - 2 * ramp(np.array(on)))
    assert DEG(rep.mean_concentric_rad_s) == pytest.approx(travelled / (2 * (1 - 2 * on)), rel=1e-3)
    gate = [level_of(1 / 8), level_of(2 / 8)]
    assert DEG(rep.start_velocity_rad_s) == pytest.approx(10 / (2 * (gate[1] - gate[0])), rel=1e-3)
    assert rep.gate_s == pytest.approx(1 + 2 * gate[1], abs=1e-3)
    assert rep.smoothness_sparc == pytest.approx(-1.41, abs=0.03)
    assert rep.quality == ()


def test_a_gate_from_the_vertical_does_not_move_with_the_bottom():
    low = reps_of(raises((90.0,), bottom_deg=5.0))[0]
    exercise = replace(EXERCISE, gate_from="vertical", gate_rad=(math.radians(20), math.radians(30)))
    for bottom in (5.0, 12.0):
        (rep,) = reps_of(raises((90.0,), bottom_deg=bottom), exercise)
        share = [level_of((edge - bottom) / (90 - bottom)) for edge in (20, 30)]
        assert DEG(rep.start_velocity_rad_s) == pytest.approx(10 / (2.0 * (share[1] - share[0])), rel=2e-3)
        assert rep.start_ratio == pytest.approx(1, abs=0.01)
    assert low.start_ratio == pytest.approx(1, abs=0.01)
    (rep,) = reps_of(raises((90.0,), bottom_deg=25.0), exercise)
    assert rep.start_velocity_rad_s is None
    assert "no_gate" in rep.quality


@pytest.mark.parametrize("up_s", [0.6, 1.0, 2.0, 4.0, 6.0])
def test_a_smooth_raise_is_as_smooth_at_every_tempo(up_s):
    # Balasubramanian et al. 2015: a minimum-jerk speed profile gives -1.41 whatever its duration.
    reps = reps_of(raises((85.0,) * 2, up_s=up_s, hold_s=0.5, down_s=2.0, pause_s=0.8))
    assert [rep.smoothness_sparc for rep in reps] == pytest.approx([-1.41] * 2, abs=0.03)


def test_time_in_the_loaded_range_counts_both_ways_and_a_hold_inside():
    inside = level_of(5 / 8) - level_of(2 / 8)
    (rep,) = reps_of(raises(up_s=2.0, hold_s=0.5, down_s=3.0))
    assert rep.loaded_range_s == pytest.approx(5 * inside, abs=2e-3)
    (low,) = reps_of(raises([50.0], up_s=2.0, hold_s=0.7, down_s=3.0))
    assert low.loaded_range_s == pytest.approx(5 * (1 - level_of(1 / 2)) + 0.7, abs=2e-3)
    (none,) = reps_of(raises(), replace(EXERCISE, loaded_range_rad=None))
    assert none.loaded_range_s is None


@pytest.mark.parametrize(("up_s", "verdict"), [(4.0, "below"), (2.0, "inside"), (0.6, "above")])
def test_the_verdict_is_the_bands(up_s, verdict):
    (rep,) = reps_of(raises(up_s=up_s))
    assert rep.start_verdict == verdict
    (unjudged,) = reps_of(raises(up_s=up_s), replace(EXERCISE, band=None))
    assert unjudged.start_verdict is None


def test_numbers_and_pauses_run_through_the_set():
    reps = reps_of(raises([90, 88, 86], pause_s=[1.0, 2.5]))
    assert [r.rep for r in reps] == [1, 2, 3]
    assert reps[1].pause_s - reps[0].pause_s == pytest.approx(1.5, abs=0.01)
    assert reps[2].pause_s is None


# --- flags


def flags(reps):
    return [r.quality for r in reps]


def test_a_start_within_its_standard_error_of_an_edge_of_the_band_is_said_to_be():
    (rep,) = reps_of(raises(up_s=1.5))
    speed, se = rep.start_velocity_rad_s, rep.start_velocity_se_rad_s

    def found(low, high):
        (rep,) = reps_of(raises(up_s=1.5), replace(EXERCISE, band=Band(low, high)))
        return rep.start_verdict, rep.quality

    assert found(speed - 0.9 * se, speed + 1) == ("inside", ("near_edge",))
    assert found(speed + 0.9 * se, speed + 1) == ("below", ("near_edge",))
    assert found(speed / 2, speed - 0.9 * se) == ("above", ("near_edge",))
    assert found(speed - 1.1 * se, speed + 1.1 * se) == ("inside", ())


def test_a_rep_below_seven_tenths_of_the_median_is_partial():
    assert flags(reps_of(raises([90, 90, 90, 67, 65]))) == [(), (), (), (), ("partial",)]


def test_a_rep_that_ends_below_the_gate_has_no_start_velocity():
    reps = reps_of(raises([90, 90, 90, 29]))
    assert flags(reps)[3] == ("no_gate", "partial")
    assert reps[3].start_velocity_rad_s is None
    assert reps[3].start_velocity_se_rad_s is None
    assert reps[3].start_verdict is None
    assert reps[3].gate_s is None


def test_filled_and_clipped_samples_flag_the_reps_they_touch():
    curve = raises([90, 90, 90])
    missing, clipped = np.zeros(len(curve.angle_rad), bool), np.zeros(len(curve.angle_rad), bool)
    missing[250:256] = True
    clipped[round(100 * curve.begins_s[2]) + 100] = True
    assert flags(reps_of(curve, missing=missing, clipped=clipped)) == [("gap",), (), ("clipped",)]


def test_cut_reps_say_which_end_is_missing():
    curve = raises([90, 90, 90])
    first, last = 100 + 120, round(100 * curve.begins_s[2]) + 300
    cut = Curve(100.0, curve.angle_rad[first:last], curve.rate_rad_s[first:last], curve.begins_s)
    reps = reps_of(cut)
    assert flags(reps) == [("no_gate", "open_start"), (), ("open_end",)]
    # The way up of the first was seen in part, and of the last the whole.
    assert reps[0].rom_rad is reps[0].bottom_rad is reps[0].concentric_s is None
    assert DEG(reps[0].top_rad) == pytest.approx(DEG(reps[1].top_rad), abs=0.1)
    assert DEG(reps[2].rom_rad) == pytest.approx(80, abs=0.1)
    assert reps[2].eccentric_s is None
    assert reps[0].phases.start_s == 0.0
    assert reps[2].phases.end_s == pytest.approx((last - first - 1) / 100)


def test_few_samples_in_the_gate_are_coarse():
    assert flags(reps_of(raises(up_s=1.0, rate_hz=25.0))) == [("coarse",)]
    assert flags(reps_of(raises(up_s=1.0, rate_hz=100.0))) == [()]


def test_a_stop_on_the_way_up_is_a_stall():
    t = np.arange(900) / 100
    up = 0.5 * (ramp((t - 1) / 1.2) + ramp((t - 2.6) / 1.2))
    angle = np.radians(10 + 80 * (up - ramp((t - 4.5) / 2)))
    rate = np.gradient(angle, 0.01)
    assert flags(reps_of(Curve(100.0, angle, rate, (1.0,)))) == [("stall",)]


def test_a_rebound_out_of_the_bottom_is_a_bounce_and_a_touch_and_go_is_none():
    t = np.arange(1000) / 100
    # Dropped into the bottom at full speed and thrown up again: |sin| has a corner there.
    angle = np.radians(10 + 80 * np.abs(np.sin(np.pi * np.clip(t - 1, 0, 8) / 2)))
    rate = np.gradient(angle, 0.01)
    bounced = flags(reps_of(Curve(100.0, angle, rate, ())))
    assert all("bounce" in f for f in bounced[:-1])
    touched = flags(reps_of(raises([90, 90, 90], pause_s=0.0)))
    assert touched == [(), (), ()]


def test_a_set_without_pauses_is_no_bounce():
    t = np.arange(1400) / 100
    angle = np.radians(50 - 40 * np.cos(2 * np.pi * np.clip(t - 1, 0, 12) / 4))
    assert flags(reps_of(Curve(100.0, angle, np.gradient(angle, 0.01), ())))[0] == ()


@pytest.mark.parametrize("rest_s", [0.3, 2.0])
def test_a_press_begins_where_its_other_reps_do_and_not_where_the_weight_came_from(rest_s):
    press = raises((150.0,) * 4, bottom_deg=60, pause_s=0.4, still_s=rest_s, after_s=rest_s)
    lift = np.linspace(0, 1, 101)
    angle = np.radians(10 + 50 * ramp(lift))
    rate = np.radians(50 * 30 * lift**2 * (1 - lift) ** 2)
    curve = Curve(
        press.rate_hz,
        np.concatenate([angle, press.angle_rad, angle[::-1]]),
        np.concatenate([rate, press.rate_rad_s, -rate[::-1]]),
        (),
    )
    reps = reps_of(curve)
    assert len(reps) == 4
    for rep in reps:
        assert DEG(rep.bottom_rad) == pytest.approx(60, abs=0.5)
        assert DEG(rep.rom_rad) == pytest.approx(90, abs=0.5)
        assert rep.concentric_s == pytest.approx(reps[1].concentric_s, abs=0.02)
        assert rep.eccentric_s == pytest.approx(reps[1].eccentric_s, abs=0.02)


def test_a_first_rep_from_somewhat_lower_keeps_its_own_bottom():
    curve = raises((90.0,) * 4, bottom_deg=20)
    low = np.radians(-8 * (1 - ramp(np.linspace(0, 1, 90))))
    angle, rate = curve.angle_rad.copy(), curve.rate_rad_s.copy()
    angle[110:200] += low  # a dip just before the first rise is well on its way
    rate[110:200] += np.gradient(low) * curve.rate_hz
    angle[:110] -= np.radians(8)
    first, *others = reps_of(Curve(curve.rate_hz, angle, rate, ()))
    assert DEG(first.bottom_rad) == pytest.approx(12, abs=0.5)
    assert [DEG(rep.bottom_rad) for rep in others] == pytest.approx([20] * 3, abs=0.5)
