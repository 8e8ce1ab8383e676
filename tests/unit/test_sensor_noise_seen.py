"""The noise of a gyroscope from any recording, and the tolerance that goes with it."""

import math

import numpy as np
import pytest

from armarc.motion.tolerance import UNKNOWN_TOLERANCE, tolerance_by_noise
from armarc.sensor.noise_seen import gyroscope_noise_density

MDPS = math.radians(0.001)


def moving(rate_hz, density_mdps, seconds=30.0, seed=1):
    """A raise every three seconds with rests between, and white noise."""
    t = np.arange(0, seconds, 1 / rate_hz)
    swing = np.radians(120) * np.sin(2 * np.pi * t / 1.5) * (np.mod(t, 3.0) < 1.5)
    rate = np.stack([swing, 0.2 * swing, -0.1 * swing], axis=1)
    sigma = density_mdps * MDPS * math.sqrt(rate_hz / 2)
    return rate + np.random.default_rng(seed).normal(0.0, sigma, rate.shape)


@pytest.mark.parametrize("rate_hz", [50.0, 100.0, 400.0])
@pytest.mark.parametrize("density", [2.8, 7.0, 14.0])
def test_white_noise_is_found_under_the_movement(rate_hz, density):
    found = gyroscope_noise_density(moving(rate_hz, density), rate_hz)
    assert found / MDPS == pytest.approx(density, rel=0.15)


def test_filled_samples_do_not_count_as_quiet():
    rate = moving(100.0, 7.0)
    missing = np.zeros(len(rate), bool)
    missing[500:900] = True
    rate[missing] = 0.0  # without any noise
    assert gyroscope_noise_density(rate, 100.0, missing) / MDPS == pytest.approx(7.0, rel=0.15)
    missing[:] = True
    assert gyroscope_noise_density(rate, 100.0, missing) is None


def test_what_is_too_short_or_never_quiet_tells_nothing():
    assert gyroscope_noise_density(moving(100.0, 7.0, seconds=3.0), 100.0) is None
    t = np.arange(0, 30, 0.02)
    shaking = np.radians(200) * np.stack([np.sin(2 * np.pi * f * t) for f in (5, 6, 7)], axis=1)
    assert gyroscope_noise_density(shaking, 50.0) is None


def test_noisier_sensors_are_trusted_less():
    # Even within ± half-width: the standard error is its √3rd part.
    assert tolerance_by_noise(7 * MDPS).gyroscope == pytest.approx(0.0077 / math.sqrt(3))
    assert tolerance_by_noise(0.5 * MDPS).gyroscope == pytest.approx(0.003 / math.sqrt(3))
    assert tolerance_by_noise(80 * MDPS).gyroscope == pytest.approx(0.03 / math.sqrt(3))
    assert tolerance_by_noise(7 * MDPS).told_by == "noise"
    assert tolerance_by_noise(None) is UNKNOWN_TOLERANCE
    assert tolerance_by_noise(math.nan) is UNKNOWN_TOLERANCE
