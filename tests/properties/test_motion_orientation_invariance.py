"""What must hold for any movement: symmetries of the orientation estimate."""

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from armarc.motion import quaternions
from armarc.motion.filters import high_pass, low_pass
from armarc.motion.kinematics import angular_acceleration, lever_acceleration, lever_matrix
from armarc.motion.orientation import estimate_orientation, fuse
from turns import inclination

GRAVITY_M_S2 = 9.80665
RATE_HZ = 60.0
seeds = st.integers(0, 2**32 - 1)
angles = st.floats(-3.0, 3.0)


def movement(seed, n=400):
    """Smooth random turning with small accelerations: orientation, angular velocity, specific force."""
    rng = np.random.default_rng(seed)
    omega = low_pass(rng.normal(size=(n, 3)), RATE_HZ, 1.0) * 5.0
    q = np.empty((n, 4))
    running = Rotation.random(rng=rng).as_quat(scalar_first=True)
    for i, step in enumerate(quaternions.from_rotation_vector(omega / RATE_HZ)):
        running = quaternions.multiply(running, step)
        q[i] = running
    acceleration = low_pass(rng.normal(size=(n, 3)), RATE_HZ, 2.0)
    force = quaternions.rotate_back(q, acceleration + np.array([0.0, 0.0, GRAVITY_M_S2]))
    return q, omega, force


def tilt_deg(p, q):
    return np.degrees(inclination(quaternions.multiply(p, quaternions.conjugate(q))))


@given(seeds, seeds)
@settings(max_examples=25, deadline=None)
def test_turning_the_sensor_in_its_strap_turns_the_answer(seed, other):
    _, omega, force = movement(seed)
    strap = Rotation.random(rng=np.random.default_rng(other)).as_quat(scalar_first=True)
    straight = fuse(omega, force, RATE_HZ)
    turned = fuse(quaternions.rotate(strap, omega), quaternions.rotate(strap, force), RATE_HZ)
    back = quaternions.multiply(turned.quaternion, strap)
    assert tilt_deg(back, straight.quaternion).max() < 0.02
    np.testing.assert_allclose(
        turned.gyroscope_bias_rad_s, quaternions.rotate(strap, straight.gyroscope_bias_rad_s), atol=1e-4
    )


@given(seeds)
@settings(max_examples=15, deadline=None)
def test_mirror_image_gives_the_mirrored_answer(seed):
    """A left arm: mirror z of the sensor; angular velocity is an axial vector."""
    _, omega, force = movement(seed)
    right = estimate_orientation(omega, force, RATE_HZ)
    left = estimate_orientation(omega * [-1, -1, 1], force * [1, 1, -1], RATE_HZ)
    up_right = quaternions.rotate_back(right, [0.0, 0.0, 1.0])
    up_left = quaternions.rotate_back(left, [0.0, 0.0, 1.0])
    np.testing.assert_allclose(up_left * [1, 1, -1], up_right, atol=3e-4)


@given(seeds, st.tuples(angles, angles, angles))
@settings(max_examples=15, deadline=None)
def test_a_bias_within_the_data_sheet_cancels_after_a_rest(seed, bias_deg_s):
    _, omega, force = movement(seed)
    ramp = np.minimum(np.arange(len(omega)) / RATE_HZ, 1.0)[:, None]
    omega = omega * ramp
    q = np.empty((len(omega), 4))
    running = quaternions.IDENTITY
    for i, step in enumerate(quaternions.from_rotation_vector(omega / RATE_HZ)):
        running = quaternions.multiply(running, step)
        q[i] = running
    force = quaternions.rotate_back(q, [0.0, 0.0, GRAVITY_M_S2])
    omega = np.concatenate([np.zeros((180, 3)), omega])
    force = np.concatenate([np.tile([0.0, 0.0, GRAVITY_M_S2], (180, 1)), force])
    bias = np.radians(bias_deg_s) * 0.7
    without, with_it = fuse(omega, force, RATE_HZ), fuse(omega + bias, force, RATE_HZ)
    assert tilt_deg(with_it.quaternion, without.quaternion).max() < 0.5
    found = with_it.gyroscope_bias_rad_s - without.gyroscope_bias_rad_s
    np.testing.assert_allclose(found, bias, atol=np.radians(0.1))


@given(seeds)
@settings(max_examples=15, deadline=None)
def test_time_reversed_movement_gives_the_reversed_answer(seed):
    """A smoother has no direction of time: run backwards, angular velocity changes sign, orientations do not."""
    _, omega, force = movement(seed, n=395)  # 79 whole nodes: the last one is as long as the first
    forward = fuse(omega, force, RATE_HZ, sampling="instants").quaternion
    backward = fuse(-omega[::-1], force[::-1], RATE_HZ, sampling="instants").quaternion[::-1]
    assert np.sqrt(np.mean(tilt_deg(forward, backward) ** 2)) < 0.05


@given(seeds, st.floats(0.9, 1.1))
@settings(max_examples=10, deadline=None)
def test_units_of_the_accelerometer_hardly_matter(seed, scale):
    """A scale error of the accelerometer is no tilt."""
    _, omega, force = movement(seed)
    same = estimate_orientation(omega, force, RATE_HZ)
    assert tilt_deg(estimate_orientation(omega, scale * force, RATE_HZ), same).max() < 1.0


@given(st.integers(2, 60), seeds, st.floats(5.0, 400.0), st.floats(-50.0, 50.0))
@settings(max_examples=60, deadline=None)
def test_any_finite_input_gives_unit_quaternions(n, seed, rate_hz, size):
    rng = np.random.default_rng(seed)
    omega, force = size * rng.normal(size=(2, n, 3))
    fused = fuse(omega, force, rate_hz, missing=rng.random(n) < 0.2)
    np.testing.assert_allclose(np.linalg.norm(fused.quaternion, axis=1), 1.0, atol=1e-9)
    assert np.isfinite([fused.bias_se_rad_s, fused.tilt_se_rad]).all()


@given(seeds, st.integers(1, 80), st.floats(0.3, 20.0))
@settings(max_examples=40, deadline=None)
def test_filters_are_linear_and_have_no_direction(seed, n, cutoff_hz):
    rng = np.random.default_rng(seed)
    x, y = rng.normal(size=(2, n, 2))
    both = low_pass(x + 2.0 * y, RATE_HZ, cutoff_hz)
    np.testing.assert_allclose(
        both, low_pass(x, RATE_HZ, cutoff_hz) + 2.0 * low_pass(y, RATE_HZ, cutoff_hz), atol=1e-9
    )
    np.testing.assert_allclose(low_pass(x, RATE_HZ, cutoff_hz)[:, 0], low_pass(x[:, 0], RATE_HZ, cutoff_hz))
    np.testing.assert_allclose(low_pass(np.ones((n, 2)), RATE_HZ, cutoff_hz), 1.0, atol=1e-9)
    assert np.isfinite(high_pass(x, RATE_HZ, cutoff_hz)).all()


@given(seeds)
@settings(max_examples=20, deadline=None)
def test_lever_acceleration_is_the_second_derivative_of_the_levers_end(seed):
    rng = np.random.default_rng(seed)
    lever = rng.normal(size=3)
    rate_hz = 500.0
    time = np.arange(1000) / rate_hz
    vector = np.outer(np.sin(2 * np.pi * 0.7 * time), rng.normal(size=3)) + np.outer(
        np.cos(2 * np.pi * 0.4 * time), rng.normal(size=3)
    )
    q = quaternions.from_rotation_vector(vector)
    step = quaternions.to_rotation_vector(quaternions.multiply(quaternions.conjugate(q[:-2]), q[2:]))
    omega = np.zeros((1000, 3))
    omega[1:-1] = step * 0.5 * rate_hz
    place = quaternions.rotate(q, lever)
    second = (place[2:] - 2 * place[1:-1] + place[:-2]) * rate_hz**2
    alpha = angular_acceleration(omega, rate_hz, cutoff_hz=40.0)
    found = quaternions.rotate(q, lever_acceleration(omega, alpha, lever))
    middle = slice(100, -100)
    scale = np.abs(second).max()
    np.testing.assert_allclose(found[1:-1][middle], second[middle], atol=0.01 * scale)
    np.testing.assert_allclose(
        lever_matrix(omega, alpha) @ lever, lever_acceleration(omega, alpha, lever), atol=1e-9
    )
