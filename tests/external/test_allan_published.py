"""Deviations against published figures.

Source: W. J. Riley, *Handbook of Frequency Stability Analysis*, NIST Special Publication 1065 (2008), section 12.4
(pages 107–108): the 1000-point set of the generator n' = 16807 n mod 2147483647, and the nine-point set.
"""

from __future__ import annotations

import numpy as np
import pytest

from armarc.sensor.bench.allan import STATISTICS, deviation

THOUSAND = {
    "allan": (2.922319e-01, 9.965736e-02, 3.897804e-02),
    "overlapping": (2.922319e-01, 9.159953e-02, 3.241343e-02),
    "modified": (2.922319e-01, 6.172376e-02, 2.170921e-02),
    "hadamard": (2.943883e-01, 1.052754e-01, 3.910860e-02),
    "overlapping_hadamard": (2.943883e-01, 9.581083e-02, 3.237638e-02),
    "total": (2.922319e-01, 9.134743e-02, 3.406530e-02),
    "time": (1.687202e-01, 3.563623e-01, 1.253382e00),
}
NINE = (892.0, 809.0, 823.0, 798.0, 671.0, 644.0, 883.0, 903.0, 677.0)
NINE_POINTS = {
    ("allan", 1): 91.22945,
    ("allan", 2): 115.8082,
    ("overlapping", 2): 85.95287,
    ("modified", 2): 74.78849,
    ("hadamard", 1): 70.80607,
    ("hadamard", 2): 116.7980,
    ("total", 2): 93.90379,
}


def thousand() -> np.ndarray:
    numbers = [1234567890]
    for _ in range(999):
        numbers.append(16807 * numbers[-1] % 2147483647)
    assert numbers[1:4] == [395529916, 1209410747, 633705974]
    return np.array(numbers) / 2147483647


def test_the_thousand_numbers_are_the_published_ones() -> None:
    assert thousand().mean() == pytest.approx(0.4897745, abs=5e-8)
    assert thousand().std(ddof=1) == pytest.approx(0.2884664, abs=5e-8)


@pytest.mark.parametrize("statistic", STATISTICS)
def test_thousand_points(statistic: str) -> None:
    found = deviation(thousand(), 1.0, [1, 10, 100], statistic=statistic)
    assert found.tau_s.tolist() == [1.0, 10.0, 100.0]
    assert found.value[:, 0] == pytest.approx(THOUSAND[statistic], rel=5e-7)


@pytest.mark.parametrize(("statistic", "factor"), NINE_POINTS)
def test_nine_points(statistic: str, factor: int) -> None:
    found = deviation(NINE, 1.0, [factor], statistic=statistic)
    assert found.value[0, 0] == pytest.approx(NINE_POINTS[statistic, factor], rel=1e-6)
