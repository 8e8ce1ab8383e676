"""The angle about a movement's own axis, set by set, with answers known by construction."""

import numpy as np
import pytest
from invented_reps import raises
from scipy.spatial.transform import Rotation

from armarc.motion.turned_angle import turned_angle

HZ = 100.0
SIDE = np.array([0.0, 1.0, 0.0])
ARM = np.array([1.0, 0.0, 0.0])


def lifted(heading_deg, sign, top_deg=70):
    """A set lifted while facing some way, from another hand pose each: orientations, and bottoms between its reps."""
    angle = raises([top_deg] * 4).angle_rad
    edges = np.flatnonzero(np.diff(np.sign(np.diff(angle))) > 0)
    tops = np.flatnonzero(np.isclose(angle, angle.max(), atol=1e-6))
    quiet = [0, *edges[(edges > tops[0]) & (edges < tops[-1])], len(angle) - 1]
    turn = Rotation.from_rotvec(np.outer(sign * (angle - angle[0]), SIDE))
    return Rotation.from_euler("z", heading_deg, degrees=True) * turn * Rotation.from_euler("x", 30), quiet


def two_sets(second_heading_deg, second_sign):
    poses, spans, begin = [], [], 0
    for heading, sign in ((0, 1), (second_heading_deg, second_sign)):
        pose, quiet = lifted(heading, sign)
        spans.append(((begin, begin + len(pose)), tuple(begin + int(k) for k in quiet)))
        poses.append(pose)
        begin += len(pose)
    pose = Rotation.concatenate(poses)
    steps = (pose[:-1].inv() * pose[1:]).as_rotvec() * HZ
    steps[np.linalg.norm(steps, axis=1) > 20] = 0  # turning round between the sets takes one sample
    return pose, np.vstack([steps, steps[-1:]]), spans


@pytest.mark.parametrize("heading", [0, 90, 140])
@pytest.mark.parametrize("sign", [1, -1])
def test_every_set_rises_from_its_own_bottom_however_the_lifter_stands(heading, sign):
    pose, omega, spans = two_sets(heading, sign)
    angle, rate, coordinate = turned_angle(pose.as_quat(scalar_first=True), omega, ARM, "movement", spans, [])
    assert coordinate == "movement"
    expected = raises([70] * 4).angle_rad
    expected = np.degrees(expected - expected[0])
    for (first, stop), bottoms in spans:
        inside = slice(first, stop)
        np.testing.assert_allclose(np.degrees(angle[inside]), expected, atol=1.0)
        assert np.degrees(angle[list(bottoms)]) == pytest.approx(0, abs=1.5)
        turned = np.cumsum(rate[inside])[:-1] / HZ
        np.testing.assert_allclose(np.degrees(turned), expected[1:], atol=2.5)


def test_before_anything_is_counted_the_pose_it_rests_in_is_the_bottom():
    pose, omega, spans = two_sets(0, 1)
    stop = spans[0][0][1]
    angle, *_ = turned_angle(pose[:stop].as_quat(scalar_first=True), omega[:stop], ARM, "movement", (), [])
    assert angle.max() > 1 > abs(angle.min()) * 10


def test_two_sets_may_share_a_bottom():
    pose, omega, spans = two_sets(0, -1)
    (first, middle), (_, last) = spans[0][0], spans[1][0]
    shared = [((first, middle + 50), (*spans[0][1], middle + 49)), ((middle + 49, last), spans[1][1][1:])]
    angle, *_ = turned_angle(pose.as_quat(scalar_first=True), omega, ARM, "movement", shared, [])
    assert np.isfinite(angle).all()
