"""Arm angles and their rates on constructed orientations."""

import math

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from armarc.motion import angles

ARM = np.array([0.0, 0.0, -1.0])
"""Shoulder → hand in sensor axes when the sensor's axes are the global ones for a hanging arm."""


def turned(axis, degrees):
    return Rotation.from_rotvec(np.outer(np.atleast_1d(np.radians(degrees)), axis))


def test_up_in_sensor_is_the_inverse_rotation_of_up():
    r = Rotation.random(20, rng=1)
    np.testing.assert_allclose(
        angles.up_in_sensor(r.as_quat(scalar_first=True)), r.inv().apply([0, 0, 1]), atol=1e-12
    )


@pytest.mark.parametrize("heading", [0, 37, 180])
def test_elevation_is_the_angle_from_straight_down(heading):
    wanted = np.array([0.0, 1e-6, 8, 90, 135, 179.9999, 180])
    pose = turned([0, 0, 1], heading) * turned([0, 1, 0], -wanted)
    found = angles.elevation(angles.up_in_sensor(pose.as_quat(scalar_first=True)), ARM)
    np.testing.assert_allclose(np.degrees(found), wanted, atol=1e-6)


def test_the_rate_of_elevation_leaves_out_turning_of_the_hand_and_of_the_body():
    pose = turned([0, 0, 1], 20) * turned([0, 1, 0], -np.array([60.0]))
    up = angles.up_in_sensor(pose.as_quat(scalar_first=True))
    for omega, expected in (
        (pose.apply([0, 0, 1.0], inverse=True), 0.0),  # body turning about the vertical
        (0.7 * ARM[None], 0.0),  # the hand turning about the arm
        (np.array([[0.0, -0.5, 0.0]]), 0.5),  # the raise itself
    ):
        found = angles.elevation_rate(up, np.atleast_2d(omega), ARM)
        np.testing.assert_allclose(found, expected, atol=1e-12)


def test_the_rate_is_the_derivative_of_the_elevation():
    t = np.arange(0, 2, 1e-3)
    pose = Rotation.from_euler(
        "ZYX", np.stack([0.4 * np.sin(3 * t), -0.2 - 1.1 * np.sin(1.3 * t) ** 2, 0.3 * np.sin(2 * t)], axis=1)
    )
    omega = (pose[:-1].inv() * pose[1:]).as_rotvec() / 1e-3
    middle = (pose[:-1] * Rotation.from_rotvec(omega * 0.5e-3)).as_quat(scalar_first=True)
    rate = angles.elevation_rate(angles.up_in_sensor(middle), omega, ARM)
    theta = angles.elevation(angles.up_in_sensor(pose.as_quat(scalar_first=True)), ARM)
    np.testing.assert_allclose(rate, np.diff(theta) / 1e-3, atol=2e-5)


def test_the_horizontal_angle_counts_on_and_its_rate_is_its_derivative():
    t = np.arange(0, 3, 1e-3)
    heading = 3.5 * t  # more than one turn
    lifted = 1.2 + 0.2 * np.sin(t)
    arm = np.stack(
        [np.sin(lifted) * np.cos(heading), np.sin(lifted) * np.sin(heading), -np.cos(lifted)], axis=1
    )
    angle = angles.horizontal_angle(arm)
    assert angle[-1] - angle[0] == pytest.approx(3.5 * t[-1])
    omega = np.zeros_like(arm)
    omega[:, 2] = 3.5
    np.testing.assert_allclose(angles.horizontal_rate(arm, omega), 3.5, rtol=1e-12)


def test_the_dominant_axis_of_a_hinge_and_of_no_hinge():
    hinge = np.outer(np.sin(np.linspace(0, 9, 200)), [0.6, 0.0, 0.8])
    axis, share = angles.dominant_axis(hinge)
    assert abs(axis @ [0.6, 0.0, 0.8]) == pytest.approx(1)
    assert share == pytest.approx(1)
    _, share = angles.dominant_axis(np.vstack([np.eye(3), -np.eye(3)]))
    assert share == pytest.approx(1 / 3)
    assert angles.dominant_axis(np.zeros((5, 3)))[1] == 0.0
    weight = np.array([1.0, 0, 0, 1, 0, 0])
    axis, share = angles.dominant_axis(np.vstack([np.eye(3), -np.eye(3)]), weight)
    assert abs(axis[0]) == pytest.approx(1)
    assert share == pytest.approx(1)


def test_the_angle_about_an_axis_unwraps():
    axis = np.array([0.0, 0.6, 0.8])
    turns = np.linspace(0, 500, 300)
    pose = turned(axis, turns) * Rotation.random(rng=4)
    np.testing.assert_allclose(
        np.degrees(angles.angle_about(pose.as_quat(scalar_first=True), axis)), turns, atol=1e-8
    )


@pytest.mark.parametrize(("side", "lateral"), [("right", -90.0), ("left", 90.0)])
@pytest.mark.parametrize("plane", [0.0, 35.0, 90.0, 130.0, -30.0])
@pytest.mark.parametrize("forward", [0.0, 200.0])
def test_plane_of_elevation_is_the_same_number_on_either_side(side, lateral, plane, forward):
    # Seen from above the right arm points right of where the lifter faces; 90 is straight ahead.
    sign = 1 if side == "right" else -1
    heading = math.radians(forward + lateral + sign * plane)
    arm = np.array([[math.cos(heading), math.sin(heading), -0.5]]) / math.hypot(1, 0.5)
    found = angles.plane_of_elevation(arm, np.radians(forward), side)
    assert math.degrees(found[0]) == pytest.approx(plane, abs=1e-9)


@pytest.mark.parametrize(
    ("elevation", "is_known"), [(19.0, False), (21.0, True), (159.0, True), (161.0, False)]
)
def test_the_plane_of_a_hanging_or_upright_arm_is_unknown(elevation, is_known):
    e = math.radians(elevation)
    found = angles.plane_of_elevation(np.array([[math.sin(e), 0.0, -math.cos(e)]]), np.zeros(1), "right")
    assert np.isfinite(found[0]) == is_known


def test_hand_rotation_is_the_elevation_of_the_thumb():
    pose = turned([0, 1, 0], np.array([-90.0, -30.0]))
    found = np.degrees(angles.hand_rotation(pose.as_quat(scalar_first=True), np.array([1.0, 0, 0])))
    np.testing.assert_allclose(found, [90, 30], atol=1e-9)


@pytest.mark.parametrize("side", ["right", "left"])
@pytest.mark.parametrize("turn", [-80.0, 0.0, 25.0, 60.0])
def test_the_turn_of_the_hand_between_two_instants(side, turn):
    # Hanging with the thumb forward (+x); raised sideways to 85°, then turned about the arm line.
    outward = np.array([0, -1.0, 0]) if side == "right" else np.array([0, 1.0, 0])
    hinge = np.cross([0, 0, -1.0], outward)
    raised = turned(hinge, 85)
    along = raised.apply([0, 0, -1.0])[0]
    before, after = Rotation.identity(1), turned(along, turn) * raised
    found = math.degrees(
        angles.axial_change(
            before.as_quat(scalar_first=True)[0], after.as_quat(scalar_first=True)[0], ARM, side
        )
    )
    thumb = after.apply([1.0, 0, 0])[0]
    # Thumb up is positive on either side: the sign is that of the thumb's height.
    assert abs(found) == pytest.approx(abs(turn), abs=1e-9)
    if turn:
        assert math.copysign(1, found) == math.copysign(1, thumb[2])


def test_drift_is_a_straight_line_through_the_bottoms():
    n = np.arange(1000)
    angle = 0.8 * np.sin(n / 40) ** 2 + 1e-4 * n
    at = np.round(np.pi * 40 * np.arange(1, 7)).astype(int)
    straight = angles.remove_drift(angle, at)
    np.testing.assert_allclose(straight[at], straight[at[0]], atol=2e-3)
    outlier = angle.copy()
    outlier[at[3]] += 0.5
    np.testing.assert_allclose(angles.remove_drift(outlier, at)[at[[0, 1, 5]]], straight[at[0]], atol=3e-3)
    assert angles.remove_drift(angle, at[:2]) is angle
