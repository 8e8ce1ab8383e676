"""The accelerometer fit against SciPy's general least squares and against an algebraic ellipsoid fit."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import least_squares
from scipy.spatial.transform import Rotation
from scipy.stats import t

from armarc.recording import STANDARD_GRAVITY_M_S2
from armarc.sensor.calibration import Rest, fit_accelerometer
from armarc.sensor.calibration.sphere import (
    LEAST_REST_SE_M_S2,
    PRIOR_CROSS,
    PRIOR_OFFSET_M_S2,
    PRIOR_SCALE,
)

OFFSET = np.array([0.25, -0.4, 0.1])
MATRIX = np.array([[1.015, 0.004, -0.002], [0.004, 0.985, 0.003], [-0.002, 0.003, 1.006]])


def rests(count: int, sd_m_s2: float, seed: int) -> tuple[Rest, ...]:
    rng = np.random.default_rng(seed)
    directions = Rotation.random(count, random_state=seed).apply([0.0, 0.0, 1.0])
    readings = STANDARD_GRAVITY_M_S2 * directions @ np.linalg.inv(MATRIX).T + OFFSET
    readings += rng.normal(0, sd_m_s2, readings.shape)
    return tuple(
        Rest(
            file="",
            start_s=0.0,
            end_s=2.0,
            specific_force_m_s2=reading,
            angular_velocity_rad_s=np.zeros(3),
            force_se_m_s2=0.0,
            rate_se_rad_s=0.0,
            window_sd_rad_s=0.0,
        )
        for reading in readings
    )


def symmetric(x: np.ndarray) -> np.ndarray:
    return np.array([[1 + x[3], x[6], x[7]], [x[6], 1 + x[4], x[8]], [x[7], x[8], 1 + x[5]]])


def test_same_minimum_as_scipy() -> None:
    some = rests(18, 0.6 * LEAST_REST_SE_M_S2, 2)
    readings = np.array([rest.specific_force_m_s2 for rest in some])
    prior = np.repeat([PRIOR_OFFSET_M_S2, PRIOR_SCALE, PRIOR_CROSS], 3)

    se = LEAST_REST_SE_M_S2

    def cost(x: np.ndarray) -> np.ndarray:
        norm = np.linalg.norm((readings - x[:3]) @ symmetric(x).T, axis=1)
        return np.concatenate([(norm - STANDARD_GRAVITY_M_S2) / se, x / prior])

    for _ in range(12):  # the errors of the readings are told by what is left over, one supposed beforehand
        theirs = least_squares(cost, np.zeros(9), xtol=1e-14, ftol=1e-14, gtol=1e-14)
        covariance = np.linalg.inv(theirs.jac.T @ theirs.jac)
        slopes = theirs.jac[: len(readings)]
        free = len(readings) - np.trace(slopes @ covariance @ slopes.T)
        squares = float(((theirs.fun[: len(readings)] * se / LEAST_REST_SE_M_S2) ** 2).sum())
        variance = (1 + squares) / (1 + free)
        se = LEAST_REST_SE_M_S2 * np.sqrt(variance) * t.ppf(0.9875, 2 + free) / 2
    ours = fit_accelerometer(some)
    assert ours.offset_m_s2 == pytest.approx(theirs.x[:3], abs=3e-6)
    assert ours.matrix == pytest.approx(symmetric(theirs.x), abs=5e-7)
    assert ours.offset_se_m_s2 == pytest.approx(np.sqrt(np.diag(covariance)[:3]), rel=2e-3)
    assert ours.scale_se == pytest.approx(np.sqrt(np.diag(covariance)[3:6]), rel=2e-3)


def test_same_ellipsoid_as_the_algebraic_fit() -> None:
    """With many poses and hardly any noise the quadric ``xᵀAx + bᵀx = 1``, a linear problem, gives the same."""
    some = rests(200, 1e-5, 3)
    r = np.array([rest.specific_force_m_s2 for rest in some])
    x, y, z = r.T
    columns = np.stack([x * x, y * y, z * z, 2 * x * y, 2 * x * z, 2 * y * z, x, y, z], axis=1)
    p = np.linalg.lstsq(columns, np.ones(len(r)), rcond=None)[0]
    quadric = np.array([[p[0], p[3], p[4]], [p[3], p[1], p[5]], [p[4], p[5], p[2]]])
    centre = -0.5 * np.linalg.solve(quadric, p[6:])
    scaled = quadric / (1 + centre @ quadric @ centre)
    values, vectors = np.linalg.eigh(scaled)
    matrix = STANDARD_GRAVITY_M_S2 * (vectors * np.sqrt(values)) @ vectors.T
    ours = fit_accelerometer(some)
    assert ours.offset_m_s2 == pytest.approx(centre, abs=2e-5)
    assert ours.matrix == pytest.approx(matrix, abs=1e-5)


def test_the_truth_lies_within_the_stated_errors() -> None:
    off = []
    for seed in range(40):
        ours = fit_accelerometer(rests(14, LEAST_REST_SE_M_S2, seed))
        off += [*((ours.offset_m_s2 - OFFSET) / ours.offset_se_m_s2)]
        off += [*((np.diag(ours.matrix) - np.diag(MATRIX)) / ours.scale_se)]
    assert 0.6 < float(np.sqrt(np.mean(np.square(off)))) < 1.3
