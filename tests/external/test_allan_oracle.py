"""Deviations against the general-purpose library allantools (2024.06)."""

from __future__ import annotations

import numpy as np
import pytest

from armarc.sensor.bench.allan import deviation

allantools = pytest.importorskip("allantools")

THEIRS = {
    "allan": "adev",
    "overlapping": "oadev",
    "modified": "mdev",
    "hadamard": "hdev",
    "overlapping_hadamard": "ohdev",
    "total": "totdev",
    "time": "tdev",
}
RATE_HZ = 50.0


def series(kind: str) -> np.ndarray:
    white = np.random.default_rng(11).normal(0, 0.3, 4000)
    return {"white": white, "random walk": np.cumsum(white), "ramp": white + 0.01 * np.arange(4000)}[kind]


@pytest.mark.parametrize("kind", ["white", "random walk", "ramp"])
@pytest.mark.parametrize("statistic", THEIRS)
def test_same_numbers(statistic: str, kind: str) -> None:
    values = series(kind)
    ours = deviation(values, RATE_HZ, [1, 2, 5, 16, 80, 400, 1100], statistic=statistic)
    theirs = getattr(allantools, THEIRS[statistic])(values, rate=RATE_HZ, data_type="freq", taus=ours.tau_s)
    common = np.isin(np.round(ours.tau_s * RATE_HZ), np.round(theirs[0] * RATE_HZ))
    assert common.sum() >= 5
    assert ours.value[common, 0] == pytest.approx(theirs[1][: common.sum()], rel=1e-9)


def test_degrees_of_freedom_are_those_of_white_noise() -> None:
    n = 5000
    ours = deviation(np.random.default_rng(0).normal(size=n), 1.0, [1, 4, 32, 256])
    theirs = [allantools.edf_simple(n + 1, int(m), 0) for m in ours.tau_s]
    assert ours.degrees_of_freedom == pytest.approx(theirs, rel=1e-3)
