"""Standard errors against turning the mounting for real."""

import math
from dataclasses import replace

import numpy as np
import pytest
from invented_motion import motion_of
from invented_reps import raises

from armarc.motion import elevation, up_in_sensor
from armarc.reps.uncertainty import SCALE_LEFT, SHORT_TERM_RAD, angle_errors
from armarc.sensor.uncalibrated import UNCALIBRATED_SCALE_SE

DEG = math.degrees


def covariance_along(direction, se_deg):
    return np.outer(direction, direction) * math.radians(se_deg) ** 2


def test_an_axis_off_in_the_plane_of_the_raise_shifts_the_top_and_spares_the_range():
    motion = motion_of(raises(), tilt_rad=0.0)
    mounting = replace(motion.mounting, axis_covariance_rad2=covariance_along([1.0, 0, 0], 2.0))
    errors = angle_errors(replace(motion, mounting=mounting), scale=0.0)
    assert DEG(errors.of_angle(320)) == pytest.approx(2.0, abs=1e-6)
    assert DEG(errors.of_range(320, 100.0)) == pytest.approx(0.0, abs=1e-6)


def test_an_axis_off_across_the_plane_lets_the_arm_pass_beside_the_vertical():
    # At the bottom of 10° an axis 5° off sideways reads acos(cos 10° cos 5°) = 11.17°, at the top nearly nothing.
    motion = motion_of(raises(), tilt_rad=0.0)
    mounting = replace(motion.mounting, axis_covariance_rad2=covariance_along([0.0, 1.0, 0], 5.0))
    errors = angle_errors(replace(motion, mounting=mounting), scale=0.0)
    expected = DEG(math.acos(math.cos(math.radians(10)) * math.cos(math.radians(5)))) - 10
    assert DEG(errors.of_angle(0)) == pytest.approx(expected, abs=1e-6)
    assert DEG(errors.of_range(320, 0.0)) == pytest.approx(expected, abs=0.01)


def test_the_uncertainty_of_an_axis_all_round_is_the_root_sum_of_both_ways():
    motion = motion_of(raises(bottom_deg=40), uncertainty_rad=math.radians(2), tilt_rad=math.radians(0.5))
    top = angle_errors(motion).of_angle(320)
    assert DEG(top) == pytest.approx(math.hypot(2.0, 0.5), abs=0.02)


def test_scale_and_tilt_alone():
    motion = replace(motion_of(raises(), tilt_rad=math.radians(0.4)), coordinate="movement")
    errors = angle_errors(motion)
    assert errors.turned == ()
    assert errors.of_angle(320) == pytest.approx(math.radians(0.4))
    moved = math.radians(80)
    assert errors.of_range(320, 100.0) == pytest.approx(
        math.hypot(math.radians(0.4), SCALE_LEFT * UNCALIBRATED_SCALE_SE * moved), rel=1e-6
    )
    speed, gate = math.radians(50), (180.0, 200.0)
    width = motion.angle_rad[200] - motion.angle_rad[180]
    assert errors.of_speed(speed, gate, 100.0) == pytest.approx(
        speed * math.hypot(math.sqrt(2) * SHORT_TERM_RAD / width, SCALE_LEFT * UNCALIBRATED_SCALE_SE),
        rel=1e-6,
    )


@pytest.mark.parametrize(("up_s", "hang_deg"), [(1.5, 10), (0.8, 10), (1.5, 3), (2.5, 20)])
@pytest.mark.parametrize("toward", [(0.0, 1.0, 0.0), (0.6, 0.8, 0.0)])
def test_the_error_of_a_start_velocity_is_what_turning_the_axis_does_to_it(up_s, hang_deg, toward):
    # Turn the axis by one standard error and pass the gate again.
    se = math.radians(4)
    motion = motion_of(raises(bottom_deg=hang_deg, up_s=up_s, rate_hz=400.0), tilt_rad=0.0)
    axis = math.sin(se) * np.asarray(toward) + math.cos(se) * motion.mounting.arm_axis
    turned = elevation(up_in_sensor(motion.quaternion), axis)
    begin, stop = 400, 400 + round(400 * up_s)

    def passage(angle):
        rise = angle[begin:stop] - angle[0]
        times = [np.interp(math.radians(g), rise, np.arange(begin, stop)) for g in (10, 20)]
        return tuple(times), math.radians(10) * 400 / (times[1] - times[0])

    gate, speed = passage(motion.angle_rad)
    _, other = passage(turned)
    mounting = replace(motion.mounting, axis_covariance_rad2=covariance_along(toward, DEG(se)))
    errors = angle_errors(replace(motion, mounting=mounting), scale=0.0)
    noise = speed * math.sqrt(2) * SHORT_TERM_RAD / math.radians(10)
    found = math.sqrt(max(errors.of_speed(speed, gate, float(begin)) ** 2 - noise**2, 0.0))
    assert found == pytest.approx(abs(other - speed), rel=0.25, abs=math.radians(0.15))


def test_a_gate_of_no_width_is_as_uncertain_as_it_is_fast():
    motion = motion_of(raises())
    assert angle_errors(motion).of_speed(1.3, (320.0, 330.0), 100.0) == 1.3
