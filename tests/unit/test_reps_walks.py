"""Walking and circles of the arm are none of the reps, at any rate and on a loose strap; who bounces keeps them.

How far the arm swings (20–40°), the body rises (±1.5–2.5 cm, twice a stride, lowest when both feet stand and the arms
are at their ends) and how often (0.8–1 strides a second): gait literature from memory. Circles: geometry.
"""

import math

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from armarc.reps.counting import count_sets
from armarc.reps.largest_run import CountingRules
from armarc.reps.not_counted import CIRCLE, SWING

GRAVITY_M_S2, REACH_M = 9.80665, 0.55
NAMED = CountingRules(smallest_rad=math.radians(20), rest_s=10.0, curves=("tilt",))
UNNAMED = CountingRules(
    smallest_rad=math.radians(15), rest_s=10.0, curves=("tilt", "yaw"), has_bottom=False, is_named=False
)


def counted(pose, shoulder_z_m, rate_hz, rules=NAMED, wobble_deg=0.0):
    """Count a straight arm along the sensor's -z that hangs at the identity, felt as worked out in space."""
    n = len(shoulder_z_m)
    wobble = np.radians(wobble_deg) * np.sin(2 * np.pi * 7.0 * np.arange(n) / rate_hz)
    sensor = pose * Rotation.from_rotvec(wobble[:, None] * [0.6, 0.0, 0.8])
    place = pose.apply([0, 0, -REACH_M]) + np.outer(shoulder_z_m, [0, 0, 1])
    acceleration = np.gradient(np.gradient(place, 1 / rate_hz, axis=0), 1 / rate_hz, axis=0)
    force = sensor.inv().apply(acceleration + np.array([0, 0, GRAVITY_M_S2]))
    steps = (sensor[:-1].inv() * sensor[1:]).as_rotvec() * rate_hz
    return count_sets(
        sensor.as_quat(scalar_first=True), np.vstack([steps, steps[-1:]]), force, rate_hz, rules
    )


def time_of(seconds, rate_hz):
    return np.arange(round(seconds * rate_hz)) / rate_hz


def flexed(angle_rad):
    return Rotation.from_rotvec(np.outer(-angle_rad, [0, 1, 0]))


@pytest.mark.parametrize("rate_hz", [25.0, 50.0, 100.0, 400.0])
@pytest.mark.parametrize("wobble_deg", [0.0, 1.0])
@pytest.mark.parametrize("rules", [NAMED, UNNAMED], ids=["named", "unnamed"])
def test_strides_without_a_rest_are_no_set(rate_hz, wobble_deg, rules):
    t = time_of(9.0, rate_hz)
    swing = np.radians(5 + 16 * np.cos(2 * np.pi * 0.9 * t))
    body = -0.02 * np.cos(2 * np.pi * 1.8 * t)
    found = counted(flexed(swing), body, rate_hz, rules, wobble_deg)
    assert found.sets == ()
    assert {out.reason for out in found.left_out} >= {SWING}


@pytest.mark.parametrize("bounce_m", [0.0, 0.02, 0.04])
def test_a_lifter_who_bounces_once_a_rep_keeps_every_rep(bounce_m):
    """As quick and as small as strides, and no rest recorded."""
    t = time_of(10.0, 100.0)
    angle = np.radians(28 - 22 * np.cos(2 * np.pi * 0.9 * t))
    body = bounce_m * np.sin(2 * np.pi * 0.9 * t)
    found = counted(flexed(angle), body, 100.0)
    assert len(found.sets) == 1
    assert len(found.sets[0]) >= 9  # the recording's ends may lend half a rep each
    assert not any(m.is_doubtful for m in found.sets[0])


def test_a_body_that_bounces_twice_a_rep_the_other_way_than_in_strides_is_flagged_and_not_dropped():
    t = time_of(14.0, 100.0)
    moves = (t > 2) & (t < 2 + 9 / 0.9)
    phase = 2 * np.pi * 0.9 * (t - 2)
    angle = np.radians(6 + np.where(moves, 22 * (1 - np.cos(phase)), 0.0))
    body = np.where(moves, -0.02 * (1 - np.cos(2 * phase)), 0.0)
    found = counted(flexed(angle), body, 100.0)
    assert [len(one) for one in found.sets] == [9]
    assert all(m.is_doubtful for m in found.sets[0])


def round_about(way, rate_hz, seconds, width=1.0):
    """An arm held to the side whose hand draws circles, or ellipses of another width, about where it points."""
    t = time_of(seconds, rate_hz)
    phase, size = 2 * np.pi * 0.7 * t * way, np.radians(20)
    side = Rotation.from_rotvec([-np.radians(80), 0, 0])
    up_and_down = Rotation.from_rotvec(np.outer(size * np.cos(phase), [1, 0, 0]))
    to_and_fro = Rotation.from_rotvec(np.outer(width * size * np.sin(phase), [0, 0, 1]))
    return to_and_fro * up_and_down * side


@pytest.mark.parametrize("rate_hz", [25.0, 100.0, 400.0])
@pytest.mark.parametrize("way", [1, -1], ids=["forward", "backward"])
def test_circles_are_no_raises_whichever_way_they_go(rate_hz, way):
    pose = round_about(way, rate_hz, 10.0)
    found = counted(pose, np.zeros(len(pose)), rate_hz)
    assert found.sets == ()
    assert {out.reason for out in found.left_out} >= {CIRCLE}


def test_a_rep_that_comes_back_a_little_beside_its_way_counts():
    pose = round_about(1, 100.0, 10.0, width=0.25)
    assert sum(len(one) for one in counted(pose, np.zeros(len(pose)), 100.0).sets) >= 6


def test_circles_nobody_named_are_counted():
    """A pendulum that goes round is an exercise."""
    pose = round_about(1, 100.0, 10.0)
    assert sum(len(one) for one in counted(pose, np.zeros(len(pose)), 100.0, UNNAMED).sets) >= 6
