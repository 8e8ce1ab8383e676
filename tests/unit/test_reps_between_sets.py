"""What goes another way than the sets beside it: doubted where it is counted, named where it is not."""

import math

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from armarc.reps.counting import count_sets
from armarc.reps.largest_run import CountingRules

GRAVITY_M_S2, ARM_M, RATE_HZ = 9.80665, 0.54, 100.0
RAISE = CountingRules(smallest_rad=math.radians(30), rest_s=10.0, curves=("tilt",), is_raise=True)


def there_and_back(top_deg, seconds, times=1, rest_s=0.4):
    """Angle of an arm that goes up and comes back along minimum-jerk ways, rad."""
    x = np.arange(round(seconds * RATE_HZ)) / round(seconds * RATE_HZ)
    way = math.radians(top_deg) * (10 * x**3 - 15 * x**4 + 6 * x**5)
    return np.tile(np.concatenate([way, way[::-1], np.zeros(round(rest_s * RATE_HZ))]), times)


def counted(aside_rad, forward_rad):
    """Count what a straight arm does whose shoulder stands still."""
    sensor = Rotation.from_rotvec(np.outer(aside_rad, [-1, 0, 0]))
    sensor *= Rotation.from_rotvec(np.outer(forward_rad, [0, -1, 0]))
    place = sensor.apply([0, 0, -ARM_M])
    acceleration = np.gradient(np.gradient(place, 1 / RATE_HZ, axis=0), 1 / RATE_HZ, axis=0)
    force = sensor.inv().apply(acceleration + np.array([0, 0, GRAVITY_M_S2]))
    steps = (sensor[:-1].inv() * sensor[1:]).as_rotvec() * RATE_HZ
    return count_sets(
        sensor.as_quat(scalar_first=True), np.vstack([steps, steps[-1:]]), force, RATE_HZ, RAISE
    )


def after_a_set(aside_rad, forward_rad):
    """Count six raises to the side, and what follows them after a rest."""
    still = np.zeros(round(3 * RATE_HZ))
    raises = there_and_back(85, 1.6, times=6)
    aside = np.concatenate([still, raises, still, aside_rad, still])
    forward = np.concatenate([still, 0 * raises, still, forward_rad, still])
    return counted(aside, forward), len(still) + len(raises) + len(still)


@pytest.mark.parametrize(("beside_deg", "is_sure"), [(0.0, True), (8.6, False)])
def test_arms_swung_forward_in_no_plane_beside_raises_are_doubted(beside_deg, is_sure):
    """Six times forward in a plane may be an exercise; in a figure of eight it may be none."""
    t = np.arange(0, 6 * 1.6, 1 / RATE_HZ)
    course = np.minimum(1, np.minimum(t, t[-1] - t) / 0.3)
    forward = 0.6 * course * (1 - np.cos(2 * np.pi * t / 1.6))
    found, _ = after_a_set(math.radians(beside_deg) * course * np.sin(4 * np.pi * t / 1.6), forward)
    assert [len(each) for each in found.sets] == [6, 6]
    assert not any(m.is_doubtful for m in found.sets[0])
    assert all(m.is_doubtful is not is_sure for m in found.sets[1])


def test_a_small_raise_between_larger_reaches_another_way_is_named_too():
    reach, small = there_and_back(103, 1.2, rest_s=1.5), there_and_back(25, 1.0, rest_s=2.0)
    aside = np.concatenate([0 * reach, small, 0 * reach])
    found, first = after_a_set(aside, np.concatenate([reach, 0 * small, reach]))
    assert [len(each) for each in found.sets] == [6]
    tops = first + np.cumsum([0, len(reach), len(small)]) + RATE_HZ * np.array([1.2, 1.0, 1.2])
    assert [sum(out.first < top < out.stop for out in found.left_out) for top in tops] == [1, 1, 1]
