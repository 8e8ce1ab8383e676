"""Even pieces: untouched where the clock is steady, filled and marked over gaps, split at long ones."""

from __future__ import annotations

import numpy as np
import pytest
from invented_movement import movement

from armarc.recording import Recording, uniform_pieces

T, FORCE, TURNING = movement(1500)


def recorded(time_s, force=FORCE, turning=TURNING, rate_hz=100.0, **fields) -> Recording:
    return Recording(
        time_s=time_s, specific_force_m_s2=force, angular_velocity_rad_s=turning, rate_hz=rate_hz, **fields
    )


def picked(rows) -> Recording:
    return recorded(T[rows] - T[rows][0], FORCE[rows], TURNING[rows])


def test_a_steady_recording_is_untouched():
    (piece,) = uniform_pieces(recorded(T))
    np.testing.assert_array_equal(piece.specific_force_m_s2, FORCE)
    np.testing.assert_array_equal(piece.angular_velocity_rad_s, TURNING)
    np.testing.assert_allclose(piece.time_s, T, atol=1e-12)
    assert not piece.missing.any()


def test_gaps_are_filled_marked_and_split():
    rows = np.delete(np.arange(1500), np.r_[300:302, 400:405, 600:700, 900:1200, 1250:1260])
    first, second = uniform_pieces(picked(rows))
    assert (first.start_s, second.start_s) == (pytest.approx(0.0), pytest.approx(12.0))
    # Two lost samples make a stretch of 30 ms and are bridged silently; five make one of 60 ms.
    expected = np.zeros(900, bool)
    expected[400:405] = expected[600:700] = True
    np.testing.assert_array_equal(first.missing, expected)
    np.testing.assert_array_equal(np.flatnonzero(second.missing), np.arange(50, 60))
    kept = ~first.missing
    kept[300:302] = False
    np.testing.assert_array_equal(first.specific_force_m_s2[kept], FORCE[:900][kept])
    line = np.linspace(TURNING[399, 0], TURNING[405, 0], 7)
    np.testing.assert_allclose(first.angular_velocity_rad_s[399:406, 0], line, atol=1e-12)


def test_over_a_long_gap_the_sensor_turns_as_far_as_gravity_says_and_no_further():
    """A sensor that turns by 1 rad/s about its x axis, lost for 2 s: 2 rad in the gap, gravity turning with it."""
    t = np.arange(600) / 100.0
    force = 9.81 * np.column_stack([np.zeros(600), np.sin(t), np.cos(t)])
    turning = np.tile([1.0, 0.0, 0.0], (600, 1))
    # What the last and the first sample read of a shake is not what happened between them.
    turning[[199, 400]] = 5.0
    rows = np.delete(np.arange(600), np.arange(200, 400))
    (piece,) = uniform_pieces(recorded(t[rows], force[rows], turning[rows]), longest_gap_s=10.0)
    np.testing.assert_array_equal(np.flatnonzero(piece.missing), np.arange(200, 400))
    np.testing.assert_allclose(piece.specific_force_m_s2[200:400], force[200:400], atol=1e-9)
    np.testing.assert_allclose(piece.angular_velocity_rad_s[200:400], [[1.0, 0.0, 0.0]] * 200, atol=1e-9)


def test_limits_can_be_set():
    rows = np.delete(np.arange(1500), np.r_[400:405, 600:700])
    assert len(uniform_pieces(picked(rows), longest_gap_s=0.5)) == 2
    (piece,) = uniform_pieces(picked(rows), longest_bridge_s=0.1)
    assert piece.missing.sum() == 100
    (strict,) = uniform_pieces(picked(np.delete(np.arange(1500), [700])), longest_bridge_s=0.0)
    np.testing.assert_array_equal(np.flatnonzero(strict.missing), [700])


def test_short_stretches_are_left_out():
    rows = np.r_[0:500, 800:850, 1100:1500]
    recording = picked(rows)
    assert [len(piece.missing) for piece in uniform_pieces(recording)] == [500, 400]


def test_uneven_stamps_are_interpolated_at_the_even_times():
    rng = np.random.default_rng(5)
    t = np.sort(np.arange(1500) / 100.0 + rng.uniform(-0.003, 0.003, 1500))
    t -= t[0]
    wave = np.column_stack([np.sin(2 * np.pi * f * t) for f in (1.0, 3.0, 5.0)])
    (piece,) = uniform_pieces(recorded(t, wave, wave))
    truth = np.column_stack([np.sin(2 * np.pi * f * piece.time_s) for f in (1.0, 3.0, 5.0)])
    straight = np.column_stack([np.interp(piece.time_s, t, wave[:, axis]) for axis in range(3)])
    inner = slice(2, -2)
    error = np.abs(piece.specific_force_m_s2 - truth)[inner].max(axis=0)
    line_error = np.abs(straight - truth)[inner].max(axis=0)
    # (π f / rate)² / 2 is the straight line's error halfway between even samples: 1.2 % at 5 Hz of 100.
    assert line_error[2] > 0.01
    assert error[2] < 0.1 * line_error[2]
    assert error[0] < 1e-4
    assert not piece.missing.any()


def test_uneven_stamps_with_a_gap():
    rng = np.random.default_rng(5)
    t = np.arange(1500) / 100.0 + rng.uniform(-0.003, 0.003, 1500)
    rows = np.delete(np.arange(1500), np.s_[600:640])
    t = t[rows] - t[0]
    (piece,) = uniform_pieces(recorded(t, FORCE[rows], TURNING[rows]))
    marked = np.flatnonzero(piece.missing)
    assert 38 <= len(marked) <= 41
    assert marked[0] >= 599
    assert marked[-1] <= 640
    assert np.isfinite(piece.specific_force_m_s2).all()


def test_clipping_follows_its_samples():
    clipped = np.zeros(1500, bool)
    clipped[700:703] = True
    rows = np.delete(np.arange(1500), np.s_[300:310])
    recording = recorded(T[rows], FORCE[rows], TURNING[rows], clipped=clipped[rows])
    (piece,) = uniform_pieces(recording)
    np.testing.assert_array_equal(np.flatnonzero(piece.clipped), [700, 701, 702])


def test_rounding_over_many_gaps_does_not_add_up():
    """Each gap of 20.5 periods rounds the same way; the grid must not run away from the clock."""
    t = np.arange(5000) / 100.0
    for start in range(100, 5000, 100):
        t[start:] += 0.205
    force, turning = np.resize(FORCE, (5000, 3)), np.resize(TURNING, (5000, 3))
    (piece,) = uniform_pieces(recorded(t, force, turning))
    assert piece.time_s[-1] == pytest.approx(t[-1], abs=0.011)


@pytest.mark.parametrize("rate", [25.0, 25.000000000000533, 24.9999999999])
def test_the_rounding_of_a_rate_is_no_other_rate(rate):
    t = np.arange(200) * 0.04
    assert [piece.rate_hz for piece in uniform_pieces(recorded(t, FORCE[:200], TURNING[:200], rate))] == [
        25.0
    ]
