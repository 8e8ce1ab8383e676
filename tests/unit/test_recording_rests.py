"""Gravity at rest is as large at every attitude, unless the accelerometer is off."""

import math

import numpy as np
import pytest

from armarc.motion.tolerance import Tolerance, loosened
from armarc.recording.rests import gravity_at_rest
from armarc.recording.types import STANDARD_GRAVITY_M_S2 as G


def held(offset_m_s2=0.0, scale=1.0, rests=12, rate_hz=50.0, bias_rad_s=0.05):
    """Hanging and level in turn, two seconds each, no movement between; x along the arm, z away from it."""
    n = round(2 * rate_hz)
    attitudes = [(1.0, 0.0, 0.0), (0.0, 0.0, 1.0)] * (rests // 2)
    force = np.repeat(np.array(attitudes) * G, n, axis=0)
    force[:, 0] = scale * force[:, 0] + offset_m_s2
    noise = np.random.default_rng(3).normal(0.0, 0.02, force.shape)
    return np.arange(len(force)) / rate_hz, force + noise, np.full(force.shape, bias_rad_s)


def test_a_sensor_that_is_right_shows_gravity_and_nothing_else():
    rests = gravity_at_rest(*held())
    assert rests.least_m_s2 == pytest.approx(G, abs=0.02)
    assert rests.most_m_s2 == pytest.approx(G, abs=0.02)
    assert rests.excess == 0.0
    assert rests.warning() == []


def test_a_scale_that_is_off_shows_as_half_of_it_between_two_attitudes():
    """Hanging reads 1.2 g, level 1.0 g: a half-width of 0.1 less what a body does (0.015, squares)."""
    rests = gravity_at_rest(*held(scale=1.2))
    assert rests.excess == pytest.approx(math.sqrt(0.1**2 - 0.015**2), abs=0.003)
    assert "between 9.8 and 11.8 m/s²" in rests.warning()[0]


def test_an_offset_of_two_metres_per_second_squared_is_damage():
    least = math.hypot(G, 2.0)
    rests = gravity_at_rest(*held(offset_m_s2=2.0))
    assert rests.least_m_s2 == pytest.approx(least, abs=0.05)
    assert rests.warning()


def test_movement_and_filled_samples_are_no_rests():
    time_s, force, rate = held(scale=1.2)
    shaking = rate + np.sin(np.arange(len(rate)))[:, None]
    assert gravity_at_rest(time_s, force, shaking) is None
    assert gravity_at_rest(time_s, force, rate, np.ones(len(rate), bool)) is None
    assert gravity_at_rest(time_s[:60], force[:60], rate[:60]) is None
    assert gravity_at_rest(time_s[:1], force[:1], rate[:1]) is None


def test_only_a_sensor_that_shows_worse_is_trusted_less():
    known = Tolerance(gyroscope=0.001, accelerometer=0.002, told_by="calibration")
    assert loosened(known, 0.001) == known
    worse = loosened(known, 0.2)
    assert (worse.accelerometer, worse.gyroscope, worse.told_by) == (0.2, 0.001, "rests")
