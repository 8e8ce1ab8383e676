"""The lever arm from the set itself: exact recovery without noise, and honest errors with it."""

import math

import numpy as np
import pytest
from invented_hinge import hinge
from scipy.spatial.transform import Rotation

from armarc.motion import fit_lever_arm


def fit(h, weight=None, **options):
    weight = np.ones(len(h.elevation_rad)) if weight is None else weight
    return fit_lever_arm(
        h.quaternion, h.angular_velocity_rad_s, h.specific_force_m_s2, h.rate_hz, weight, **options
    )


def off_deg(found, true):
    cosine = found @ true / np.linalg.norm(found) / np.linalg.norm(true)
    return math.degrees(math.acos(min(1.0, cosine)))


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("lever", [(0.0, 0.0, -0.6), (0.03, 0.0, -0.45), (-0.02, 0.0, -0.7)])
def test_a_hinge_with_a_turning_hand_gives_its_lever_arm_away(seed, lever):
    h = hinge(lever_m=lever, mounting=Rotation.random(rng=seed))
    found = fit(h, hanging=h.hanging)
    assert off_deg(found.vector_m, h.lever_arm_m) < 0.25
    assert found.reach_m == pytest.approx(np.linalg.norm(lever), rel=0.005)
    assert found.explained > 0.999
    assert found.residual_m_s2 < 0.02


def test_the_reach_does_not_depend_on_the_sampling_rate():
    for rate in (50.0, 100.0, 400.0):
        h = hinge(rate_hz=rate)
        # 50 Hz differentiates a 6 Hz band with a little loss.
        assert fit(h, hanging=h.hanging).reach_m == pytest.approx(np.linalg.norm(h.lever_arm_m), rel=0.01)


def test_a_zero_g_offset_is_told_from_the_lever_arm():
    offset = np.array([0.2, -0.15, 0.1])
    # The hand turns faster than the arm is raised: it must not be taken for the raise.
    h = hinge(zero_g_m_s2=offset, hand_turn_rad=0.8)
    found = fit(h, hanging=h.hanging)
    assert off_deg(found.vector_m, h.lever_arm_m) < 0.5
    # Held by its prior along the hinge's axis, where it cannot be told from a tilt.
    across = np.abs(found.offset_m_s2 - offset)
    assert np.sort(across)[1] < 0.06


def test_across_a_pure_hinge_nothing_is_seen_and_the_error_says_so():
    h = hinge(hand_turn_rad=0.0, lever_m=(0.0, 0.02, -0.6))
    found = fit(h, hanging=h.hanging)
    # 2 cm along the hinge's axis: held near 0 by the prior, and one standard error away at most.
    axis = np.linalg.eigh(h.angular_velocity_rad_s.T @ h.angular_velocity_rad_s)[1][:, 2]
    missed = abs(axis @ (found.vector_m - h.lever_arm_m))
    se = math.sqrt(axis @ found.full_covariance_m2 @ axis)
    assert 0.015 < missed < 0.022
    assert 0.018 < se < 0.025
    in_plane = found.vector_m - h.lever_arm_m - axis * (axis @ (found.vector_m - h.lever_arm_m))
    assert np.linalg.norm(in_plane) < 0.003


def swung(t):
    """4 cm up and forward while the arm rises: exact second derivative of a sine."""
    w = 2 * np.pi * 0.8
    a = -0.02 * w**2 * np.sin(w * t) * (np.sin(2 * np.pi * 0.4 * t) > 0)
    return np.stack([0.6 * a, np.zeros_like(a), 0.8 * a], axis=1)


def test_a_swing_of_the_body_at_low_weight_hardly_moves_the_fit():
    h = hinge(shoulder_m=swung)
    rising = np.sin(2 * np.pi * 0.4 * np.arange(len(h.elevation_rad)) / h.rate_hz) > 0
    quiet = fit(h, np.where(rising, 0.1, 1.0), hanging=h.hanging)
    assert off_deg(quiet.vector_m, h.lever_arm_m) < 2.0
    assert quiet.residual_m_s2 > 1.2 * fit(hinge(), hanging=h.hanging).residual_m_s2


def test_the_direction_error_is_that_of_the_covariance():
    h = hinge()
    found = fit(h, hanging=h.hanging)
    spread = found.direction_covariance_rad2
    unit = found.vector_m / found.reach_m
    np.testing.assert_allclose(spread @ unit, 0, atol=1e-12)
    assert found.direction_se_rad == pytest.approx(math.sqrt(np.trace(spread) / 2))


def test_filled_samples_and_their_neighbours_count_for_nothing():
    h = hinge()
    force = h.specific_force_m_s2.copy()
    missing = np.zeros(len(force), bool)
    missing[900:1000] = True
    for axis in range(3):  # a straight line over half a second of movement
        force[missing, axis] = np.linspace(force[899, axis], force[1000, axis], 100)
    force[missing] += 2.0
    spoilt = fit_lever_arm(
        h.quaternion,
        h.angular_velocity_rad_s,
        force,
        h.rate_hz,
        np.ones(len(force)),
        hanging=h.hanging,
        missing=missing,
    )
    assert off_deg(spoilt.vector_m, h.lever_arm_m) < 1.0
    counted = fit_lever_arm(
        h.quaternion, h.angular_velocity_rad_s, force, h.rate_hz, np.ones(len(force)), hanging=h.hanging
    )
    assert spoilt.residual_m_s2 < 0.8 * counted.residual_m_s2


def test_too_little_to_fit_gives_none():
    h = hinge(seconds=3.0)
    assert fit(h, np.zeros(len(h.elevation_rad))) is None
    some = np.zeros(len(h.elevation_rad))
    some[:150] = 1.0  # less than a second
    assert fit(h, some) is None


def test_a_long_session_is_fitted_on_its_busiest_blocks():
    h = hinge(seconds=400.0, rate_hz=50.0)
    found = fit(h, hanging=h.hanging)
    assert off_deg(found.vector_m, h.lever_arm_m) < 0.3


@pytest.mark.parametrize("height_m", [0.03, -0.03, 0.0])
def test_along_the_hinge_the_stated_height_stands_for_what_is_not_seen(height_m):
    # The sensor sits beside the arm, along the axis of the raise (−y in arm axes).
    mounting = Rotation.random(rng=4)
    h = hinge(hand_turn_rad=0.0, lever_m=(0.0, height_m, -0.6), mounting=mounting)
    outward = mounting.apply([0.0, 1.0, 0.0], inverse=True)
    found = fit(h, hanging=h.hanging, height_m=height_m * outward)
    assert off_deg(found.vector_m, h.lever_arm_m) < 0.25
    assert found.direction_se_rad < fit(h, hanging=h.hanging).direction_se_rad


def test_a_stated_height_across_the_hinge_changes_nothing():
    # Toward the front of the raise the movement shows the sensor's place by itself.
    mounting = Rotation.random(rng=4)
    h = hinge(hand_turn_rad=0.0, lever_m=(0.03, 0.0, -0.6), mounting=mounting)
    wrong = -0.05 * mounting.apply([1.0, 0.0, 0.0], inverse=True)
    assert off_deg(fit(h, hanging=h.hanging, height_m=wrong).vector_m, h.lever_arm_m) < 0.3


def test_a_quiet_concentric_counts_more_than_a_swung_one():
    # The zero-g offset is held by the whole set; what a swing does to the fit shows in the direction found.
    h = hinge(shoulder_m=swung)
    rising = np.sin(2 * np.pi * 0.4 * np.arange(len(h.elevation_rad)) / h.rate_hz) > 0
    kept = off_deg(fit(h, np.where(rising, 0.3, 1.0), hanging=h.hanging).vector_m, h.lever_arm_m)
    whole = off_deg(fit(h, np.where(rising, 0.6, 1.0), hanging=h.hanging).vector_m, h.lever_arm_m)
    assert kept < 0.5 * whole  # at 0.6 the swung samples are not doubted


@pytest.mark.parametrize("wobble_hz", [5.0, 7.0, 9.0])
def test_a_strap_that_wobbles_leaves_the_lever_arm_and_is_seen(wobble_hz):
    h = hinge(wobble_rad=math.radians(1.0), wobble_hz=wobble_hz)
    found = fit(h, hanging=h.hanging)
    assert found.bandwidth_hz < wobble_hz
    # Fitted up to 6 Hz the wobble would leave 4 to 26 cm of the 58.
    assert found.reach_m == pytest.approx(np.linalg.norm(h.lever_arm_m), rel=0.15)
    assert off_deg(found.vector_m, h.lever_arm_m) < 2.0
    # 1° of a sine is 0.7° of root mean square; the filter lets most of 5 Hz and nearly all of 9 Hz pass.
    assert 0.4 < math.degrees(found.wobble_rad) < 0.75


def test_a_firm_strap_is_fitted_over_the_whole_band():
    h = hinge()
    found = fit(h, hanging=h.hanging)
    assert found.bandwidth_hz == 6.0
    assert found.wobble_rad == 0.0
