"""Which evidence the mounting takes, and what it says about it."""

import math
from dataclasses import replace

import numpy as np
import pytest

from armarc.errors import UsageError
from armarc.motion import LeverArm, Twist, choose_mounting, sensor_axis, thumb_axis
from armarc.motion.lever_arm import OFF_PLANE_M
from armarc.motion.mounting import SCALE_ACROSS, SCALE_IN_PLANE, WITH_ARM_M, ArmEvidence
from armarc.motion.place import UPPER_ARM, WRIST, place_of
from armarc.motion.tolerance import Tolerance

DOWN = np.array([0.0, 0.0, -1.0])


def lever(vector=(0.0, 0.0, -0.58), se_m=0.005, explained=0.95):
    return LeverArm(
        vector_m=np.array(vector),
        covariance_m2=np.eye(3) * se_m**2,
        offset_m_s2=np.zeros(3),
        residual_m_s2=0.1,
        explained=explained,
    )


def twist(axis=(0.0, 0.1, -1.0)):
    axis = np.asarray(axis) / np.linalg.norm(axis)
    return Twist(arm_axis=axis, uncertainty_rad=math.radians(1), first_sample=0, stop_sample=100)


def choose(*, lever=None, twist=None, hanging=None, **stated):
    return choose_mounting(ArmEvidence(lever=lever, twist=twist, hanging=hanging), **stated)


def test_the_best_evidence_is_taken_first():
    evidence = {"lever": lever(), "twist": twist(), "hanging": DOWN}
    # The forearm's axis is not the line from the shoulder to the wrist where the elbow is bent.
    assert choose(**evidence)[0].method == "lever_arm"
    without, _ = choose(**evidence | {"lever": None})
    assert without.method == "twist"
    assert math.degrees(without.uncertainty_rad) == pytest.approx(5.1, abs=0.1)
    mounting, notes = choose(hanging=DOWN)
    assert mounting.method == "hanging"
    assert "hanging pose" in notes[0]
    assert math.degrees(mounting.uncertainty_rad) == pytest.approx(8)
    mounting, notes = choose()
    assert mounting.method == "stated"
    assert "x axis was assumed" in notes[0]
    assert choose(hand_axis="-y")[1] == ()


@pytest.mark.parametrize("method", ["twist", "lever_arm", "hanging", "stated"])
def test_a_named_method_is_used(method):
    evidence = {"lever": lever(), "twist": twist(), "hanging": DOWN, "hand_axis": "-z"}
    assert choose(method=method, **evidence)[0].method == method


@pytest.mark.parametrize(
    ("method", "advice"),
    [("twist", "palm in"), ("lever_arm", "hanging"), ("stated", "--hand-axis"), ("magic", "auto, twist")],
)
def test_a_method_without_evidence_says_what_to_do(method, advice):
    with pytest.raises(UsageError, match=advice):
        choose(method=method)


@pytest.mark.parametrize(
    ("bad", "says"),
    [
        (lever((0, 0, -0.08)), "8 cm"),
        (lever((0, 0, -0.2), explained=0.7), "20 cm"),
        (lever((0, 0, -1.4)), "140 cm"),
        (lever(se_m=0.08), "steady shoulder"),
        (lever(explained=0.2), "steady shoulder"),
    ],
)
def test_an_unsound_lever_arm_is_left_out_with_a_reason(bad, says):
    mounting, notes = choose(lever=bad, hanging=DOWN)
    assert mounting.method == "hanging"
    assert any(says in note for note in notes)
    assert mounting.lever_arm_m is None
    assert choose(lever=bad, hanging=DOWN, method="lever_arm")[0].method == "lever_arm"


@pytest.mark.parametrize("explained", [0.4, 0.7, 0.9])
def test_a_lever_arm_stands_against_a_pose_that_does_not_hang(explained):
    # A watch held before the face, a press: what was at rest was not hanging.
    found, _ = choose(lever=lever((0.58, 0, 0), explained=explained), hanging=DOWN)
    assert found.method == "lever_arm"
    assert found.arm_axis[0] == pytest.approx(1.0)


def test_a_refused_lever_arm_is_not_taken_back_where_nothing_hangs():
    found, notes = choose(lever=lever((0, 0, -1.4)), hanging=None)
    assert found.method == "stated"
    assert found.lever_arm_m is None
    assert any("140 cm" in note for note in notes)
    assert any("x axis was assumed" in note for note in notes)


def test_a_short_reach_that_explains_the_movement_is_an_upper_arm():
    found, notes = choose(lever=lever((0, 0, -0.2), explained=0.95), hanging=DOWN)
    assert found.method == "lever_arm"
    assert any("worn on the upper arm" in note for note in notes)
    assert any("z axis pointing away from the skin" in note for note in notes)
    # It is the very reach of an exercise that wants the sensor there, and nothing to talk about for one at the elbow.
    for place, coordinate in (("upper arm", "elevation"), ("wrist", "horizontal")):
        _, notes = choose(lever=lever((0, 0, -0.2)), place=place_of(place, coordinate))
        assert not any("worn on" in note or "not an arm's" in note for note in notes)


def test_a_long_reach_that_explains_the_movement_is_no_upper_arm():
    """A raise with the sensor on the wrist, called a press."""
    held_up = -DOWN  # what was at rest did not hang
    found, notes = choose(lever=lever((0, 0, -0.5), explained=0.95), hanging=held_up, place=UPPER_ARM)
    assert found.method == "lever_arm"
    np.testing.assert_allclose(found.arm_axis, DOWN, atol=1e-9)
    assert any("50 cm away: taken as worn on the wrist" in note for note in notes)
    found, notes = choose(lever=lever((0, 0, -0.5), explained=0.7), hanging=DOWN, place=UPPER_ARM)
    assert found.method == "hanging"
    assert any("50 cm" in note for note in notes)


@pytest.mark.parametrize("apart_deg", [5, 25, 80, 170])
def test_a_hanging_pose_is_as_uncertain_as_a_movement_contradicts_it(apart_deg):
    apart = math.radians(apart_deg)
    vector = 0.2 * np.array([math.sin(apart), 0.0, -math.cos(apart)])
    found, notes = choose(lever=lever(vector, explained=0.7), hanging=DOWN)
    assert found.method == "hanging"
    along_x = math.sqrt(found.axis_covariance_rad2[0, 0])
    across = math.sqrt(found.axis_covariance_rad2[1, 1])
    if apart_deg <= 16:
        assert math.degrees(along_x) == pytest.approx(8)
        assert any("7–11° with a weight" in note for note in notes)
    else:
        assert math.degrees(along_x) == pytest.approx(math.hypot(8, apart_deg))
        assert any(f"off by {apart_deg}° if the movement is right" in note for note in notes)
    assert math.degrees(across) == pytest.approx(8)


def test_a_flat_sensor_above_the_elbow_has_its_height_taken_out():
    raised = lever((UPPER_ARM.height_m, 0.0, -0.25))
    turned = np.array([[0.0, 0, 1], [0, 1, 0], [-1, 0, 0]])  # its z axis points along the offset
    seen = LeverArm(
        vector_m=turned.T @ raised.vector_m,
        covariance_m2=raised.covariance_m2,
        offset_m_s2=np.zeros(3),
        residual_m_s2=0.1,
        explained=0.95,
    )
    found, _ = choose(lever=seen, place=UPPER_ARM)
    np.testing.assert_allclose(turned @ found.arm_axis, DOWN, atol=0.03)


def test_the_lever_arm_gives_the_reach_and_the_stated_reach_replaces_it():
    assert choose(lever=lever())[0].reach_m == pytest.approx(0.58)
    mounting, _ = choose(lever=lever(), reach_m=0.5)
    assert mounting.reach_m == pytest.approx(0.5)
    np.testing.assert_allclose(mounting.lever_arm_m, [0, 0, -0.5])
    mounting, _ = choose(hanging=DOWN, reach_m=0.5)
    np.testing.assert_allclose(mounting.lever_arm_m, [0, 0, -0.5])


def test_the_height_of_the_sensor_is_taken_out_where_the_strap_was_stated():
    # 3 cm above the bone at 60 cm of reach: the lever arm is 2.86° off the bone.
    raised = lever((0.0, 0.03, -0.60))
    straight, _ = choose(lever=raised, outward=np.array([0, 1.0, 0]), sensor_height_m=0.03)
    np.testing.assert_allclose(straight.arm_axis, DOWN, atol=2e-3)
    unknown, _ = choose(lever=raised)
    assert math.degrees(math.acos(-unknown.arm_axis[2])) == pytest.approx(2.862, abs=0.01)
    # Not knowing the side costs 15 mm of spread, and knowing only the side 8 mm.
    guessed, _ = choose(lever=raised, outward=np.array([0, 1.0, 0]))
    assert straight.uncertainty_rad < guessed.uncertainty_rad < unknown.uncertainty_rad


def test_uncertainty_is_made_of_its_parts():
    # The arm hangs along −z and is raised about x; the sensor sits 2 cm outside on y, said to a few millimetres.
    perfect = Tolerance(gyroscope=0.0, accelerometer=0.0)
    fitted = replace(lever(se_m=0.0058), across=np.array([1.0, 0, 0]))
    stated = {"outward": np.array([0, 1.0, 0]), "sensor_height_m": 0.0}
    mounting, _ = choose(lever=fitted, **stated, tolerance=perfect)
    covariance = mounting.axis_covariance_rad2
    np.testing.assert_allclose(covariance @ mounting.arm_axis, 0, atol=1e-12)
    fit = 0.0058 / 0.58
    in_plane, across = math.sqrt(covariance[1, 1]), math.sqrt(covariance[0, 0])
    assert in_plane == pytest.approx(math.hypot(fit, 0.003 / 0.58, WITH_ARM_M / 0.58), rel=1e-6)
    assert across == pytest.approx(math.hypot(fit, OFF_PLANE_M / 0.58), rel=1e-6)
    assert mounting.uncertainty_rad == pytest.approx(math.hypot(in_plane, across) / math.sqrt(2), rel=1e-6)

    # Nothing stated: the height may lie anywhere around the arm.
    unknown, _ = choose(lever=fitted, tolerance=perfect)
    assert math.sqrt(unknown.axis_covariance_rad2[1, 1]) == pytest.approx(
        math.hypot(fit, WRIST.unknown_height_m / 0.58, WITH_ARM_M / 0.58), rel=1e-6
    )

    # A sensor of 1 % makes both directions less certain, most of all the one the movement does not show.
    poor, _ = choose(lever=fitted, **stated, tolerance=Tolerance(gyroscope=0.01, accelerometer=0.01))
    more = np.sqrt(np.diag(poor.axis_covariance_rad2 - covariance)[:2])
    np.testing.assert_allclose(more, [0.01 * SCALE_ACROSS, 0.01 * SCALE_IN_PLANE], rtol=1e-6)


def test_a_twist_points_to_the_hand_even_upside_down():
    mounting, _ = choose(twist=twist((0, 0, 1.0)), lever=lever())
    np.testing.assert_allclose(mounting.arm_axis, DOWN, atol=1e-9)


@pytest.mark.parametrize(
    ("name", "axis"), [("+x", [1, 0, 0]), ("-Y", [0, -1, 0]), (" z ", [0, 0, 1]), ("-z", [0, 0, -1])]
)
def test_names_of_axes(name, axis):
    np.testing.assert_array_equal(sensor_axis(name), axis)


@pytest.mark.parametrize("name", ["", "w", "+-x", "xx", "up"])
def test_other_names_are_refused(name):
    with pytest.raises(UsageError, match="sensor axis"):
        sensor_axis(name)


@pytest.mark.parametrize("side", ["right", "left"])
def test_the_thumb_by_the_place_of_the_strap(side):
    # Hanging with the thumb forward (x forward, y left, z up) a right hand's back faces right (−y).
    back = np.array([0, -1.0, 0]) if side == "right" else np.array([0, 1.0, 0])
    for strap, outward in (
        ("back", back),
        ("inside", -back),
        ("thumb", np.array([1.0, 0, 0])),
        ("little-finger", np.array([-1.0, 0, 0])),
    ):
        tilted = outward + 0.2 * DOWN  # a strap is not quite square to the arm
        np.testing.assert_allclose(thumb_axis(DOWN, tilted, strap, side), [1, 0, 0], atol=1e-12)
    with pytest.raises(UsageError, match="little-finger"):
        thumb_axis(DOWN, back, "elbow", side)
