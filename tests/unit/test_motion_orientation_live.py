"""The live filter: against the smoother, and its behaviour as a pure function of state and sample."""

import time

import numpy as np
import pytest
from invented_raises import GRAVITY_M_S2, make_raises

from armarc.errors import InputError
from armarc.motion import causal, quaternions
from armarc.motion.orientation import estimate_orientation, fuse
from turns import inclination


def run(state, omega, force, dt):
    states = []
    for gyroscope, accelerometer in zip(omega.tolist(), force.tolist(), strict=True):
        state = causal.step(state, gyroscope, accelerometer, dt)
        states.append(state)
    return states


def orientations(states):
    return np.array([state.quaternion for state in states])


def test_agrees_with_the_smoother_after_the_first_reps():
    differences = []
    for seed in range(4):
        raises = make_raises(seed, still_s=1.0)
        live = orientations(
            run(causal.start(), raises.angular_velocity_rad_s, raises.specific_force_m_s2, 0.01)
        )
        smooth = estimate_orientation(raises.angular_velocity_rad_s, raises.specific_force_m_s2, 100.0)
        differences.append(np.degrees(raises.elevation_rad(live) - raises.elevation_rad(smooth)))
    assert np.sqrt(np.mean(np.concatenate(differences) ** 2)) < 0.7
    settled = np.concatenate([difference[800:] for difference in differences])
    assert np.sqrt(np.mean(settled**2)) < 0.5


def test_lever_arm_sharpens_it():
    plain, levered = [], []
    for seed in range(3):
        raises = make_raises(seed, reps=4)
        for errors, lever in ((plain, None), (levered, tuple(raises.lever_arm_m.tolist()))):
            state = causal.start(lever_arm_m=lever)
            states = run(state, raises.angular_velocity_rad_s, raises.specific_force_m_s2, 0.01)
            errors.append(np.std(raises.elevation_error_deg(orientations(states))))
    assert np.mean(levered) < 0.6
    assert np.mean(levered) < 0.5 * np.mean(plain)


def test_split_and_continued_is_the_same():
    raises = make_raises(1, reps=2)
    omega, force = raises.angular_velocity_rad_s, raises.specific_force_m_s2
    whole = run(causal.start(), omega, force, 0.01)
    part = run(causal.start(), omega[:123], force[:123], 0.01)
    kept = part[-1]
    rest = run(kept, omega[123:], force[123:], 0.01)
    assert orientations(part + rest).tolist() == orientations(whole).tolist()
    again = run(kept, omega[123:], force[123:], 0.01)  # the state was not used up
    assert orientations(again).tolist() == orientations(rest).tolist()


def test_bias_from_a_still_phase():
    bias = np.radians([0.5, -0.8, 1.2])
    rng = np.random.default_rng(0)
    omega = bias + np.radians(0.05) * rng.normal(size=(500, 3))
    force = [0.0, 0.0, GRAVITY_M_S2] + 0.01 * rng.normal(size=(500, 3))
    last = run(causal.start(), omega, force, 0.01)[-1]
    assert last.still
    np.testing.assert_allclose(last.bias_rad_s, bias, atol=np.radians(0.1))
    assert last.bias_se_rad_s < np.radians(0.3)
    assert last.tilt_se_rad < np.radians(1.0)
    assert last.time_s == pytest.approx(4.99)


def test_a_moving_sensor_is_not_still():
    raises = make_raises(2, reps=3)
    states = run(causal.start(), raises.angular_velocity_rad_s, raises.specific_force_m_s2, 0.01)
    assert not any(state.still for state in states)


def test_gap_and_bad_samples_are_survived():
    raises = make_raises(3, reps=6, still_s=2.0)
    omega, force = raises.angular_velocity_rad_s, raises.specific_force_m_s2
    state = run(causal.start(), omega[:500], force[:500], 0.01)[-1]
    before = state.tilt_se_rad
    bad = causal.step(state, (float("nan"), 0.0, 0.0), (0.0, 0.0, 9.8), 0.01)
    assert bad.quaternion == state.quaternion
    state = causal.step(bad, omega[540].tolist(), force[540].tolist(), 0.4)
    states = run(state, omega[541:], force[541:], 0.01)
    assert max(s.tilt_se_rad for s in states[:20]) > 2 * before
    error = raises.elevation_error_deg(np.concatenate([raises.quaternion[:541], orientations(states)]))
    assert np.sqrt(np.mean(error[1000:] ** 2)) < 2.5


@pytest.mark.parametrize("dt", [0.0, -0.01, float("nan"), float("inf")])
def test_time_must_rise(dt):
    state = causal.step(causal.start(), (0.0, 0.0, 0.0), (0.0, 0.0, 9.8), 0.0)
    with pytest.raises(InputError, match="time step"):
        causal.step(state, (0.0, 0.0, 0.0), (0.0, 0.0, 9.8), dt)


def test_first_sample_upside_down_or_useless():
    state = causal.step(causal.start(), (0.0, 0.0, 0.0), (0.0, 0.0, 0.0), 0.0)
    assert state.quaternion is None
    assert state.tilt_se_rad > 3.0
    assert state.bias_se_rad_s > 0.0
    state = causal.step(state, (0.0, 0.0, 0.0), (0.0, 0.0, -9.8), 0.01)
    assert state.quaternion == (0.0, 1.0, 0.0, 0.0)


def test_steady_turn_is_followed_without_lag():
    rate = np.array([-1.0, 3.0, 0.5])
    time_s = np.arange(1000)[:, None] * 0.01
    start = quaternions.from_rotation_vector([0.4, -0.2, 0.1])
    truth = quaternions.multiply(start, quaternions.from_rotation_vector(time_s * rate))
    middle = quaternions.multiply(start, quaternions.from_rotation_vector((time_s - 0.005) * rate))
    force = quaternions.rotate_back(middle, [0.0, 0.0, GRAVITY_M_S2])
    q = orientations(run(causal.start(), np.tile(rate, (1000, 1)), force, 0.01))
    error = inclination(quaternions.multiply(q, quaternions.conjugate(truth)))
    assert np.degrees(error[300:].max()) < 0.1


def test_fast_turn_is_exact():
    omega = np.tile([0.0, 0.0, 25.0], (100, 1))
    force = np.tile([0.0, 0.0, GRAVITY_M_S2], (100, 1))
    states = run(causal.start(), omega, force, 0.01)
    w, _, _, z = states[-1].quaternion
    turned = 2 * np.arctan2(z, w)
    expected = 25.0 * 0.99
    assert np.angle(np.exp(1j * (turned - expected))) == pytest.approx(0.0, abs=0.02)


def test_a_sample_costs_little():
    raises = make_raises(4, reps=3)
    omega, force = raises.angular_velocity_rad_s, raises.specific_force_m_s2
    run(causal.start(), omega[:200], force[:200], 0.01)
    begin = time.process_time()
    run(causal.start(), omega, force, 0.01)
    spent = (time.process_time() - begin) / len(omega)
    assert spent < 200e-6  # measured: some 10 µs; room for a busy machine


def test_same_meaning_of_the_bias():
    raises = make_raises(5, still_s=3.0)
    state = run(causal.start(), raises.angular_velocity_rad_s, raises.specific_force_m_s2, 0.01)[-1]
    smooth = fuse(raises.angular_velocity_rad_s, raises.specific_force_m_s2, 100.0)
    np.testing.assert_allclose(state.bias_rad_s, smooth.gyroscope_bias_rad_s, atol=np.radians(0.4))


def test_a_sensor_begun_upside_down_turns_over():
    """The first sample of a fast movement may point anywhere; afterwards the mean force is gravity, upward."""
    rng = np.random.default_rng(1)
    force = np.tile([0.0, 0.0, GRAVITY_M_S2], (1000, 1)) + rng.normal(0, 0.02, (1000, 3))
    force[0] = [0.0, 0.0, -GRAVITY_M_S2]
    states = run(causal.start(), rng.normal(0, 0.002, (1000, 3)), force, 0.01)
    q = orientations(states)
    up_z = 1 - 2 * (q[:, 1] ** 2 + q[:, 2] ** 2)
    assert up_z[100] < -0.9
    assert up_z[-1] > 0.999
    assert states[-1].turned_over == 1


def test_nobody_else_turns_over():
    raises = make_raises(6)
    states = run(causal.start(), raises.angular_velocity_rad_s, raises.specific_force_m_s2, 0.01)
    assert states[-1].turned_over == 0
