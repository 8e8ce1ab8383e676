"""Zero-phase filters and lever kinematics against closed forms and scipy."""

import numpy as np
import pytest
from scipy.signal import butter, filtfilt, sosfiltfilt

from armarc.errors import UsageError
from armarc.motion.filters import STEEP, high_pass, low_pass, low_passes
from armarc.motion.kinematics import angular_acceleration, lever_acceleration

RATE_HZ = 100.0
TIME_S = np.arange(4000) / RATE_HZ
MIDDLE = slice(1000, 3000)


@pytest.mark.parametrize(("frequency_hz", "gain"), [(0.5, 1.0), (6.0, 0.5), (30.0, 0.0)])
def test_gain_of_the_low_pass(frequency_hz, gain):
    """Two passes of a Butterworth filter: half of the amplitude is left at the cutoff, without delay."""
    wave = np.sin(2 * np.pi * frequency_hz * TIME_S)
    np.testing.assert_allclose(low_pass(wave, RATE_HZ, 6.0)[MIDDLE], gain * wave[MIDDLE], atol=0.01)


def test_low_pass_is_scipys_filtfilt_away_from_the_ends():
    noise = np.random.default_rng(0).normal(size=(4000, 2))
    b, a = butter(2, 6.0, fs=RATE_HZ)
    expected = filtfilt(b, a, noise, axis=0)
    np.testing.assert_allclose(low_pass(noise, RATE_HZ, 6.0)[MIDDLE], expected[MIDDLE], atol=1e-9)


@pytest.mark.parametrize("columns", [1, 4])
def test_both_are_scipys_to_rounding(columns):
    """SciPy's signal package as oracle, ends included: the same sections, extension and initial state."""
    walk = np.cumsum(np.random.default_rng(1).normal(size=(3000, columns)), axis=0)
    low, high = (butter(2, f, kind, fs=RATE_HZ, output="sos") for f, kind in ((6.0, "low"), (0.1, "high")))

    def oracle(sections, extension):
        return sosfiltfilt(sections, walk, axis=0, padtype="odd", padlen=extension)

    scale = 1e-9 * np.abs(walk).max()
    np.testing.assert_allclose(low_pass(walk, RATE_HZ, 6.0), oracle(low, 17), atol=scale)
    np.testing.assert_allclose(high_pass(walk, RATE_HZ, 0.1), oracle(high, 300), atol=scale)


@pytest.mark.parametrize("n", [40, 500, 3000])
@pytest.mark.parametrize("order", [2, STEEP])
@pytest.mark.parametrize("every", [1, 2, 3, 4])
def test_several_low_passes_are_scipys_with_ends_that_go_on(n, order, every):
    """SciPy's signal package as oracle, given as much to begin with as there is: ends included, thinned or not."""
    walk = np.cumsum(np.random.default_rng(2).normal(size=(n, 2, 2)), axis=0)
    cutoffs = (3.0, 6.0, 20.0)
    passed = low_passes(walk, RATE_HZ, [(cutoff, order) for cutoff in cutoffs], every)
    for cutoff, found in zip(cutoffs, passed, strict=True):
        sections = butter(order, cutoff, fs=RATE_HZ, output="sos")
        expected = sosfiltfilt(sections, walk, axis=0, padtype="odd", padlen=n - 1)
        # Of 40 samples what lies beyond one reflection has a say, and is guessed otherwise.
        off = 1e-6 if n > 40 else 0.05
        np.testing.assert_allclose(found, expected[::every], atol=off * np.ptp(walk))


def test_several_low_passes_of_what_needs_none():
    noise = np.random.default_rng(3).normal(size=(7, 2))
    for found in low_passes(noise, RATE_HZ, [(0.5 * RATE_HZ, 2), (RATE_HZ, STEEP)]):
        np.testing.assert_array_equal(found, noise)
    line = np.linspace(-3.0, 5.0, 200)
    np.testing.assert_allclose(low_passes(line, RATE_HZ, [(6.0, STEEP)])[0], line, atol=1e-12)
    for n in range(3):
        np.testing.assert_allclose(low_passes(np.ones(n), RATE_HZ, [(0.1, 2)])[0], np.ones(n))
    with pytest.raises(UsageError, match="Hz"):
        low_passes(line, RATE_HZ, [(0.0, 2)])


def test_high_pass():
    slow, fast = np.sin(2 * np.pi * 0.2 * TIME_S), np.sin(2 * np.pi * 5.0 * TIME_S)
    np.testing.assert_allclose(high_pass(slow + fast + 3.0, RATE_HZ, 1.0)[MIDDLE], fast[MIDDLE], atol=0.02)


@pytest.mark.parametrize("n", [0, 1, 2, 3, 5, 8])
@pytest.mark.parametrize("columns", [None, 3])
def test_short_inputs(n, columns):
    x = np.ones(n) if columns is None else np.ones((n, columns))
    for y in (low_pass(x, RATE_HZ, 0.1), low_pass(x, RATE_HZ, 6.0)):
        np.testing.assert_allclose(y, x, atol=1e-9)
    np.testing.assert_allclose(high_pass(x, RATE_HZ, 1.0), 0.0 * x, atol=1e-9)


def test_straight_line_passes_to_its_ends():
    line = np.linspace(-3.0, 5.0, 200)
    np.testing.assert_allclose(low_pass(line, RATE_HZ, 6.0), line, atol=0.01)


def test_cutoff_above_nyquist():
    x = np.random.default_rng(0).normal(size=50)
    y = low_pass(x, 10.0, 6.0)
    np.testing.assert_array_equal(y, x)
    assert y is not x
    with pytest.raises(UsageError, match="leaves nothing"):
        high_pass(x, 10.0, 6.0)


@pytest.mark.parametrize(("rate_hz", "cutoff_hz"), [(0.0, 1.0), (100.0, 0.0), (100.0, np.nan), (-1.0, 1.0)])
def test_senseless_frequencies(rate_hz, cutoff_hz):
    with pytest.raises(UsageError, match="Hz"):
        low_pass(np.ones(10), rate_hz, cutoff_hz)


def test_angular_acceleration_of_a_swing():
    amplitude, pulse = 2.0, 2 * np.pi * 0.8
    omega = np.outer(amplitude * np.sin(pulse * TIME_S), [0.0, 1.0, 0.0])
    expected = np.outer(amplitude * pulse * np.cos(pulse * TIME_S), [0.0, 1.0, 0.0])
    found = angular_acceleration(omega, RATE_HZ)
    np.testing.assert_allclose(found[MIDDLE], expected[MIDDLE], atol=0.01 * amplitude * pulse)
    np.testing.assert_array_equal(angular_acceleration(omega[:1], RATE_HZ), np.zeros((1, 3)))


def test_lever_acceleration_of_a_circle():
    """Steady turning: r ω² toward the centre. Growing rate: r α along the path."""
    omega, alpha = np.array([[0.0, 0.0, 3.0]]), np.zeros((1, 3))
    np.testing.assert_allclose(lever_acceleration(omega, alpha, [0.6, 0, 0.1]), [[-5.4, 0, 0]], atol=1e-12)
    np.testing.assert_allclose(lever_acceleration(alpha, omega, [0.6, 0, 0.1]), [[0.0, 1.8, 0.0]], atol=1e-12)
