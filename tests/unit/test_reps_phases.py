"""The four instants, the bottoms and the start gate, on curves in closed form."""

import math

import numpy as np
import pytest
from invented_reps import raises, ramp
from scipy.optimize import brentq

from armarc.reps.crossings import downward_crossings, upward_crossings, value_at
from armarc.reps.phases import find_instants, gate_passage, resting_value

DEG = math.degrees


def level_of(share):
    """τ at which a minimum-jerk move has made this share of its way."""
    return brentq(lambda tau: ramp(np.array(tau)) - share, 0, 1)


def on_at(rom_deg, phase_s, threshold_deg_s=5.0):
    """τ at which the rate of a minimum-jerk move passes a threshold."""
    return brentq(lambda x: 30 * x**2 * (1 - x) ** 2 * rom_deg / phase_s - threshold_deg_s, 0, 0.5)


def instants_of(curve, k=0, **options):
    hz, n = curve.rate_hz, len(curve.angle_rad)
    begins = [round(b * hz) for b in curve.begins_s]
    top = begins[k] + int(np.argmax(curve.angle_rad[begins[k] : begins[k] + round(4 * hz)]))
    first = begins[k - 1] + round(2.2 * hz) if k else 0
    stop = begins[k + 1] + round(2 * hz) if k + 1 < len(begins) else n
    return find_instants(curve.angle_rad, curve.rate_rad_s, first, top, stop, hz, **options), first, top


def test_crossings_lie_between_the_samples():
    np.testing.assert_allclose(upward_crossings(np.array([0.0, 1.0, 3.0, 0.0, 2.0]), 2.0), [1.5, 4.0])
    np.testing.assert_allclose(downward_crossings(np.array([0.0, 1.0, 3.0, 0.0, 2.0]), 2.0), [2 + 1 / 3])
    # A sample exactly on the level is passed once, not twice.
    np.testing.assert_allclose(upward_crossings(np.array([0.0, 2.0, 3.0]), 2.0), [1.0])
    assert len(upward_crossings(np.array([2.0, 2.0]), 2.0)) == 0
    assert len(upward_crossings(np.array([]), 2.0)) == 0


def test_reading_between_samples_and_beyond_the_ends():
    curve = np.array([0.0, 10.0, 30.0])
    assert value_at(curve, 1.25) == 15.0
    assert value_at(curve, 2.0) == 30.0
    assert value_at(curve, 0.0) == 0.0


@pytest.mark.parametrize("rate_hz", [50.0, 100.0, 400.0])
def test_the_instants_of_a_minimum_jerk_rep(rate_hz):
    curve = raises(rate_hz=rate_hz, up_s=2.0, hold_s=0.5, down_s=2.5)
    at, _, _ = instants_of(curve)
    up, down = on_at(80, 2.0), on_at(80, 2.5)
    expected = [1 + 2 * up, 1 + 2 * (1 - up), 3.5 + 2.5 * down, 3.5 + 2.5 * (1 - down)]
    found = [x / rate_hz for x in (at.start, at.top_start, at.top_end, at.end)]
    np.testing.assert_allclose(found, expected, atol=0.002)
    assert DEG(at.bottom_rad) == pytest.approx(10)
    assert DEG(at.bottom_after_rad) == pytest.approx(10)
    assert DEG(at.top_rad) == pytest.approx(90)
    assert at.is_complete


def test_a_fast_phase_is_bounded_at_a_twentieth_of_its_peak():
    curve = raises(up_s=0.8, rate_hz=200.0)
    at, _, _ = instants_of(curve)
    peak = 1.875 * 80 / 0.8  # 187.5 °/s, so that the threshold is 9.4 °/s
    tau = on_at(80, 0.8, 0.05 * peak)
    assert at.start / 200 == pytest.approx(1 + 0.8 * tau, abs=0.002)
    # The lowering is slower and has its own threshold.
    assert at.top_end / 200 == pytest.approx(2.3 + 2 * on_at(80, 2.0), abs=0.002)


def test_a_quick_movement_before_and_after_the_rep_does_not_move_its_instants():
    plain = raises(still_s=3.0, after_s=3.0)
    t = np.arange(len(plain.angle_rad)) / 100
    shaken = plain.angle_rad + np.radians(12) * sum(np.exp(-(((t - at) / 0.05) ** 2)) for at in (1.5, 9.5))
    curve = type(plain)(100.0, shaken, np.gradient(shaken, 0.01), plain.begins_s)
    calm = instants_of(plain)[0]
    at = find_instants(curve.angle_rad, curve.rate_rad_s, 0, 525, len(t), 100.0)
    assert np.degrees(curve.rate_rad_s.max()) > 2 * 75
    np.testing.assert_allclose(
        [at.start, at.top_start, at.top_end, at.end],
        [calm.start, calm.top_start, calm.top_end, calm.end],
        atol=0.1,
    )


def test_without_a_hold_the_top_is_only_as_long_as_the_thresholds_make_it():
    at, _, _ = instants_of(raises(hold_s=0.0))
    assert (at.top_end - at.top_start) / 100 == pytest.approx(4 * on_at(80, 2.0), abs=0.01)


def test_without_a_pause_each_rep_starts_after_the_one_before_ended():
    curve = raises([90, 90, 90], pause_s=0.0)
    bounds = [instants_of(curve, k)[0] for k in range(3)]
    assert bounds[0].end < bounds[1].start < bounds[1].end < bounds[2].start
    gap = (bounds[1].start - bounds[0].end) / 100
    assert gap == pytest.approx(4 * on_at(80, 2.0), abs=0.01)


def test_a_wobble_at_the_top_ends_the_concentric_once():
    curve = raises(hold_s=2.0)
    t = np.arange(len(curve.angle_rad)) / 100
    wobble = np.where((t > 3.3) & (t < 4.7), np.sin(2 * np.pi * (t - 3.3) / 0.7), 0.0) * math.radians(1.2)
    rate = np.gradient(wobble, 0.01)
    shaken = type(curve)(100.0, curve.angle_rad + wobble, curve.rate_rad_s + rate, curve.begins_s)
    at, _, _ = instants_of(shaken)
    assert at.top_start / 100 == pytest.approx(1 + 2 * (1 - on_at(80, 2.0)), abs=0.002)
    # The wobble is in the hold; the lowering begins after it.
    assert at.top_end / 100 > 4.6
    assert at.start <= at.top_start <= at.top_end <= at.end


def test_the_end_of_a_recording_is_the_end_of_an_unfinished_rep():
    curve = raises()
    n = 100 + 250 + 60
    at = find_instants(curve.angle_rad[:n], curve.rate_rad_s[:n], 0, 300, n, 100.0)
    assert not at.is_complete
    assert at.end == n - 1


def test_a_recording_that_begins_on_the_way_up_takes_the_bottom_after():
    curve = raises()
    cut = 100 + 90
    angle, rate = curve.angle_rad[cut:], curve.rate_rad_s[cut:]
    at = find_instants(angle, rate, 0, 300 - cut, len(angle), 100.0, is_begun=True)
    assert at.start == 0.0
    assert DEG(at.bottom_rad) == pytest.approx(10)
    assert at.is_begun


def test_no_rise_no_instants():
    flat = np.zeros(200)
    assert find_instants(flat, flat, 0, 100, 200, 100.0) is None
    falling = np.linspace(1, 0, 200)
    assert find_instants(falling, np.full(200, -0.5), 0, 0, 200, 100.0) is None


# --- bottoms


def test_sway_after_the_arm_has_come_down_is_not_the_bottom():
    curve = raises(after_s=8.0)
    t = np.arange(len(curve.angle_rad)) / 100
    swayed = curve.angle_rad - np.radians(6) * np.exp(-(((t - 11.0) / 0.8) ** 2))
    down = slice(350, None)
    rate = np.gradient(swayed, 0.01)
    assert DEG(swayed.min()) < 5
    assert DEG(resting_value(swayed[down], -rate[down], 100)) == pytest.approx(10, abs=0.05)


def test_an_arm_that_goes_on_sinking_just_after_it_came_to_rest_is_followed():
    curve = raises(after_s=4.0)
    t = np.arange(len(curve.angle_rad)) / 100
    sinking = curve.angle_rad - np.radians(1.5) * ramp((t - 5.4) / 0.8)
    rate = np.gradient(sinking, 0.01)
    assert DEG(resting_value(sinking[350:], -rate[350:], 100)) == pytest.approx(8.5, abs=0.01)


def test_walking_after_the_set_does_not_pull_the_bottom_down():
    curve = raises(after_s=10.0)
    t = np.arange(len(curve.angle_rad)) / 100
    swing = np.where(t > 8, -np.radians(9) * np.sin(np.pi * (t - 8)) ** 2, 0.0)
    walked = curve.angle_rad + swing
    rate = np.gradient(walked, 0.01)
    assert DEG(resting_value(walked[350:], -rate[350:], 100)) == pytest.approx(10, abs=0.1)


# --- the gate


@pytest.mark.parametrize("gate_deg", [(10, 20), (5, 15), (0.5, 40)])
@pytest.mark.parametrize("rate_hz", [100.0, 200.0])
def test_the_gate_is_passed_at_the_speed_of_the_closed_form(gate_deg, rate_hz):
    curve = raises(rate_hz=rate_hz)
    at, first, top = instants_of(curve)
    gate = tuple(map(math.radians, gate_deg))
    near, far = gate_passage(curve.angle_rad, at, first, top, gate)
    expected = [1 + 2 * level_of(g / 80) for g in gate_deg]
    np.testing.assert_allclose([near / rate_hz, far / rate_hz], expected, atol=1e-3)
    speed = (gate_deg[1] - gate_deg[0]) * rate_hz / (far - near)
    assert speed == pytest.approx((gate_deg[1] - gate_deg[0]) / (expected[1] - expected[0]), rel=2e-3)


def test_a_constant_rate_is_measured_exactly():
    # 50 °/s from 10° on: linear interpolation between samples is exact on a straight line.
    angle = np.radians(np.clip(10 + 0.5 * (np.arange(300) - 100.3), 10, 90))
    angle[270:] -= np.radians(np.linspace(0, 30, 30))
    rate = np.gradient(angle, 0.01)
    at = find_instants(angle, rate, 0, int(angle.argmax()), len(angle), 100.0)
    near, far = gate_passage(angle, at, 0, int(angle.argmax()), (math.radians(10), math.radians(20)))
    assert 10 / ((far - near) / 100) == pytest.approx(50, rel=1e-12)


def test_a_rep_that_never_reaches_the_far_end_has_no_passage():
    curve = raises([28.0])
    at, first, top = instants_of(curve)
    assert gate_passage(curve.angle_rad, at, first, top, (math.radians(10), math.radians(20))) is None
    assert gate_passage(curve.angle_rad, at, first, top, (math.radians(5), math.radians(15))) is not None


def test_after_a_false_start_the_last_entry_counts():
    t = np.arange(600) / 100
    false = np.radians(13) * (ramp((t - 1.0) / 0.5) - ramp((t - 1.6) / 0.5))
    angle = np.radians(10) + false + np.radians(80) * (ramp((t - 2.3) / 1.5) - ramp((t - 4.0) / 1.5))
    rate = np.gradient(angle, 0.01)
    top = int(angle.argmax())
    at = find_instants(angle, rate, 0, top, len(angle), 100.0)
    near, far = gate_passage(angle, at, 0, top, (math.radians(10), math.radians(20)))
    assert 230 < near < far
    assert at.start == pytest.approx(230 + 150 * on_at(80, 1.5), abs=1.0)
