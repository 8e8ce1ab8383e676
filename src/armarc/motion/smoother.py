"""Maximum a posteriori smoothing of tilt: the whole recording is known, so every sample helps every other.

Unknowns per node: two tilt errors and two horizontal velocities; for the whole recording: the gyroscope's bias (and,
when asked, the lever arm). With ``φx = θy``, ``φy = −θx`` both horizontal directions obey the same equations about a
first correction:

- ``v[k+1] − v[k] = dt (f[k] + f_up[k] φ[k])``: what is left of the specific force accelerates the sensor;
- ``φ[k+1] − φ[k] = −(U[k] b + δ[k])``: the gyroscope, corrected by the bias, says how tilt errors change;
- ``v[k] ≈ 0``: the wrist goes nowhere on average;
- ``b ≈ 0``, and equal to the mean reading wherever the sensor is still.

Weighted least squares gives one pentadiagonal system for both directions and a small Schur complement for the
unknowns of the whole recording (Gauss-Newton on a trajectory, as in Barfoot 2017, "State Estimation for Robotics",
chapter 3).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.linalg import solveh_banded

from armarc.motion import quaternions
from armarc.motion.filters import low_pass
from armarc.motion.strapdown import NodeSummary
from armarc.recording import BoolArray, FloatArray

_DEGREE = np.pi / 180.0
_FIRST_TILT_RAD = 0.5  # prior of the first node's tilt about the first correction: keeps the system regular


@dataclass(frozen=True, slots=True, kw_only=True)
class Priors:
    """What is believed before looking at the recording; densities are per root second.

    Parameters
    ----------
    tilt_walk_rad : float, rad/√s
        Growth of the dead reckoning's error: noise, scale and alignment errors of a consumer gyroscope.
    velocity_m_s : float, m/s·√s
        How far the sensor's horizontal velocity departs from zero.
    still_velocity_m_s : float, m/s·√s
        The same while the sensor is still.
    force_m_s2 : float, m/s²·√s
        White error of the specific force.
    bias_rad_s : float, rad/s
    gap_tilt_walk_rad : float, rad/√s
        Over filled samples, where the gyroscope is a guess.
    gap_force_m_s2 : float, m/s²·√s
        Over filled samples.
    still_angle_rad : float, rad
        How much a still sensor may really have turned between the ends of a still phase.
    lever_m : float, m
        Prior of each axis of a lever arm that is estimated along.
    """

    tilt_walk_rad: float = 0.2 * _DEGREE
    velocity_m_s: float = 0.3
    still_velocity_m_s: float = 0.02
    force_m_s2: float = 0.005
    bias_rad_s: float = 1.0 * _DEGREE
    gap_tilt_walk_rad: float = 60.0 * _DEGREE
    gap_force_m_s2: float = 30.0
    still_angle_rad: float = 0.3 * _DEGREE
    lever_m: float = 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Smoothed:
    """Outcome of the smoother.

    Parameters
    ----------
    correction : ndarray, shape (N, 4)
        Drift frame → global, at node middles.
    bias_rad_s : ndarray, shape (3,), rad/s
    bias_covariance : ndarray, shape (3, 3), rad²/s²
    tilt_se_rad : float, rad
    lever_arm_m : ndarray, shape (3,), m, or None
    lever_covariance_m2 : ndarray, shape (3, 3), m², or None
    """

    correction: FloatArray
    bias_rad_s: FloatArray
    bias_covariance: FloatArray
    tilt_se_rad: float
    lever_arm_m: FloatArray | None = None
    lever_covariance_m2: FloatArray | None = None


def still_nodes(nodes: NodeSummary, window_s: float = 1.0) -> BoolArray:
    """Shape (N,): nodes inside a stretch of at least `window_s` in which the sensor does not move.

    Still means: over the window the angular velocity departs from its mean by less than 1 °/s (r.m.s.) and the
    specific force by less than 0.1 m/s². A steady turn would look alike to the gyroscope; the specific force gives it
    away unless the axis is vertical, so the mean rate must also be a plausible bias: below 4 °/s.
    """
    count = len(nodes.missing)
    width = max(round(window_s / nodes.step_s), 2)
    if count < width:
        return np.zeros(count, bool)

    def mean(x: FloatArray) -> FloatArray:
        total = np.cumsum(np.concatenate([np.zeros((1, *x.shape[1:])), x]), axis=0)
        return np.asarray((total[width:] - total[:-width]) / width)

    rate_mean = mean(nodes.rate_rad_s)
    squares = np.sum(nodes.rate_rad_s**2, axis=1) + nodes.rate_spread_rad_s**2
    rate_variance = mean(squares) - np.sum(rate_mean**2, axis=1)
    force = nodes.sensor_force_m_s2 - nodes.sensor_force_m_s2.mean(axis=0)
    force_variance = np.sum(mean(force**2) - mean(force) ** 2, axis=1)
    calm = (
        (rate_variance < (1.0 * _DEGREE) ** 2)
        & (force_variance < 0.1**2)
        & (np.sum(rate_mean**2, axis=1) < (4.0 * _DEGREE) ** 2)
        & (mean(nodes.missing) == 0)
    )
    edges = np.zeros(count + 1, dtype=np.int64)
    edges[: len(calm)] += calm
    edges[width:] -= calm
    return np.cumsum(edges)[:count] > 0


def first_correction(nodes: NodeSummary, time_constant_s: float = 3.0) -> FloatArray:
    """Shape (N, 4): shortest rotation that takes the low-passed specific force of the drift frame upward."""
    cutoff_hz = np.sqrt(2.0) / (2.0 * np.pi * time_constant_s)
    weighted = nodes.force_m_s2 * (1.0 - nodes.missing)[:, None]
    up = low_pass(weighted, 1.0 / nodes.step_s, float(cutoff_hz))
    return quaternions.between(up, np.array([0.0, 0.0, 1.0]))


def smooth(
    nodes: NodeSummary,
    priors: Priors,
    *,
    lever_arm_m: FloatArray | None = None,
    estimate_lever: bool = False,
    max_rounds: int = 6,
) -> Smoothed:
    """Tilt, bias and, when asked, the lever arm of the whole recording.

    Parameters
    ----------
    nodes : NodeSummary
    priors : Priors
    lever_arm_m : ndarray, shape (3,), m, or None
        Known lever arm, or where its estimate starts; needs ``nodes.lever``.
    estimate_lever : bool
        Put the lever arm among the unknowns.
    max_rounds : int
        Linearisations at most; three do unless the first correction was far off.
    """
    still = still_nodes(nodes)
    correction = first_correction(nodes)
    lever = None if nodes.lever is None else (np.zeros(3) if lever_arm_m is None else lever_arm_m)
    state = Smoothed(
        correction=correction,
        bias_rad_s=np.zeros(3),
        bias_covariance=np.eye(3),
        tilt_se_rad=np.pi,
        lever_arm_m=lever,
    )
    for turn in range(max_rounds):
        previous = state
        state, change = _linearised(nodes, priors, still, state, estimate_lever)
        moved = 0.0
        if state.lever_arm_m is not None and previous.lever_arm_m is not None:
            moved = float(np.abs(state.lever_arm_m - previous.lever_arm_m).max())
        if turn >= 1 and change < 0.3 * _DEGREE and moved < 0.003:
            break
    return replace(state, tilt_se_rad=tilt_standard_error(nodes, priors, still, state))


@dataclass(frozen=True, slots=True, kw_only=True)
class _System:
    """The pentadiagonal normal matrix (lower bands), unknowns ordered v0 φ0 v1 φ1 … vN, and its weights."""

    band: FloatArray
    walk_weight: FloatArray
    force_weight: FloatArray


def _system(nodes: NodeSummary, priors: Priors, still: BoolArray, up: FloatArray) -> _System:
    count, dt = len(nodes.missing), nodes.step_s
    filled = nodes.missing > 0
    walk = np.where(filled, priors.gap_tilt_walk_rad, priors.tilt_walk_rad) ** 2
    walk_weight = 2.0 / ((walk[1:] + walk[:-1]) * dt)
    force_weight = dt / np.where(filled, priors.gap_force_m_s2, priors.force_m_s2) ** 2
    velocity_weight = np.full(count + 1, dt / priors.velocity_m_s**2)
    velocity_weight[:-1][still] = dt / priors.still_velocity_m_s**2
    band = np.zeros((3, 2 * count + 1))
    diagonal, first, second = band
    diagonal[0::2] = velocity_weight
    diagonal[0:-1:2] += force_weight / dt**2
    diagonal[2::2] += force_weight / dt**2
    diagonal[1::2] = force_weight * up**2
    diagonal[1] += 1.0 / _FIRST_TILT_RAD**2
    diagonal[1:-2:2] += walk_weight
    diagonal[3::2] += walk_weight
    first[0:-1:2] = force_weight * up / dt
    first[1:-1:2] = -force_weight * up / dt
    second[0:-1:2] = -force_weight / dt**2
    second[1:-2:2] = -walk_weight
    return _System(band=band, walk_weight=walk_weight, force_weight=force_weight)


def _linearised(
    nodes: NodeSummary, priors: Priors, still: BoolArray, state: Smoothed, estimate_lever: bool
) -> tuple[Smoothed, float]:
    """One Gauss-Newton step about `state`; also the largest change of tilt, rad."""
    count, dt = len(nodes.missing), nodes.step_s
    c = state.correction
    matrix = quaternions.to_matrix(c)
    force = nodes.force_m_s2
    if nodes.lever is not None and state.lever_arm_m is not None:
        force = force - nodes.lever @ state.lever_arm_m
    force = quaternions.rotate(c, force)
    turned = matrix @ nodes.rotation
    turned = (0.5 * dt) * (turned[1:] + turned[:-1])
    step = quaternions.to_rotation_vector(quaternions.multiply(c[1:], quaternions.conjugate(c[:-1])))
    system = _system(nodes, priors, still, force[:, 2])

    # what the equations say without unknowns of the whole recording, and per unit of each of those
    lever = matrix @ nodes.lever if estimate_lever and nodes.lever is not None else None
    unknowns = 3 if lever is None else 6
    force_terms, walk_terms = (force[:, 0], force[:, 1]), (-step[:, 1], step[:, 0])
    walk_slopes = (-turned[:, 1], turned[:, 0])
    right = np.zeros((2 + 2 * unknowns, 2 * count + 1))
    for axis in range(2):
        _add_force(right[axis], system, force[:, 2], dt, force_terms[axis])
        _add_walk(right[axis], system, walk_terms[axis])
        for i in range(3):
            _add_walk(right[2 + axis * unknowns + i], system, walk_slopes[axis][:, i])
            if lever is not None:
                _add_force(right[5 + axis * unknowns + i], system, force[:, 2], dt, -lever[:, axis, i])
    solved = solveh_banded(system.band, right.T, lower=True, check_finite=False).T

    # eliminate the nodes: (GᵀWG + P − RᵀH⁻¹R) g = P m − GᵀWy + RᵀH⁻¹r
    schur, data = np.zeros((unknowns, unknowns)), np.zeros(unknowns)
    for axis in range(2):
        columns = slice(2 + axis * unknowns, 2 + (axis + 1) * unknowns)
        schur -= right[columns] @ solved[columns].T
        data += solved[columns] @ right[axis]
        weighted = system.walk_weight[:, None] * walk_slopes[axis]
        schur[:3, :3] += weighted.T @ walk_slopes[axis]
        data[:3] -= weighted.T @ walk_terms[axis]
        if lever is not None:
            weighted = system.force_weight[:, None] * lever[:, axis]
            schur[3:, 3:] += weighted.T @ lever[:, axis]
            data[3:] += weighted.T @ force_terms[axis]
    precision, mean = _bias_evidence(nodes, priors, still)
    schur[:3, :3] += precision
    data[:3] += mean
    if lever is not None and state.lever_arm_m is not None:
        schur[3:, 3:] += np.eye(3) / priors.lever_m**2
        data[3:] -= state.lever_arm_m / priors.lever_m**2
    covariance = np.linalg.inv(0.5 * (schur + schur.T))
    g = covariance @ data

    phi_x = solved[0, 1::2] + g @ solved[2 : 2 + unknowns, 1::2]
    phi_y = solved[1, 1::2] + g @ solved[2 + unknowns :, 1::2]
    tilt = np.stack([-phi_y, phi_x, np.zeros(count)], axis=1)
    heading = np.zeros((count, 3))
    np.cumsum(-(step[:, 2] + turned[:, 2] @ g[:3]), out=heading[1:, 2])
    turn = quaternions.from_rotation_vector(tilt)
    turn = quaternions.multiply(quaternions.from_rotation_vector(heading), turn)
    out = replace(
        state,
        correction=quaternions.multiply(turn, c),
        bias_rad_s=g[:3],
        bias_covariance=covariance[:3, :3],
        lever_arm_m=state.lever_arm_m if lever is None or state.lever_arm_m is None else state.lever_arm_m + g[3:],
        lever_covariance_m2=covariance[3:, 3:] if lever is not None else None,
    )
    return out, float(np.max(np.abs(tilt)))


def _add_force(row: FloatArray, system: _System, up: FloatArray, dt: float, term: FloatArray) -> None:
    """Right side of ``(v⁺ − v)/dt − up φ = term``."""
    weighted = system.force_weight * term
    row[1::2] -= weighted * up
    weighted /= dt
    row[2::2] += weighted
    row[0:-1:2] -= weighted


def _add_walk(row: FloatArray, system: _System, term: FloatArray) -> None:
    """Right side of ``φ⁺ − φ = term``."""
    weighted = system.walk_weight * term
    row[3::2] += weighted
    row[1:-2:2] -= weighted


def _bias_evidence(nodes: NodeSummary, priors: Priors, still: BoolArray) -> tuple[FloatArray, FloatArray]:
    """Information matrix and vector of the bias from its prior and the still phases."""
    weight, total = 1.0 / priors.bias_rad_s**2, np.zeros(3)
    edges = np.flatnonzero(np.diff(np.concatenate([[False], still, [False]]).astype(np.int8)))
    for begin, end in zip(edges[0::2], edges[1::2], strict=True):
        se = np.sqrt(2.0) * priors.still_angle_rad / ((end - begin) * nodes.step_s)
        weight += 1.0 / se**2
        total += nodes.rate_rad_s[begin:end].mean(axis=0) / se**2
    return weight * np.eye(3), total


def tilt_standard_error(nodes: NodeSummary, priors: Priors, still: BoolArray, state: Smoothed) -> float:
    """Root mean square over time of the formal standard error of the inclination, rad.

    From the inverse of the normal matrix at some twenty nodes of at most 2000 in the middle of the recording, and
    the two directions together; the bias counts as known.
    """
    count = len(nodes.missing)
    middle = slice(max((count - 2000) // 2, 0), max((count - 2000) // 2, 0) + 2000)
    force = quaternions.rotate(state.correction[middle], nodes.force_m_s2[middle])
    part = replace(nodes, missing=nodes.missing[middle])
    band = _system(part, priors, still[middle], force[:, 2]).band
    chosen = np.unique(np.linspace(0, len(force) - 1, 20).round().astype(int))
    unit = np.zeros((band.shape[1], len(chosen)))
    unit[2 * chosen + 1, np.arange(len(chosen))] = 1.0
    inverse = solveh_banded(band, unit, lower=True, check_finite=False)
    variance = inverse[2 * chosen + 1, np.arange(len(chosen))]
    return float(np.sqrt(2.0 * variance.mean()))
