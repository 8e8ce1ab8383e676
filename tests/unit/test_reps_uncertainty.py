"""Standard errors against turning the mounting for real, and against what they are made of."""

import math
from dataclasses import replace

import numpy as np
import pytest
from invented_motion import motion_of
from invented_reps import raises

from armarc.motion import elevation, up_in_sensor
from armarc.motion.tolerance import Tolerance
from armarc.reps.uncertainty import (
    ACCELEROMETER_IN_ANGLE,
    ACCELEROMETER_IN_RATE,
    ACCELEROMETER_LEFT,
    GYROSCOPE_IN_ANGLE,
    GYROSCOPE_IN_RATE,
    GYROSCOPE_LEFT,
    RATE_LEFT,
    SHORT_TERM_RAD,
    TILT_IN_RANGE,
    UNTESTED_SHARE,
    angle_errors,
)

DEG = math.degrees
PERFECT = Tolerance(gyroscope=0.0, accelerometer=0.0)
POOR = Tolerance(gyroscope=0.01, accelerometer=0.02)


def covariance_along(direction, se_deg):
    return np.outer(direction, direction) * math.radians(se_deg) ** 2


def errors_of(motion, *, method="hanging", tolerance=PERFECT, **mounting):
    """Of a mounting whose sideways error counts whole, unless it says otherwise."""
    return angle_errors(
        replace(motion, tolerance=tolerance, mounting=replace(motion.mounting, method=method, **mounting))
    )


def test_an_axis_off_in_the_plane_of_the_raise_shifts_the_top_and_spares_the_range():
    errors = errors_of(
        motion_of(raises(), tilt_rad=0.0), axis_covariance_rad2=covariance_along([1.0, 0, 0], 2.0)
    )
    assert DEG(errors.of_angle(320)) == pytest.approx(2.0, abs=1e-6)
    assert DEG(errors.of_range(320, 100.0)) == pytest.approx(0.0, abs=1e-3)  # but for a strap that gives


def test_an_axis_off_across_the_plane_lets_the_arm_pass_beside_the_vertical():
    # At the bottom of 10° an axis x off sideways reads acos(cos 10° cos x), nearly quadratic in x; at the top nearly
    # nothing. The root mean square over a normal x of 5° by brute force:
    off = np.random.default_rng(1).normal(0.0, math.radians(5), 200_000)
    changes = np.arccos(math.cos(math.radians(10)) * np.cos(off)) - math.radians(10)
    expected = math.sqrt(float(np.mean(changes**2)))
    motion = motion_of(raises(), tilt_rad=0.0)
    errors = errors_of(motion, axis_covariance_rad2=covariance_along([0.0, 1.0, 0], 5.0))
    assert errors.of_angle(0) == pytest.approx(expected, rel=0.1)
    assert errors.of_range(320, 0.0) == pytest.approx(expected, rel=0.1)

    # Where the lever arm was fitted to the same accelerometer the vertical goes along with the axis: the linear part.
    fitted = errors_of(motion, method="lever_arm", axis_covariance_rad2=covariance_along([0.0, 1.0, 0], 5.0))
    assert 0 < fitted.beside < 1
    assert fitted.of_range(320, 0.0) == pytest.approx(errors.of_range(320, 0.0), rel=0.02)


def test_the_uncertainty_of_an_axis_all_round_is_the_root_sum_of_both_ways():
    motion = motion_of(raises(bottom_deg=40), uncertainty_rad=math.radians(2), tilt_rad=math.radians(0.5))
    assert DEG(errors_of(motion).of_angle(320)) == pytest.approx(math.hypot(2.0, 0.5), abs=0.02)


def test_scale_and_tilt_alone():
    motion = replace(motion_of(raises(), tilt_rad=math.radians(0.4)), coordinate="movement")
    errors = errors_of(motion, tolerance=POOR)
    up = abs(math.sin(motion.angle_rad[320]))
    assert errors.of_angle(320) == pytest.approx(
        math.hypot(math.radians(0.4), GYROSCOPE_IN_ANGLE * 0.01 * up, ACCELEROMETER_IN_ANGLE * 0.02 * up)
    )
    left = math.hypot(GYROSCOPE_LEFT * 0.01, ACCELEROMETER_LEFT * 0.02, UNTESTED_SHARE)
    assert errors.of_range(320, 100.0) == pytest.approx(
        math.hypot(TILT_IN_RANGE * math.radians(0.4), left * math.radians(80)), rel=1e-6
    )
    speed, gate = math.radians(50), (180.0, 200.0)
    width = motion.angle_rad[200] - motion.angle_rad[180]
    assert errors.of_speed(speed, gate, 100.0) == pytest.approx(
        speed * math.hypot(math.sqrt(2) * SHORT_TERM_RAD / width, left), rel=1e-6
    )
    share = math.hypot(GYROSCOPE_IN_RATE * 0.01, ACCELEROMETER_IN_RATE * 0.02, RATE_LEFT, UNTESTED_SHARE)
    assert errors.of_rate(-speed) == pytest.approx(share * speed)


@pytest.mark.parametrize(("up_s", "hang_deg"), [(1.5, 10), (0.8, 10), (1.5, 3), (2.5, 20)])
@pytest.mark.parametrize("toward", [(0.0, 1.0, 0.0), (0.6, 0.8, 0.0)])
def test_the_error_of_a_start_velocity_is_what_turning_the_axis_does_to_it(
    up_s, hang_deg, toward, monkeypatch
):
    monkeypatch.setattr("armarc.reps.unseen.GIVES_S2", 0.0)  # a strap that gives not at all
    # Turn the axis by 0 and √3 standard errors to either side (weights 2/3, 1/6, 1/6) and pass the gate again.
    se = math.radians(4)
    motion = motion_of(raises(bottom_deg=hang_deg, up_s=up_s, rate_hz=400.0), tilt_rad=0.0)
    begin, stop = 400, 400 + round(400 * up_s)

    def passage(angle):
        rise = angle[begin:stop] - angle[0]
        times = [np.interp(math.radians(g), rise, np.arange(begin, stop)) for g in (10, 20)]
        return tuple(times), math.radians(10) * 400 / (times[1] - times[0])

    gate, speed = passage(motion.angle_rad)
    off = []
    for step in (math.sqrt(3) * se, -math.sqrt(3) * se):
        axis = math.sin(step) * np.asarray(toward) + math.cos(step) * motion.mounting.arm_axis
        off.append(passage(elevation(up_in_sensor(motion.quaternion), axis))[1] - speed)
    errors = errors_of(motion, axis_covariance_rad2=covariance_along(toward, DEG(se)))
    noise = speed * math.sqrt(2) * SHORT_TERM_RAD / math.radians(10)
    found = math.sqrt(max(errors.of_speed(speed, gate, float(begin)) ** 2 - noise**2, 0.0))
    expected = math.sqrt((off[0] ** 2 + off[1] ** 2) / 6)
    assert found == pytest.approx(expected, rel=0.3, abs=math.radians(0.2))


def test_a_gate_of_no_width_is_as_uncertain_as_it_is_fast():
    motion = motion_of(raises())
    assert angle_errors(motion).of_speed(1.3, (320.0, 330.0), 100.0) == 1.3


def test_plane_and_hand_rotation_are_as_uncertain_as_the_thumb():
    motion = motion_of(raises(), uncertainty_rad=0.0, tilt_rad=0.0)
    axis = motion.mounting.arm_axis
    thumb = np.array(
        [0.0, 1.0, 0.0]
    )  # level all the way: turning it shows whole, but for the cosine of the arm's height
    errors = errors_of(motion, thumb_axis=thumb, thumb_se_rad=math.radians(2))
    assert DEG(errors.of_plane(320)) == pytest.approx(2.0, abs=1e-6)
    level = math.sin(motion.angle_rad[320])
    assert DEG(errors.of_hand_rotation(320)) == pytest.approx(2.0 * level, rel=0.01)

    leaning = errors_of(
        replace(motion, mounting=replace(motion.mounting, uncertainty_rad=math.radians(3))),
        thumb_axis=thumb,
        thumb_se_rad=math.radians(2),
    )
    assert DEG(leaning.of_plane(320)) == pytest.approx(math.hypot(2.0, 3.0 / level), rel=1e-6)
    assert float(thumb @ axis) == 0.0
    assert errors_of(motion).of_plane(320) is None
    assert errors_of(motion).of_hand_rotation(320) is None
