"""Ways a sensor may sit on the forearm, by plain anatomy: right arm, x to the right, y forward, z up."""

import math

import numpy as np
import pytest

from armarc.motion.forearm import possible_forearms

DOWN = np.array([0.0, 0, -1])
RIGHT, FORWARD = np.array([1.0, 0, 0]), np.array([0, 1.0, 0])


@pytest.mark.parametrize(
    ("side", "plane_deg", "hinge"),
    [
        # What is turned about an axis moves to its cross product with the arm that hangs.
        ("right", 0.0, -FORWARD),
        ("left", 0.0, FORWARD),
        ("right", 90.0, RIGHT),
        ("left", 90.0, RIGHT),
    ],
)
def test_an_elbow_bends_forward_or_inward(side, plane_deg, hinge):
    raised_to = np.cross(hinge, DOWN)
    outward = RIGHT if side == "right" else -RIGHT
    np.testing.assert_allclose(raised_to, outward if plane_deg == 0 else FORWARD)
    found = possible_forearms(DOWN, hinge, math.radians(plane_deg), side)
    np.testing.assert_allclose(found[0].thumb, FORWARD, atol=1e-12)
    np.testing.assert_allclose(
        found[1].thumb, 0.5 * FORWARD - math.sin(math.radians(60)) * outward, atol=1e-12
    )
    assert not any(each.is_stated for each in found)


def test_the_forearm_lies_along_the_arm_line_or_the_nearest_axis_of_the_sensor():
    arm = np.array([math.sin(math.radians(15)), 0, -math.cos(math.radians(15))])
    hands = {tuple(each.hand) for each in possible_forearms(arm, FORWARD, 0.0, "left")}
    assert hands == {tuple(arm), (0.0, 0.0, -1.0)}
    arm = np.array([math.sin(math.radians(40)), 0, -math.cos(math.radians(40))])
    assert {tuple(each.hand) for each in possible_forearms(arm, FORWARD, 0.0, "left")} == {tuple(arm)}
    said = possible_forearms(arm, FORWARD, 0.0, "left", hand=arm)
    assert all(np.array_equal(each.hand, arm) for each in said)
