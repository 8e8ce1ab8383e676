"""Samples at the end of the range."""

from __future__ import annotations

import numpy as np
import pytest
from invented_movement import GRAVITY, HEADER, text_table

from armarc.recording import read_csv
from armarc.recording.clipping import GYROSCOPE_RANGES_RAD_S, clipped_samples


def wave(n: int = 1000, amplitude: float = 6.0) -> np.ndarray:
    t = np.arange(n) / 100.0
    return np.column_stack([amplitude * np.sin(2 * np.pi * 0.7 * t), 0.1 * np.sin(t), 0.2 * np.cos(t)])


def test_flat_extremes_are_found():
    values = np.clip(wave(), -5.0, 4.0)
    expected = (wave()[:, 0] >= 4.0) | (wave()[:, 0] <= -5.0)
    np.testing.assert_array_equal(clipped_samples(values, (), 2.0), expected)


def test_an_unclipped_wave_is_left_alone():
    assert not clipped_samples(wave(), GYROSCOPE_RANGES_RAD_S, 2.0).any()


def test_rest_with_coarse_steps_is_not_clipping():
    rng = np.random.default_rng(0)
    values = np.round(rng.normal(0, 0.01, (5000, 3)), 2)
    assert not clipped_samples(values, GYROSCOPE_RANGES_RAD_S, 2.0).any()


def test_usual_range_reached_twice():
    values = wave()
    full = np.radians(500.0)
    values[[300, 700], 1] = full
    np.testing.assert_array_equal(
        np.flatnonzero(clipped_samples(values, GYROSCOPE_RANGES_RAD_S, 2.0)), [300, 700]
    )


def test_stated_range():
    values = wave()
    flags = clipped_samples(values, (), 2.0, stated_range=5.99)
    np.testing.assert_array_equal(flags, (np.abs(values) >= 5.99 * 0.998).any(axis=1))


def test_reader_flags_and_says(tmp_path):
    # About the vertical, so that gravity does not see how far it turned.
    rng = np.random.default_rng(1)
    t = np.arange(1000) / 100.0
    force = np.column_stack([0 * t, 0 * t, 0 * t + GRAVITY]) + rng.normal(0, 0.03, (1000, 3))
    turning = np.column_stack([0 * t, 0 * t, 400 * np.sin(2 * np.pi * 0.7 * t)]) + rng.normal(
        0, 0.2, (1000, 3)
    )
    limit = 250.0
    assert (np.abs(turning) > limit).any()
    path = tmp_path / "recording.csv"
    path.write_text(text_table([t, *(force.T / GRAVITY), *np.clip(turning, -limit, limit).T], HEADER))
    recording = read_csv(path, units="gyroscope=deg/s")
    np.testing.assert_array_equal(recording.is_clipped, (np.abs(turning) >= limit).any(axis=1))
    assert recording.source.clipped_samples == recording.is_clipped.sum()
    assert any("end of the sensor's range" in warning for warning in recording.warnings)


@pytest.mark.parametrize("n", [0, 1])
def test_nothing_to_flag(n):
    assert len(clipped_samples(np.zeros((n, 3)), (1.0,), 2.0)) == n
