"""The twist of the hanging forearm."""

import math

import numpy as np
import pytest

from armarc.motion import find_twist

HZ = 100.0


def level(omega):
    """A sensor whose z axis points up."""
    return np.tile([1.0, 0.0, 0.0, 0.0], (len(omega), 1))


def twisting(axis, *, turns=2, amplitude_deg=45.0, period_s=1.2, still_s=1.0, noise=0.0, seed=0):
    """Angular velocity and orientation, z up: `turns` times palm in, palm out about `axis`, then still."""
    n = round(turns * period_s * HZ)
    w = 2 * math.pi / period_s
    rate = math.radians(amplitude_deg) * w * np.cos(w * np.arange(n) / HZ)
    omega = np.zeros((n + round(2 * still_s * HZ), 3))
    start = round(still_s * HZ)
    omega[start : start + n] = np.outer(rate, axis)
    omega += noise * np.random.default_rng(seed).standard_normal(omega.shape)
    return omega, level(omega)


@pytest.mark.parametrize("axis", [(0, 0, -1.0), (0.1, 0.05, -1.0)])
def test_the_axis_of_a_twist_is_the_forearm_toward_the_hand(axis):
    axis = np.asarray(axis) / np.linalg.norm(axis)
    for sign in (1, -1):
        omega, orientation = twisting(sign * axis, noise=0.01)
        found = find_twist(omega, orientation, HZ)
        assert math.degrees(math.acos(min(1.0, found.arm_axis @ axis))) < 0.3
        # Noise of 0.01 rad/s beside 3 rad/s: the floor of one degree is what is left.
        assert math.degrees(found.uncertainty_rad) == pytest.approx(1.0, abs=0.1)
        assert 100 <= found.first_sample < found.stop_sample <= 345


def test_a_shaky_twist_is_less_certain():
    steady = find_twist(*twisting(np.array([0, 0, 1.0])), HZ)
    shaky = find_twist(*twisting(np.array([0, 0, 1.0]), noise=0.4), HZ)
    assert shaky.uncertainty_rad > steady.uncertainty_rad


def test_a_half_turn_once_is_no_twist():
    assert find_twist(*twisting(np.array([0, 0, 1.0]), amplitude_deg=40, turns=1), HZ) is None


def test_turning_on_the_spot_one_way_is_no_twist():
    omega = np.zeros((500, 3))
    omega[100:400, 2] = 1.5  # 257° one way
    assert find_twist(omega, level(omega), HZ) is None


def test_a_raise_is_no_twist():
    # About a level axis: nothing turns about the vertical.
    omega, orientation = twisting(np.array([1.0, 0, 0]))
    assert find_twist(omega, orientation, HZ) is None


def test_a_slow_turn_is_no_twist():
    assert find_twist(*twisting(np.array([0, 0, 1.0]), period_s=12.0), HZ) is None


def test_of_two_twists_the_clearer_counts():
    clear, orientation = twisting(np.array([0, 0, 1.0]), noise=0.0)
    shaky, _ = twisting(np.array([0, 0, 1.0]), noise=0.3, seed=2)
    found = find_twist(np.concatenate([shaky, clear]), np.concatenate([orientation, orientation]), HZ)
    assert found.first_sample >= len(shaky)


def test_a_still_arm_has_none():
    omega = np.zeros((300, 3))
    assert find_twist(omega, level(omega), HZ) is None
