"""Quaternion algebra against scipy's Rotation and ahrs's Quaternion."""

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from armarc.motion import quaternions
from turns import inclination

ROTATIONS = Rotation.random(200, rng=np.random.default_rng(1))
OTHERS = Rotation.random(200, rng=np.random.default_rng(2))
VECTORS = np.random.default_rng(3).normal(size=(200, 3))


def same_rotation(p, q):
    return np.abs(np.abs(np.sum(p * q, axis=-1)) - 1.0).max() < 1e-12


def test_product_matches_scipy():
    product = quaternions.multiply(ROTATIONS.as_quat(scalar_first=True), OTHERS.as_quat(scalar_first=True))
    assert same_rotation(product, (ROTATIONS * OTHERS).as_quat(scalar_first=True))


def test_product_matches_ahrs():
    from ahrs import Quaternion

    p, q = ROTATIONS.as_quat(scalar_first=True)[0], OTHERS.as_quat(scalar_first=True)[0]
    np.testing.assert_allclose(quaternions.multiply(p, q), Quaternion(p).product(q), atol=1e-12)


def test_hamilton_convention():
    i, j, k = np.eye(4)[1:]
    np.testing.assert_array_equal(quaternions.multiply(i, j), k)
    np.testing.assert_array_equal(quaternions.multiply(j, i), -k)


def test_product_broadcasts():
    q = ROTATIONS.as_quat(scalar_first=True)
    assert quaternions.multiply(q[0], q).shape == (200, 4)


def test_rotate_matches_scipy_and_its_matrix():
    q = ROTATIONS.as_quat(scalar_first=True)
    expected = ROTATIONS.apply(VECTORS)
    np.testing.assert_allclose(quaternions.rotate(q, VECTORS), expected, atol=1e-12)
    np.testing.assert_allclose(quaternions.to_matrix(q), ROTATIONS.as_matrix(), atol=1e-12)
    np.testing.assert_allclose(quaternions.rotate_back(q, expected), VECTORS, atol=1e-12)


def test_rotate_single_vector_or_quaternion():
    q = ROTATIONS.as_quat(scalar_first=True)
    assert quaternions.rotate(q, [0, 0, 1]).shape == (200, 3)
    assert quaternions.rotate(q[0], VECTORS).shape == (200, 3)
    assert quaternions.rotate(q[0], VECTORS[0]).shape == (3,)


def test_quarter_turn_about_z_takes_x_to_y():
    q = quaternions.from_rotation_vector([0.0, 0.0, np.pi / 2])
    np.testing.assert_allclose(quaternions.rotate(q, [1, 0, 0]), [0, 1, 0], atol=1e-15)


@pytest.mark.parametrize("size", [0.0, 1e-12, 1e-6, 0.1, 3.0])
def test_rotation_vector_there_and_back(size):
    vector = size * VECTORS / np.linalg.norm(VECTORS, axis=1, keepdims=True)
    q = quaternions.from_rotation_vector(vector)
    assert same_rotation(q, Rotation.from_rotvec(vector).as_quat(scalar_first=True))
    np.testing.assert_allclose(quaternions.to_rotation_vector(q), vector, rtol=1e-9, atol=1e-15)
    np.testing.assert_allclose(quaternions.to_rotation_vector(-q), vector, rtol=1e-9, atol=1e-15)


def test_logarithm_matches_scipy():
    q = ROTATIONS.as_quat(scalar_first=True)
    np.testing.assert_allclose(quaternions.to_rotation_vector(q), ROTATIONS.as_rotvec(), atol=1e-12)


def test_between_takes_one_to_the_other_without_twist():
    q = quaternions.between(VECTORS, VECTORS[::-1])
    turned = quaternions.rotate(q, VECTORS)
    unit = VECTORS[::-1] / np.linalg.norm(VECTORS[::-1], axis=1, keepdims=True)
    length = np.linalg.norm(VECTORS, axis=1, keepdims=True)
    np.testing.assert_allclose(turned, unit * length, atol=1e-9)
    np.testing.assert_allclose(np.sum(q[:, 1:] * VECTORS, axis=1), 0.0, atol=1e-9)


def test_between_opposite_and_zero_vectors():
    q = quaternions.between([[0, 0, -2.0], [1, 1, 1], [0, 0, 0]], [[0, 0, 1.0], [-1, -1, -1], [1, 0, 0]])
    np.testing.assert_allclose(quaternions.rotate(q[0], [0, 0, -1]), [0, 0, 1], atol=1e-12)
    np.testing.assert_allclose(quaternions.rotate(q[1], [1, 1, 1]), [-1, -1, -1], atol=1e-12)
    np.testing.assert_array_equal(q[2], [1, 0, 0, 0])


def test_inclination_ignores_heading():
    tilt = quaternions.from_rotation_vector([0.3, 0.0, 0.0])
    heading = quaternions.from_rotation_vector([0.0, 0.0, 2.0])
    assert inclination(quaternions.multiply(heading, tilt)) == pytest.approx(0.3, abs=1e-12)
    assert inclination(heading) == pytest.approx(0.0, abs=1e-12)


def test_conjugate_leaves_its_input_alone():
    q = ROTATIONS.as_quat(scalar_first=True)
    before = q.copy()
    unity = quaternions.multiply(q, quaternions.conjugate(q))
    np.testing.assert_allclose(unity, np.broadcast_to(quaternions.IDENTITY, (200, 4)), atol=1e-12)
    np.testing.assert_array_equal(q, before)
