"""Noise terms of signals whose noise is known."""

from __future__ import annotations

import math

import numpy as np
import pytest

from armarc.errors import UsageError
from armarc.recording import STANDARD_GRAVITY_M_S2
from armarc.sensor.bench.allan import NoiseTerms, deviation, noise_terms
from armarc.sensor.bench.verdict import class_of
from invented_bench import still

RATE_HZ = 100.0


def terms_of(values: np.ndarray, rate_hz: float = RATE_HZ) -> NoiseTerms:
    found = noise_terms(
        deviation(values, rate_hz),
        0,
        sample_sd=float(values.std()),
        rate_hz=rate_hz,
        duration_s=len(values) / rate_hz,
    )
    assert found is not None
    return found


@pytest.mark.parametrize("rate_hz", [50.0, 400.0])
@pytest.mark.parametrize("duration_s", [20.0, 600.0])
def test_white_noise_gives_its_standard_deviation_over_the_root_of_the_rate(
    rate_hz: float, duration_s: float
) -> None:
    sd = 0.02
    values = np.random.default_rng(5).normal(0, sd, round(duration_s * rate_hz))
    found = terms_of(values, rate_hz)
    truth = sd / math.sqrt(rate_hz)
    assert found.random_walk == pytest.approx(truth, abs=3 * found.random_walk_se)
    assert found.random_walk_se < 0.1 * truth
    assert found.density == pytest.approx(math.sqrt(2) * found.random_walk)
    assert found.whiteness == pytest.approx(1.0, abs=0.1)
    assert not found.floor_seen


@pytest.mark.parametrize("duration_s", [60.0, 300.0])
def test_the_standard_error_of_the_random_walk_is_honest(duration_s: float) -> None:
    rng = np.random.default_rng(3)
    truth = 1 / math.sqrt(RATE_HZ)
    found = [terms_of(rng.normal(0, 1, round(duration_s * RATE_HZ))) for _ in range(40)]
    off = [(terms.random_walk - truth) / terms.random_walk_se for terms in found]
    assert 0.6 < float(np.sqrt(np.mean(np.square(off)))) < 1.5


def test_random_walk_of_the_rate() -> None:
    walk = 2e-4
    rng = np.random.default_rng(8)
    n = 180_000
    values = rng.normal(0, 1e-3, n) + np.cumsum(rng.normal(0, walk / math.sqrt(RATE_HZ), n))
    found = terms_of(values)
    assert found.floor_seen
    assert found.rate_random_walk == pytest.approx(walk, rel=0.2)
    # N²/τ + K²τ/3 is lowest at τ = √3·N/K, where it is 2·N·K/√3.
    white = 1e-3 / math.sqrt(RATE_HZ)
    lowest = math.sqrt(2 * white * walk / math.sqrt(3))
    assert found.instability == pytest.approx(lowest / 0.664, rel=0.15)


def test_a_short_record_says_nothing_about_drift() -> None:
    found = terms_of(np.random.default_rng(1).normal(0, 1, 800))
    assert found.instability is None
    assert found.rate_random_walk is None


def test_smoothed_samples_are_told() -> None:
    white = np.random.default_rng(2).normal(0, 1, 60_000)
    smooth = np.convolve(white, np.full(5, 0.2), mode="same")
    found = terms_of(smooth)
    assert found.whiteness < 0.6
    assert found.random_walk == pytest.approx(1 / math.sqrt(RATE_HZ), rel=0.05)


def test_a_dead_axis_has_no_terms() -> None:
    curve = deviation(np.zeros(1000), RATE_HZ)
    assert noise_terms(curve, 0, sample_sd=0.0, rate_hz=RATE_HZ, duration_s=10.0) is None


def test_columns_are_kept_apart() -> None:
    values = np.random.default_rng(4).normal(0, [1.0, 2.0, 3.0], (5000, 3))
    together = deviation(values, RATE_HZ, [1, 7, 50])
    for k in range(3):
        assert together.value[:, k] == pytest.approx(deviation(values[:, k], RATE_HZ, [1, 7, 50]).value[:, 0])


def test_what_makes_no_sense_is_refused() -> None:
    with pytest.raises(UsageError, match="no statistic"):
        deviation(np.zeros(10), 1.0, statistic="parabolic")
    with pytest.raises(UsageError, match="finite"):
        deviation([1.0, math.nan, 2.0], 1.0)
    with pytest.raises(UsageError, match="rate"):
        deviation(np.zeros(10), 0.0)


def test_classes_follow_datasheets() -> None:
    # 2.8 mdps/√Hz: ICM-42688 and LSM6DSV datasheets; 7: BMI270 (DS000-07); 14: BMG160.
    assert class_of(math.radians(0.0028), "gyroscope") == "a low-noise part"
    assert class_of(math.radians(0.007), "gyroscope") == "a usual wearable part"
    assert class_of(math.radians(0.014), "gyroscope") == "an older or cheap part"
    assert "noisier" in class_of(math.radians(0.1), "gyroscope")
    assert class_of(160e-6 * STANDARD_GRAVITY_M_S2, "accelerometer") == "a usual wearable part"


def test_the_invented_bench_is_a_usual_part() -> None:
    values = still(60.0).angular_velocity_rad_s[:, 0]
    assert 1000 * math.degrees(terms_of(values).density) == pytest.approx(7.07, rel=0.05)
