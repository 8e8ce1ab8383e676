"""From an Allan deviation to the noise terms of an inertial sensor.

Names and slopes as in IEEE Std 952, Annex C (angle random walk N: σ = N/√τ; bias instability B: the flat floor, σ =
√(2 ln 2 / π)·B = 0.664 B; rate random walk K: σ = K·√(τ/3)). N² is the *two-sided* power spectral density. The density
n that datasheets print in °/s/√Hz is one-sided, n = √2·N; some datasheets and programs quietly print N there.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.optimize import nnls

from armarc.recording import FloatArray
from armarc.sensor.bench.allan import Deviation

FLOOR = math.sqrt(2 * math.log(2) / math.pi)
"""σ/B on the flat floor."""
SHORTEST_TAU_S = 0.1
"""Below, a filter inside the sensor makes the samples smoother than white noise."""
SMOOTHED_TAU_S = 0.5
"""… and below this, where it plainly does."""
SMOOTHED = 0.8
SHARED = 3.0
"""Points of one curve within an octave or so share what they know: variances from a fit grow by this."""
LEAST_FREEDOM = 4.0
"""The right-hand end of the curve, known to ± 35 % or worse, is left out."""
SHORTEST_FIT_S = 120.0
"""Below, noise and drift cannot be parted: all of the first second counts as noise."""
SHORTEST_FLOOR_S = 30.0
RISE = 1.15
"""How far the curve must rise again, in standard errors and by itself, before its lowest point counts as a floor."""


@dataclass(frozen=True, slots=True, kw_only=True)
class NoiseTerms:
    """Noise of one axis; angles in rad for a gyroscope, velocities in m/s for an accelerometer.

    Parameters
    ----------
    random_walk : float, rad/√s or m/s/√s
        N: angle (velocity) random walk. N² is the two-sided power spectral density.
    random_walk_se : float
    instability : float or None, rad/s or m/s²
        B: lowest point of the curve over 0.664; None where the recording is too short to say anything.
    instability_tau_s : float or None, s
        Where the lowest point lies.
    floor_seen : bool
        The curve rises again after it. Without that `instability` is an upper bound.
    rate_random_walk : float or None, rad/s/√s or m/s²/√s
        K, where the curve's right-hand end climbs; otherwise None.
    whiteness : float
        Standard deviation of the samples over what white noise of density N would have: below 1 the sensor
        smooths, above 1 it rings, quantises or moved.
    """

    random_walk: float
    random_walk_se: float
    instability: float | None
    instability_tau_s: float | None
    floor_seen: bool
    rate_random_walk: float | None
    whiteness: float

    @property
    def density(self) -> float:
        """One-sided density n = √2·N, per √Hz: what datasheets print."""
        return math.sqrt(2) * self.random_walk


def noise_terms(
    curve: Deviation, axis: int, *, sample_sd: float, rate_hz: float, duration_s: float
) -> NoiseTerms | None:
    """Read the terms off one axis of an overlapping Allan deviation.

    Parameters
    ----------
    curve : Deviation
    axis : int
        Column.
    sample_sd : float
        Standard deviation of the samples about their slow course.
    rate_hz : float, Hz
    duration_s : float, s
        Length of the recording: below 30 s nothing is said about drift.

    Returns
    -------
    NoiseTerms or None
        None when the curve has fewer than three usable points or the axis never changed.
    """
    value = curve.value[:, axis]
    white, white_se, climb, whiteness = 0.0, 0.0, 0.0, 0.0
    tau = sigma = se = np.zeros(0)
    for shortest_s in (SHORTEST_TAU_S, SMOOTHED_TAU_S):
        usable = (curve.degrees_of_freedom >= LEAST_FREEDOM) & (value > 0)
        usable &= curve.tau_s >= min(shortest_s, float(curve.tau_s[-1]) / 10)
        if int(usable.sum()) < 3:
            return None
        tau, sigma, se = curve.tau_s[usable], value[usable], curve.relative_se[usable]
        white, white_se, climb = _fit(tau, sigma, se) if duration_s >= SHORTEST_FIT_S else (0.0, 0.0, 0.0)
        if white <= 0:
            white, white_se = _level(tau, sigma, se)
        whiteness = sample_sd / (white * math.sqrt(rate_hz))
        if whiteness > SMOOTHED:
            break
    instability, at, seen = _floor(tau, sigma, se) if duration_s >= SHORTEST_FLOOR_S else (None, None, False)
    return NoiseTerms(
        random_walk=white,
        random_walk_se=white_se,
        instability=instability,
        instability_tau_s=at,
        floor_seen=seen,
        rate_random_walk=climb if seen and climb > 0 else None,
        whiteness=whiteness,
    )


def _level(tau: FloatArray, sigma: FloatArray, se: FloatArray) -> tuple[float, float]:
    """N and its error from the first second alone: an upper bound where something else than noise is in it."""
    early = tau <= max(1.0, float(tau[2]))
    weight = 1 / se[early] ** 2
    white = math.sqrt(float(((sigma[early] ** 2 * tau[early]) * weight).sum() / weight.sum()))
    # Points of one curve share their samples: together they know hardly more than the best of them.
    return white, white / math.sqrt(float(weight.max()))


def _fit(tau: FloatArray, sigma: FloatArray, se: FloatArray) -> tuple[float, float, float]:
    """N, its error, and K by non-negative least squares of σ² = N²/τ + 0.664²B² + K²τ/3, each point by its own error.

    Quantisation (3Q²/τ²) is left out: beyond a tenth of a second noise has long smoothed the steps.
    """
    square = sigma**2
    weight = 1 / (2 * se * square)
    columns = np.stack([1 / tau, np.full(len(tau), FLOOR**2), tau / 3], axis=1)
    matrix = columns * weight[:, None]
    scale = np.linalg.norm(matrix, axis=0)
    terms, _ = nnls(matrix / scale, square * weight)
    terms = terms / scale
    white = math.sqrt(terms[0])
    if white <= 0:
        return 0.0, 0.0, 0.0
    active = matrix[:, terms > 0]
    known = np.linalg.inv(active.T @ active)[0, 0]
    return white, math.sqrt(SHARED * known) / (2 * white), math.sqrt(terms[2])


def _floor(tau: FloatArray, sigma: FloatArray, se: FloatArray) -> tuple[float | None, float | None, bool]:
    lowest = int(sigma.argmin())
    after = sigma[lowest + 1 :]
    rises = after > np.maximum(RISE, 1 + se[lowest + 1 :]) * sigma[lowest]
    seen = bool(rises.any())
    return float(sigma[lowest]) / FLOOR, float(tau[lowest]), seen
