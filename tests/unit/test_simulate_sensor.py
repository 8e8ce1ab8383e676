"""The synthetic sensor: noise, offsets, range, resolution, losses, clocks."""

import math
from itertools import pairwise

import numpy as np
import pytest

from armarc.errors import UsageError
from armarc.simulate import (
    SENSOR_GRADES,
    MountPlan,
    SensorPlan,
    SimulationOptions,
    plan_session,
    simulate_session,
)
from armarc.simulate.sensor import sense

N = 40_000


def at_rest(plan: SensorPlan, seed=1, n=N):
    time_s = np.arange(n) / plan.rate_hz
    return sense(time_s, np.zeros((n, 3)), np.zeros((n, 3)), plan, np.random.default_rng(seed))


@pytest.mark.parametrize(("noise", "mdps", "ug"), [("good", 2.8, 70), ("common", 7, 160), ("poor", 14, 400)])
@pytest.mark.parametrize("rate_hz", [50.0, 200.0])
def test_noise_has_the_stated_density(noise, mdps, ug, rate_hz):
    # One-sided density n: SD = n·√(f/2). Typical datasheet figures of wearable parts: 2.8, 7 and 14 mdps/√Hz.
    fine = {"gyroscope_range_rad_s": math.radians(250), "accelerometer_range_m_s2": 2 * 9.80665}
    samples = at_rest(SensorPlan(noise=noise, rate_hz=rate_hz, **fine))
    # Differences of neighbours free the noise of offset and drift.
    gyro = np.diff(samples.angular_velocity_rad_s, axis=0).std() / math.sqrt(2)
    accel = np.diff(samples.specific_force_m_s2, axis=0).std() / math.sqrt(2)
    step = math.radians(250) / 2**15  # resolution adds step²/12
    expected = math.hypot(math.radians(mdps / 1000) * math.sqrt(rate_hz / 2), step / math.sqrt(12))
    assert gyro == pytest.approx(expected, rel=0.03)
    assert accel == pytest.approx(ug * 1e-6 * 9.80665 * math.sqrt(rate_hz / 2), rel=0.03)


def test_offsets_stay_within_the_grade_and_are_told():
    for seed in range(5):
        samples = at_rest(SensorPlan(noise="poor"), seed, n=2000)
        assert np.abs(samples.gyroscope_bias_rad_s).max() <= math.radians(3)
        np.testing.assert_allclose(
            samples.angular_velocity_rad_s[:200].mean(axis=0),
            samples.gyroscope_bias_rad_s,
            atol=math.radians(0.1),
        )
        np.testing.assert_allclose(samples.specific_force_m_s2.mean(axis=0), samples.zero_g_m_s2, atol=5e-3)
    fixed = at_rest(SensorPlan(noise="good", gyroscope_bias_rad_s=(0.02, -0.03, 0.0)), n=2000)
    np.testing.assert_allclose(fixed.angular_velocity_rad_s.mean(axis=0), [0.02, -0.03, 0], atol=1e-3)


def test_the_ideal_sensor_changes_nothing():
    rng = np.random.default_rng(0)
    force, rate = rng.normal(0, 300, (500, 3)), rng.normal(0, 60, (500, 3))
    time_s = np.arange(500) / 100
    samples = sense(time_s, force, rate, SensorPlan(noise="ideal"), rng)
    np.testing.assert_array_equal(samples.specific_force_m_s2, force)
    np.testing.assert_array_equal(samples.angular_velocity_rad_s, rate)
    np.testing.assert_array_equal(samples.time_s, time_s)
    assert not samples.clipped.any()


def test_readings_are_clipped_at_the_range_and_flagged():
    time_s = np.arange(400) / 100
    force = np.outer(np.sin(time_s * 3) * 60, [1, 0, 0])
    plan = SensorPlan(
        noise="common", accelerometer_range_m_s2=4 * 9.80665, gyroscope_range_rad_s=math.radians(500)
    )
    samples = sense(time_s, force, np.zeros((400, 3)), plan, np.random.default_rng(0))
    assert np.abs(samples.specific_force_m_s2).max() == pytest.approx(4 * 9.80665)
    inside = np.abs(force[:, 0]) < 38
    beyond = np.abs(force[:, 0]) > 41
    assert samples.clipped[beyond].all()
    assert not samples.clipped[inside].any()


def test_readings_are_whole_steps_of_the_resolution():
    samples = at_rest(SensorPlan(noise="common", gyroscope_range_rad_s=math.radians(500)), n=500)
    steps = samples.angular_velocity_rad_s / (math.radians(500) / 2**15)
    np.testing.assert_allclose(steps, np.round(steps), atol=1e-6)


def test_gaps_and_lost_packets():
    plan = SensorPlan(noise="ideal", gaps_s=((2.0, 0.5), (6.0, 0.02)), drop_fraction=0.05, packet_samples=10)
    samples = at_rest(plan, n=20_000)
    assert 0.03 < 1 - samples.kept.mean() < 0.08
    assert not samples.kept[200:250].any()
    assert samples.kept[[0, -1]].all()
    long = next(gap for gap in samples.gaps if gap.start_s < 2.1 < gap.end_s)
    assert long.end_s - long.start_s >= 0.5
    assert long.missing_samples >= 50
    # Gaps are stretches longer than 50 ms; nothing but lost samples makes one.
    assert sum(gap.missing_samples for gap in samples.gaps) == np.count_nonzero(
        ~samples.kept
    ) - np.count_nonzero(~samples.kept[600:602])


@pytest.mark.parametrize("jitter_ms", [1, 5, 30])
def test_time_stamps_wander_but_always_rise(jitter_ms):
    plan = SensorPlan(noise="ideal", jitter_s=jitter_ms / 1000)
    samples = at_rest(plan)
    assert samples.time_s[0] == 0
    assert np.diff(samples.time_s).min() > 0
    if jitter_ms == 1:
        error = samples.time_s - np.arange(N) / 100
        assert error.std() == pytest.approx(0.001, rel=0.03)


def test_losses_do_not_change_the_movement():
    options = {"reps": 2, "walk": True, "sets": 2, "rest_s": 20}
    whole, truth = simulate_session(
        plan_session(SimulationOptions(**options, sensor=SensorPlan(noise="ideal")), 9), 9
    )
    lossy, same = simulate_session(
        plan_session(SimulationOptions(**options, sensor=SensorPlan(noise="ideal", drop_fraction=0.1)), 9), 9
    )
    assert truth.reps == same.reps
    index = np.searchsorted(whole.time_s, lossy.time_s - 1e-9)
    assert len(lossy.time_s) < len(whole.time_s)
    np.testing.assert_array_equal(whole.specific_force_m_s2[index], lossy.specific_force_m_s2)


def test_the_same_seed_gives_the_same_bits_and_another_seed_another_session():
    options = SimulationOptions(reps=2, sets=2, walk=True, fidget=True, pick_up=True, rest_s=20)
    one, truth = simulate_session(plan_session(options, 11), 11)
    two, again = simulate_session(plan_session(options, 11), 11)
    other, _ = simulate_session(plan_session(options, 12), 12)
    np.testing.assert_array_equal(one.specific_force_m_s2, two.specific_force_m_s2)
    np.testing.assert_array_equal(one.angular_velocity_rad_s, two.angular_velocity_rad_s)
    assert truth.reps == again.reps
    assert one.duration_s != other.duration_s


def test_temperature_warms_up():
    plan = plan_session(SimulationOptions(reps=1, sensor=SensorPlan(temperature=True)), 1)
    recording, _ = simulate_session(plan, 1)
    assert recording.temperature_c is not None
    assert len(recording.temperature_c) == len(recording.time_s)
    assert 23 < recording.temperature_c[0] < recording.temperature_c[-1] < 32


@pytest.mark.parametrize(
    "change",
    [
        {"noise": "awful"},
        {"rate_hz": 0},
        {"rate_hz": math.nan},
        {"drop_fraction": 0.9},
        {"jitter_s": -1},
        {"gaps_s": ((1.0, math.inf),)},
        {"gaps_s": ((-1.0, 1.0),)},
        {"accelerometer_range_m_s2": 0},
        {"gyroscope_range_rad_s": math.inf},
        {"packet_samples": 0},
    ],
)
def test_impossible_sensors_are_refused_with_a_hint(change):
    with pytest.raises(UsageError) as caught:
        SensorPlan(**change)
    assert caught.value.hint


@pytest.mark.parametrize(
    "change",
    [
        {"strap": "ankle"},
        {"hand_axis": "y"},
        {"tilt_rad": 2},
        {"reach_m": 3},
        {"height_m": 1},
        {"roll_rad": math.nan},
    ],
)
def test_impossible_mountings_are_refused_with_a_hint(change):
    with pytest.raises(UsageError) as caught:
        MountPlan(**change)
    assert caught.value.hint


def test_a_gap_after_the_end_is_refused():
    plan = plan_session(SimulationOptions(reps=1, sensor=SensorPlan(gaps_s=((500.0, 1.0),))), 1)
    with pytest.raises(UsageError, match="after the end"):
        simulate_session(plan, 1)


def test_grades_get_worse_in_order():
    grades = [SENSOR_GRADES[name] for name in ("ideal", "good", "common", "poor")]
    for better, worse in pairwise(grades):
        assert better.gyroscope_density_rad_s < worse.gyroscope_density_rad_s
        assert better.gyroscope_bias_rad_s < worse.gyroscope_bias_rad_s
        assert better.zero_g_m_s2 < worse.zero_g_m_s2
