"""Maximum a posteriori smoothing of tilt: the whole recording is known, so every sample helps every other.

Unknowns per node: two tilt errors and two horizontal velocities; for the whole recording: the gyroscope's
bias (and, when asked, the lever arm). With ``φx = θy``, ``φy = −θx`` both horizontal directions obey the same
equations about a first correction:

- ``v[k+1] − v[k] = dt (f[k] + f_up[k] φ[k])``: what is left of the specific force accelerates the sensor;
- ``φ[k+1] − φ[k] = −(U[k] b + δ[k])``: the gyroscope, corrected by the bias, says how tilt errors change;
- ``v[k] ≈ 0``: the wrist goes nowhere on average;
- ``b ≈ 0``, and equal to the mean reading wherever the sensor is still.

Weighted least squares gives one pentadiagonal system for both directions and a small Schur complement for the
unknowns of the whole recording (Gauss-Newton on a trajectory, as in Barfoot 2017, "State Estimation for
Robotics", chapter 3).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from armarc.motion import quaternions
from armarc.motion.filters import low_pass
from armarc.motion.strapdown import NodeSummary
from armarc.motion.tilt_system import Lasting, TiltSystem, build, eliminate, tilt_variance
from armarc.recording import BoolArray, FloatArray

_DEGREE = np.pi / 180.0
STILL_SPREAD_RAD_S = 1.0 * _DEGREE
STILL_FORCE_M_S2 = 0.1
STILL_RATE_RAD_S = 4.0 * _DEGREE
"""A sensor is still while its angular velocity and specific force depart by no more than this from their
means over a second (r.m.s., three axes together) and the mean rate is a plausible bias."""

_RAISING_M_S = 0.1  # upward speed of the lever's end
_SE_NODES = 600
_SECTION_NODES, _OVERLAP_NODES = 7_500, 375  # ten minutes, and thirty seconds on either side


@dataclass(frozen=True, slots=True, kw_only=True)
class Priors:
    """What is believed before looking at the recording; densities are per root second.

    Parameters
    ----------
    tilt_walk_rad : float, rad/√s
        Growth of the dead reckoning's error: noise, scale and alignment errors of a consumer gyroscope.
    velocity_m_s : float, m/s·√s
        How far the sensor's horizontal velocity departs from zero.
    raising_velocity_m_s : float, m/s·√s
        The same while a known lever arm is being raised: that is when a body swings.
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
    offset_m_s2 : float, m/s²
        Prior of each axis of the accelerometer's zero-g offset; zero for not estimating one.
    """

    tilt_walk_rad: float = 0.2 * _DEGREE
    velocity_m_s: float = 0.3
    raising_velocity_m_s: float = 0.3
    still_velocity_m_s: float = 0.02
    force_m_s2: float = 0.02
    bias_rad_s: float = 2.0 * _DEGREE
    gap_tilt_walk_rad: float = 60.0 * _DEGREE
    gap_force_m_s2: float = 300.0
    still_angle_rad: float = 0.3 * _DEGREE
    offset_m_s2: float = 0.0


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
    offset_m_s2 : ndarray, shape (3,), m/s²
        Zero-g offset of the accelerometer; zeros when not estimated.
    """

    correction: FloatArray
    bias_rad_s: FloatArray
    bias_covariance: FloatArray
    tilt_se_rad: float
    offset_m_s2: FloatArray


def still_nodes(nodes: NodeSummary, window_s: float = 1.0) -> BoolArray:
    """Shape (N,): nodes inside a stretch of at least `window_s` in which the sensor does not move.

    Still means: over the window the angular velocity departs from its mean by less than 1 °/s (r.m.s.) and
    the specific force by less than 0.1 m/s². A steady turn would look alike to the gyroscope; the specific
    force gives it away unless the axis is vertical, so the mean rate must also be a plausible bias: below 4
    °/s.
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
        (rate_variance < STILL_SPREAD_RAD_S**2)
        & (force_variance < STILL_FORCE_M_S2**2)
        & (np.sum(rate_mean**2, axis=1) < STILL_RATE_RAD_S**2)
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
    max_rounds: int = 6,
    start: FloatArray | None = None,
) -> Smoothed:
    """Tilt and bias of the whole recording.

    Recordings beyond twenty minutes are smoothed in overlapping sections of ten, each with a bias of its own
    (it drifts with temperature), so that memory stays bounded.

    Parameters
    ----------
    nodes : NodeSummary
    priors : Priors
    lever_arm_m : ndarray, shape (3,), m, or None
        Known lever arm; needs ``nodes.lever``.
    max_rounds : int
        Linearisations at most; three do unless the first correction was far off.
    start : ndarray, shape (N, 4), or None
        Correction to begin with; None for that of the low-passed specific force.
    """
    count = len(nodes.missing)
    if count <= 2 * _SECTION_NODES:
        return _smooth_section(nodes, priors, lever_arm_m, max_rounds, start)
    corrections, parts = np.empty((count, 4)), []
    for begin in range(0, count, _SECTION_NODES):
        end = min(begin + _SECTION_NODES, count)
        first, last = max(begin - _OVERLAP_NODES, 0), min(end + _OVERLAP_NODES, count)
        begun = None if start is None else start[first:last]
        part = _smooth_section(nodes.part(slice(first, last)), priors, lever_arm_m, max_rounds, begun)
        own = part.correction[begin - first : end - first]
        if begin > 0:
            # the sections' headings are arbitrary: let the later one go on where the earlier one ended
            own = quaternions.multiply(
                _heading_between(part.correction[begin - first - 1], corrections[begin - 1]), own
            )
        corrections[begin:end] = own
        parts.append(part)
    return _joined(corrections, parts)


def _heading_between(old: FloatArray, new: FloatArray) -> FloatArray:
    """The turn about the vertical axis that is in ``new ⊗ old*``, shape (4,)."""
    turn = quaternions.multiply(new, quaternions.conjugate(old))
    turn[1:3] = 0.0
    return quaternions.normalize(turn) if np.any(turn) else quaternions.IDENTITY


def _joined(correction: FloatArray, parts: list[Smoothed]) -> Smoothed:
    """Sections as one, the bias weighted by its information."""
    information = [np.linalg.inv(part.bias_covariance) for part in parts]
    covariance = np.linalg.inv(np.sum(information, axis=0))
    total = np.sum([weight @ p.bias_rad_s for weight, p in zip(information, parts, strict=True)], axis=0)
    return Smoothed(
        correction=correction,
        bias_rad_s=covariance @ total,
        bias_covariance=covariance,
        tilt_se_rad=float(np.sqrt(np.mean([p.tilt_se_rad**2 for p in parts]))),
        offset_m_s2=np.mean([p.offset_m_s2 for p in parts], axis=0),
    )


def _smooth_section(
    nodes: NodeSummary,
    priors: Priors,
    lever_arm_m: FloatArray | None,
    max_rounds: int,
    start: FloatArray | None,
) -> Smoothed:
    still = still_nodes(nodes)
    correction = first_correction(nodes) if start is None else start
    lever = None if nodes.lever is None else lever_arm_m
    state = Smoothed(
        correction=correction,
        bias_rad_s=np.zeros(3),
        bias_covariance=np.eye(3),
        tilt_se_rad=np.pi,
        offset_m_s2=np.zeros(3),
    )
    for turn in range(max_rounds):
        state, change = _linearised(nodes, priors, still, state, lever)
        if turn >= 1 and change < 0.3 * _DEGREE:
            break
    return replace(state, tilt_se_rad=tilt_standard_error(nodes, priors, still, state))


def _system(
    nodes: NodeSummary, priors: Priors, still: BoolArray, raising: BoolArray, up: FloatArray
) -> TiltSystem:
    filled = nodes.missing > 0
    velocity = np.where(raising, priors.raising_velocity_m_s, priors.velocity_m_s)
    return build(
        walk_variance=np.where(filled, priors.gap_tilt_walk_rad, priors.tilt_walk_rad) ** 2,
        force_variance=np.where(filled, priors.gap_force_m_s2, priors.force_m_s2) ** 2,
        velocity_variance=np.where(still, priors.still_velocity_m_s, velocity) ** 2,
        up=up,
        step_s=nodes.step_s,
    )


def _linearised(
    nodes: NodeSummary, priors: Priors, still: BoolArray, state: Smoothed, lever: FloatArray | None
) -> tuple[Smoothed, float]:
    """One Gauss-Newton step about `state`; also the largest change of tilt, rad."""
    count, dt = len(nodes.missing), nodes.step_s
    c = state.correction
    turned = quaternions.to_matrix(c) @ nodes.rotation
    force = nodes.force_m_s2
    if nodes.lever is not None and lever is not None:
        force = force - nodes.lever @ lever
    force = quaternions.rotate(c, force) - turned @ state.offset_m_s2
    bias_walk = (-0.5 * dt) * (turned[1:] + turned[:-1])
    step = quaternions.to_rotation_vector(quaternions.multiply(c[1:], quaternions.conjugate(c[:-1])))

    precision, information = _bias_evidence(nodes, priors, still, state.bias_rad_s)
    blocks = [Lasting(walk=bias_walk, precision=precision, information=information)]
    if priors.offset_m_s2 > 0:
        precision = np.eye(3) / priors.offset_m_s2**2
        blocks.append(Lasting(force=-turned, precision=precision, information=-precision @ state.offset_m_s2))
    raising = np.zeros(count, bool)
    if lever is not None:
        lift = np.sum(turned[:, 2] * np.cross(nodes.rate_rad_s - state.bias_rad_s, lever), axis=1)
        raising = lift > _RAISING_M_S
    del turned  # the solution needs the room
    system = _system(nodes, priors, still, raising, force[:, 2])
    solution = eliminate(system, blocks, force, -step)
    g, covariance = solution.unknowns, solution.covariance

    heading = np.zeros((count, 3))
    np.cumsum(bias_walk[:, 2] @ g[:3] - step[:, 2], out=heading[1:, 2])
    turn = quaternions.from_rotation_vector(solution.tilt)
    turn = quaternions.multiply(quaternions.from_rotation_vector(heading), turn)
    out = replace(
        state,
        correction=quaternions.multiply(turn, c),
        bias_rad_s=g[:3],
        bias_covariance=covariance[:3, :3],
    )
    if priors.offset_m_s2 > 0:
        out = replace(out, offset_m_s2=state.offset_m_s2 + g[3:6])
    return out, float(np.max(np.abs(solution.tilt)))


def _bias_evidence(
    nodes: NodeSummary, priors: Priors, still: BoolArray, bias_rad_s: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Information matrix and vector of the bias from its prior and the still phases.

    The prior has the tails of Student's t (three degrees of freedom, by reweighting at the last estimate): a
    sensor that is far out of its data sheet is not pulled back to it.
    """
    excess = float(np.sum(bias_rad_s**2)) / priors.bias_rad_s**2
    weight, total = min(1.0, 6.0 / (3.0 + excess)) / priors.bias_rad_s**2, np.zeros(3)
    edges = np.flatnonzero(np.diff(np.concatenate([[False], still, [False]]).astype(np.int8)))
    for begin, end in zip(edges[0::2], edges[1::2], strict=True):
        se = np.sqrt(2.0) * priors.still_angle_rad / ((end - begin) * nodes.step_s)
        weight += 1.0 / se**2
        total += nodes.rate_rad_s[begin:end].mean(axis=0) / se**2
    return weight * np.eye(3), total


def tilt_standard_error(nodes: NodeSummary, priors: Priors, still: BoolArray, state: Smoothed) -> float:
    """Root mean square over time of the formal standard error of the inclination, rad.

    From the inverse of the normal matrix at twelve nodes of at most 600 in the middle of the recording,
    and the two directions together; the bias counts as known.
    """
    count = len(nodes.missing)
    first = max((count - _SE_NODES) // 2, 0)
    middle = slice(first, first + _SE_NODES)
    force = quaternions.rotate(state.correction[middle], nodes.force_m_s2[middle])
    system = _system(nodes.part(middle), priors, still[middle], np.zeros(len(force), bool), force[:, 2])
    chosen = np.unique(np.linspace(0, len(force) - 1, 12).round().astype(int))
    return float(np.sqrt(2.0 * tilt_variance(system, chosen).mean()))
