"""Rates of change from samples, against the derivatives they stand for."""

import numpy as np
import pytest

from armarc.motion.kinematics import curvature, rate_of_change


@pytest.mark.parametrize(
    ("rate_hz", "cycles_hz", "rate_lost", "curvature_lost"), [(25, 3, 0.02, 0.005), (50, 3, 0.001, 3e-4)]
)
def test_a_sine_keeps_its_rate_and_its_curvature(rate_hz, cycles_hz, rate_lost, curvature_lost):
    time_s, w = np.arange(100) / rate_hz, 2 * np.pi * cycles_hz
    inner = slice(2, -2)
    rate = rate_of_change(np.sin(w * time_s), rate_hz)[inner]
    bent = curvature(np.sin(w * time_s), rate_hz)[inner]
    assert np.abs(rate - w * np.cos(w * time_s)[inner]).max() < rate_lost * w
    assert np.abs(bent + w**2 * np.sin(w * time_s)[inner]).max() < curvature_lost * w**2
    # Differences of second order lose far more: 9 % and 5 % of 3 Hz at 25 Hz.
    assert np.abs(np.gradient(np.sin(w * time_s), 1 / rate_hz)[inner] - rate).max() > 3 * rate_lost * w


def test_a_parabola_is_exact_to_its_ends():
    time_s = np.arange(8) / 10
    path = np.stack([3 * time_s**2, 1 - time_s], axis=-1)
    np.testing.assert_allclose(curvature(path, 10.0), np.tile([6.0, 0.0], (8, 1)), atol=1e-9)
    np.testing.assert_allclose(rate_of_change(path, 10.0)[1:-1, 0], 6 * time_s[1:-1], atol=1e-9)


@pytest.mark.parametrize("samples", [0, 1, 4])
def test_too_few_samples_have_no_curvature(samples):
    assert not curvature(np.arange(samples, dtype=float), 10.0).any()
    assert len(rate_of_change(np.arange(samples, dtype=float), 10.0)) == samples
