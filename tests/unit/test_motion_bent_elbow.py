"""A bent elbow takes the wrist off the plane of the raise, where only the sensor's own axis shows it."""

import math
from dataclasses import replace

import numpy as np
import pytest
from invented_hinge import hinge
from scipy.spatial.transform import Rotation

from armarc.motion import fit_lever_arm
from armarc.motion.bent_elbow import (
    HINGE_RAD,
    MOVED_HINGE_RAD,
    STRAP_TILT_RAD,
    UNKNOWN_OFF_PLANE_M,
    off_plane,
)
from armarc.motion.lever_arm import OFF_PLANE_M

SIX = np.concatenate([np.eye(3), -np.eye(3)])
UPPER_M, FOREARM_M = 0.30, 0.25


def fitted(bend_rad, mounting):
    """A pure hinge; the elbow is bent across its plane, the sensor's axes in the forearm are `mounting`."""
    forearm = np.array([0.0, math.sin(bend_rad), -math.cos(bend_rad)])
    lever_m = np.array([0.0, 0.0, -UPPER_M]) + FOREARM_M * forearm
    along = Rotation.align_vectors([forearm, [1.0, 0, 0]], [[0, 0, -1.0], [1.0, 0, 0]])[0]
    h = hinge(hand_turn_rad=0.0, lever_m=lever_m, mounting=along * mounting)
    found = fit_lever_arm(
        h.quaternion,
        h.angular_velocity_rad_s,
        h.specific_force_m_s2,
        h.rate_hz,
        np.ones(len(h.elevation_rad)),
        hanging=h.hanging,
    )
    return found, h.lever_arm_m


@pytest.mark.parametrize("axes", ["", "x", "z"])
@pytest.mark.parametrize("bend_deg", [-25, 15, 25, 35])
def test_a_bent_elbow_is_seen_by_how_the_sensor_lies_along_the_forearm(bend_deg, axes):
    mounting = Rotation.from_euler(axes, math.pi / 2) if axes else Rotation.identity()
    found, true = fitted(math.radians(bend_deg), mounting)
    moved = off_plane(found, SIX)
    assert abs(moved.across @ (found.vector_m - true)) > 0.05
    assert abs(moved.across @ (moved.vector_m - true)) < 1.5 * moved.off_plane_m


def test_little_of_what_a_straps_tilt_explains_is_believed():
    found, _ = fitted(0.0, Rotation.from_euler("y", 0.9 * STRAP_TILT_RAD) * Rotation.from_euler("x", 0.09))
    moved = off_plane(found, SIX)
    away = abs(moved.across @ (moved.vector_m - found.vector_m))
    assert away < 0.3 * found.reach_m * math.sin(0.09)
    assert away < 1.5 * moved.off_plane_m


def test_where_more_than_the_arm_moves_the_strap_is_as_good_a_witness_as_the_hinge():
    found, _ = fitted(0.0, Rotation.from_euler("x", math.radians(3)))
    still, moving = (off_plane(replace(found, explained=share), SIX) for share in (1.0, 0.99))
    for one, plane in ((still, HINGE_RAD), (moving, MOVED_HINGE_RAD)):
        turned = abs(one.across @ (one.vector_m - found.vector_m)) / found.reach_m
        strap = STRAP_TILT_RAD**2 / 3
        # Mean and variance of one of two normal variables given their sum.
        assert math.degrees(turned) == pytest.approx(3 * plane**2 / (plane**2 + strap), abs=0.1)
        assert (one.off_plane_m / one.reach_m) ** 2 == pytest.approx(
            plane**2 * strap / (plane**2 + strap) + (OFF_PLANE_M / one.reach_m) ** 2, rel=1e-2
        )


def test_the_forearm_is_held_against_the_bone_not_the_sensor_above_it():
    found, _ = fitted(0.0, Rotation.identity())
    height_m = 0.03 * found.across
    above = replace(found, vector_m=found.vector_m + height_m)
    np.testing.assert_allclose(
        off_plane(above, SIX, height_m).vector_m - height_m, off_plane(found, SIX).vector_m, atol=1e-4
    )
    assert np.linalg.norm(off_plane(above, SIX).vector_m - above.vector_m) > 1e-3


def test_a_sensor_that_lies_otherwise_shows_no_forearm_and_the_error_says_so():
    found, _ = fitted(math.radians(25), Rotation.from_euler("y", math.radians(40)))
    skew = off_plane(found, SIX)
    np.testing.assert_array_equal(skew.vector_m, found.vector_m)
    assert (
        skew.off_plane_m
        == UNKNOWN_OFF_PLANE_M
        > 2 * off_plane(fitted(0.0, Rotation.identity())[0], SIX).off_plane_m
    )


def test_where_no_axis_is_stated_nothing_is_made_up():
    found, _ = fitted(math.radians(25), Rotation.identity())
    unsure = off_plane(found, None)
    np.testing.assert_array_equal(unsure.vector_m, found.vector_m)
    assert unsure.off_plane_m == UNKNOWN_OFF_PLANE_M


def test_the_forearm_lies_off_the_arm_line_by_what_no_strap_explains():
    found, _ = fitted(math.radians(25), Rotation.identity())
    moved = off_plane(found, SIX)
    # The fit keeps to the plane; the forearm is 25° off it, and a strap's tilt is 6° evenly spread.
    assert math.degrees(moved.forearm_rad) == pytest.approx(math.sqrt(25**2 - 6**2 / 3), abs=2)
    assert off_plane(fitted(0.0, Rotation.identity())[0], SIX).forearm_rad < math.radians(2)
