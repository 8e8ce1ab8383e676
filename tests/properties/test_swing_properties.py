"""Body swing: what must not change it, and what must change with it."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.ndimage import gaussian_filter1d
from scipy.spatial.transform import Rotation

from armarc.motion import ArmMotion, Mounting, Orientation
from armarc.reps.phases import Instants
from armarc.reps.swing import swings_of_set
from invented_sets import ramp

HZ = 100.0
UP, HOLD, DOWN, REST = 130, 30, 200, 90


def push(tau):
    return np.where((tau > 0) & (tau < 1), 60 * tau * (1 - tau) * (1 - 2 * tau), 0.0)


def a_set(reps=3):
    """Motion and instants of raises from 10° to 90° whose sensor's axes are the arm's."""
    n = REST + reps * (UP + HOLD + DOWN + REST)
    k = np.arange(n)
    begins = [REST + r * (UP + HOLD + DOWN + REST) for r in range(reps)]
    share = sum(ramp((k - b) / UP) - ramp((k - b - UP - HOLD) / DOWN) for b in begins)
    theta = np.radians(10 + 80 * share)
    q = Rotation.from_rotvec(np.outer(-theta, [0, 1, 0])).as_quat(scalar_first=True)
    motion = ArmMotion(
        time_s=k / HZ,
        rate_hz=HZ,
        coordinate="elevation",
        angle_rad=theta,
        angle_rate_rad_s=np.gradient(theta) * HZ,
        elevation_rad=theta,
        quaternion=q,
        angular_velocity_rad_s=np.zeros((n, 3)),
        specific_force_m_s2=np.zeros((n, 3)),
        missing=np.zeros(n, bool),
        clipped=np.zeros(n, bool),
        orientation=Orientation(
            quaternion=q,
            gyroscope_bias_rad_s=np.zeros(3),
            bias_se_rad_s=0.001,
            tilt_se_rad=0.005,
            method="smoother",
        ),
        mounting=Mounting(
            method="lever_arm",
            arm_axis=np.array([0.0, 0.0, -1.0]),
            uncertainty_rad=0.02,
            lever_arm_m=np.array([0.0, 0.0, -0.58]),
        ),
    )
    instants = [
        Instants(
            start=b + 12.0,
            top_start=b + UP - 12.0,
            top_end=b + UP + HOLD + 18.0,
            end=b + UP + HOLD + DOWN - 18.0,
            bottom_rad=math.radians(10),
            bottom_after_rad=math.radians(10),
            top_rad=math.radians(90),
            is_complete=True,
        )
        for b in begins
    ]
    return motion, instants, begins


MOTION, INSTANTS, BEGINS = a_set()
directions = st.tuples(*[st.floats(-1, 1)] * 3).filter(lambda v: math.hypot(*v) > 0.3)
travels = st.floats(0.01, 0.12)
begins = st.integers(-25, 45)


def swung(travel_m, begin, direction):
    """Acceleration of a swing of half a second out and half a second home."""
    k = np.arange(len(MOTION.time_s))
    half = 50
    a = sum(push((k - b - begin) / half) - push((k - b - begin - half) / half) for b in BEGINS)
    unit = np.asarray(direction) / np.linalg.norm(direction)
    return travel_m * np.outer(a, unit) * (HZ / half) ** 2


def travels_of(acceleration, motion=MOTION):
    found = swings_of_set(motion, acceleration, INSTANTS)
    assert all(each.reason is None for each in found)
    return np.array([each.travel_m for each in found])


@settings(deadline=None, max_examples=40)
@given(travels, begins, directions, st.floats(-math.pi, math.pi))
def test_the_way_the_lifter_faces_changes_nothing(travel_m, begin, direction, heading):
    a = swung(travel_m, begin, direction)
    turned = Rotation.from_rotvec([0, 0, heading]).apply(a)
    np.testing.assert_allclose(travels_of(turned), travels_of(a), rtol=1e-6, atol=1e-9)


@settings(deadline=None, max_examples=20)
@given(st.integers(0, 2**31), st.floats(-math.pi, math.pi))
def test_nor_does_it_where_the_body_sways_in_the_pauses(seed, heading):
    rng = np.random.default_rng(seed)
    swaying = gaussian_filter1d(rng.normal(size=(len(MOTION.time_s), 3)), 0.1 * HZ, axis=0)
    a = swung(0.05, 0, (0.0, 0.6, 0.8)) + 0.15 / swaying.std() * swaying
    found, otherwise = (
        swings_of_set(MOTION, Rotation.from_rotvec([0, 0, by]).apply(a), INSTANTS) for by in (0.0, heading)
    )
    for one, other in zip(found, otherwise, strict=True):
        assert (one.travel_m is None) == (other.travel_m is None)
        np.testing.assert_allclose(one.course.path_m[:, 2], other.course.path_m[:, 2], atol=1e-9)


@settings(deadline=None, max_examples=40)
@given(travels, begins, directions, directions, directions)
def test_a_steady_and_an_evenly_growing_error_change_little(travel_m, begin, direction, steady, growing):
    a = swung(travel_m, begin, direction)
    t = MOTION.time_s / MOTION.time_s[-1]
    off = a + 0.3 * np.asarray(steady) + np.outer(t, 0.03 * np.asarray(growing))
    np.testing.assert_allclose(travels_of(off), travels_of(a), atol=0.002)


@settings(deadline=None, max_examples=40)
@given(travels, begins, directions, directions)
def test_an_arc_of_a_wrong_lever_arm_changes_little(travel_m, begin, direction, wrong):
    a = swung(travel_m, begin, direction)
    # 8 mm of lever arm, turning with the arm.
    path = Rotation.from_rotvec(np.outer(-MOTION.elevation_rad, [0, 1, 0])).apply(0.008 * np.asarray(wrong))
    arc = np.gradient(np.gradient(path, 1 / HZ, axis=0), 1 / HZ, axis=0)
    np.testing.assert_allclose(travels_of(a + arc), travels_of(a), atol=0.003)


@settings(deadline=None, max_examples=40)
@given(st.floats(0.01, 0.07), begins, directions)
def test_the_travel_is_the_planned_one_and_grows_with_it(travel_m, begin, direction):
    found = travels_of(swung(travel_m, begin, direction))
    # A swing that begins with the arm or before has made a part of its way when the concentric begins, but comes
    # by its place of rest again.
    assert found == pytest.approx([travel_m] * 3, rel=0.08)
    twice = travels_of(swung(2 * travel_m, begin, direction))
    assert twice == pytest.approx(2 * found, rel=0.02, abs=0.001)


def test_a_clean_rep_does_not_suffer_from_a_swung_one():
    a = swung(0.06, 0, (0.0, 0.6, 0.8))
    a[: BEGINS[1] - 40] = 0.0
    a[BEGINS[2] - 40 :] = 0.0
    first, second, third = swings_of_set(MOTION, a, INSTANTS)
    assert second.travel_m == pytest.approx(0.06, rel=0.08)
    assert first.travel_m < 0.002
    assert third.travel_m < 0.002
    missing = np.zeros(len(a), bool)
    missing[BEGINS[1] + 50] = True
    lost = swings_of_set(replace(MOTION, missing=missing), a, INSTANTS)
    assert [each.travel_m is None for each in lost] == [False, True, False]
