"""Samples at the end of the range."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from invented_movement import GRAVITY, HEADER, text_table

from armarc.recording import Recording, read_csv
from armarc.recording.clipping import GYROSCOPE_RANGES_RAD_S, clipped_samples


def wave(n: int = 1000, amplitude: float = 6.0) -> np.ndarray:
    t = np.arange(n) / 100.0
    return np.column_stack([amplitude * np.sin(2 * np.pi * 0.7 * t), 0.1 * np.sin(t), 0.2 * np.cos(t)])


def test_flat_extremes_are_found():
    values = np.clip(wave(), -5.0, 4.0)
    expected = (wave()[:, 0] >= 4.0) | (wave()[:, 0] <= -5.0)
    np.testing.assert_array_equal(clipped_samples(values, (), 2.0), expected)


def test_a_recording_built_by_hand_is_searched_as_a_file_is():
    turning = np.clip(wave(), -5.0, 4.0)
    plain = {
        "time_s": np.arange(1000) / 100.0,
        "specific_force_m_s2": np.tile([0.0, 0.0, 9.81], (1000, 1)),
        "rate_hz": 100.0,
    }
    made = Recording(angular_velocity_rad_s=turning, **plain)
    np.testing.assert_array_equal(made.is_clipped, (turning[:, 0] == 4.0) | (turning[:, 0] == -5.0))
    (said,) = made.warnings
    assert said.startswith(f"{made.is_clipped.sum()} sample(s) sit at the end")
    assert replace(made, rate_hz=100.0).warnings == made.warnings
    believed = Recording(angular_velocity_rad_s=turning, clipped=np.zeros(1000, bool), **plain)
    assert not believed.is_clipped.any()
    assert not Recording(angular_velocity_rad_s=wave(), **plain).warnings


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


def calibrated(raw: np.ndarray, seed: int) -> np.ndarray:
    """Scaled, sheared and turned by a few per cent, shifted, and written with five decimals."""
    rng = np.random.default_rng(seed)
    matrix = np.eye(3) + rng.normal(0, 0.02, (3, 3))
    return np.round(raw @ matrix.T + rng.normal(0, 0.05, 3), 5)


def turning(seed: int, rate_hz: float = 100.0, noise: float = 0.005) -> np.ndarray:
    """Half a minute of turning about three axes at once, 3 to 10 rad/s."""
    rng = np.random.default_rng(seed)
    t = np.arange(round(30 * rate_hz)) / rate_hz
    values = np.zeros((len(t), 3))
    for axis in range(3):
        for part in (1, 2, 3):
            size, hz, phase = rng.uniform(1, 5) / part, part * rng.uniform(0.3, 0.8), rng.uniform(0, 6)
            values[:, axis] += size * np.sin(2 * np.pi * hz * t + phase)
    return values + rng.normal(0, noise, values.shape)


@pytest.mark.parametrize("seed", range(12))
def test_a_calibrated_sensor_saturates_on_a_face_that_is_not_flat(seed):
    smooth = turning(seed)
    limit = np.quantile(np.abs(smooth).max(axis=1), 0.97)
    true = (np.abs(smooth) >= limit).any(axis=1)
    values = calibrated(np.clip(smooth, -limit, limit), seed)
    flags = clipped_samples(values, GYROSCOPE_RANGES_RAD_S, 2.0)
    assert flags[true].mean() > 0.5
    assert (flags & ~true).sum() <= 2


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize("rate_hz", [25.0, 100.0, 400.0])
@pytest.mark.parametrize("noise", [0.0, 0.005])
def test_what_turns_round_by_itself_is_not_clipped(seed, rate_hz, noise):
    values = turning(seed, rate_hz, noise)
    assert not clipped_samples(values, (), 2.0).any()
    assert not clipped_samples(calibrated(values, seed), (), 2.0).any()


def test_a_coarse_and_fast_sensor_that_turns_round_is_not_clipped():
    """1 kHz in steps of 0.004 rad/s: every smooth top is flat for a few samples."""
    values = np.round(turning(3, 1000.0, 0.0) / 0.004) * 0.004
    top = values[:, 0] == values[:, 0].max()
    assert top.sum() >= 3
    assert not clipped_samples(values, (), 2.0).any()


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
