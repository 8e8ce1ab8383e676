"""The shoulder's movement seen from the wrist."""

import math

import numpy as np
import pytest
from invented_hinge import hinge
from invented_reps import ramp
from scipy.integrate import cumulative_simpson
from scipy.optimize import minimize
from scipy.spatial.transform import Rotation

from armarc.motion import integrate_cycle, path_diameter, shoulder_acceleration, spatial_medians


def test_a_fixed_shoulder_does_not_accelerate():
    h = hinge(rate_hz=400.0)
    found = shoulder_acceleration(
        h.quaternion, h.angular_velocity_rad_s, h.specific_force_m_s2, h.rate_hz, h.lever_arm_m
    )
    # A sampled arm passed through 8 and 12 Hz filters; its wrist accelerates by up to 4 m/s².
    assert np.abs(found[400:-400]).max() < 0.02


def test_a_swinging_shoulder_is_seen_through_the_arm():
    w = 2 * math.pi * 0.9

    def swung(t):
        a = -0.03 * w**2 * np.sin(w * t)
        return np.stack([0.6 * a, 0 * a, 0.8 * a], axis=1)

    h = hinge(rate_hz=400.0, shoulder_m=swung)
    found = shoulder_acceleration(
        h.quaternion, h.angular_velocity_rad_s, h.specific_force_m_s2, h.rate_hz, h.lever_arm_m
    )
    t = np.arange(len(found)) / h.rate_hz
    np.testing.assert_allclose(found[400:-400], swung(t)[400:-400], atol=0.03)


def test_a_wrong_lever_arm_leaves_a_copy_of_the_arms_own_acceleration():
    h = hinge(rate_hz=400.0)
    found = shoulder_acceleration(
        h.quaternion, h.angular_velocity_rad_s, h.specific_force_m_s2, h.rate_hz, 0.95 * h.lever_arm_m
    )
    peak = 0.05 * np.linalg.norm(h.lever_arm_m) * math.radians(40) * (2 * math.pi * 0.4) ** 2
    assert np.abs(found[400:-400]).max() == pytest.approx(peak, rel=0.5)


def move(travel_m, seconds, hz):
    """Acceleration of a minimum-jerk move there and back, and its position."""
    t = np.arange(0, 2 * seconds + 0.5 / hz, 1 / hz)
    tau = (t % seconds) / seconds
    sign = np.where(t < seconds, 1.0, -1.0)
    a = sign * travel_m * (60 * tau - 180 * tau**2 + 120 * tau**3) / seconds**2
    x = travel_m * (ramp(t / seconds) - ramp(t / seconds - 1))
    return np.outer(a, [0.6, 0.0, 0.8]), np.outer(x, [0.6, 0.0, 0.8])


def test_a_cycle_is_the_path_between_two_rests_at_one_place():
    a, x = move(0.05, 0.6, 200.0)
    np.testing.assert_allclose(integrate_cycle(a, 200.0), x, atol=1e-4)
    # Against twice Simpson's rule, of an acceleration that brings its own velocity and place back to nothing.
    t = np.arange(0, 2 + 1e-9, 1e-3)
    closed = np.polynomial.Polynomial([0, 0, 0, 16, -32, 20, -4]).deriv(2)(t) * 0.03
    velocity = cumulative_simpson(closed, x=t, initial=0)
    outside = cumulative_simpson(velocity, x=t, initial=0)
    assert abs(velocity[-1]) < 1e-9
    assert abs(outside[-1]) < 1e-9
    np.testing.assert_allclose(integrate_cycle(closed[:, None], 1000.0)[:, 0], outside, atol=1e-6)


def test_an_error_that_is_constant_or_grows_evenly_leaves_a_cycle_alone():
    a, _ = move(0.03, 0.6, 100.0)
    t = np.linspace(0, 1, len(a))
    off = a + np.array([0.3, -0.2, 0.5]) + np.outer(t, [0.1, 0.4, -0.2])
    # Trapezia miss the double integral of a straight line by a share of 1e-4.
    np.testing.assert_allclose(integrate_cycle(off, 100.0), integrate_cycle(a, 100.0), atol=1e-5)


def test_short_windows():
    assert not integrate_cycle(np.ones((2, 3)), 100.0).any()
    assert path_diameter(np.zeros((1, 3))) == 0.0


def test_travel_is_the_largest_distance_between_two_points():
    # A quarter circle of radius 4 cm: the chord, not the arc.
    angle = np.linspace(0, np.pi / 2, 100)
    around = 0.04 * np.stack([np.cos(angle), np.sin(angle), 0 * angle], axis=1)
    assert path_diameter(around) == pytest.approx(0.04 * math.sqrt(2), rel=1e-3)


@pytest.mark.parametrize("loud", [0, 8, 16])
def test_the_spatial_median_is_the_point_nearest_to_all(loud):
    rng = np.random.default_rng(loud)
    points = rng.normal(0, 0.1, (40 + loud, 3))
    points[40:] += [0.9, 0.5, 0.0]
    # Another group beside it changes nothing.
    found, _ = spatial_medians([points, 5 + points[:7]])
    sought = minimize(lambda m: np.linalg.norm(points - m, axis=1).sum(), points.mean(axis=0), tol=1e-10)
    np.testing.assert_allclose(found, sought.x, atol=0.02)
    turn = Rotation.random(random_state=loud)
    np.testing.assert_allclose(spatial_medians([turn.apply(points)])[0], turn.apply(found), atol=1e-12)


def test_the_spatial_median_of_equal_points_is_that_point():
    np.testing.assert_allclose(spatial_medians([np.tile([1.0, -2.0, 3.0], (5, 1))]), [[1.0, -2.0, 3.0]])
