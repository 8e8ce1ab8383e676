"""The banded normal equations of the tilt smoother and the elimination of what lasts a whole recording."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from armarc.motion.lapack import (
    factor_positive_banded,
    half_solved,
    solve_positive_banded,
    solved_from_half,
)
from armarc.recording import STANDARD_GRAVITY_M_S2, FloatArray

FIRST_TILT_RAD = 0.5
"""Prior of the first node's tilt about the first correction: keeps the system regular."""


@dataclass(frozen=True, slots=True, kw_only=True)
class TiltSystem:
    """Normal matrix in lower bands and the weights it was made of.

    Unknowns of one horizontal direction, in this order: v0 φ0 v1 φ1 … vN. Both directions share the matrix;
    the vertical one has the velocities only.

    Parameters
    ----------
    band : ndarray, shape (3, 2 N + 1)
    vertical_band : ndarray, shape (2, N + 1)
    walk_weight : ndarray, shape (N - 1,)
    force_weight : ndarray, shape (N,)
    up : ndarray, shape (N,), m/s²
        Vertical specific force.
    step_s : float, s
    """

    band: FloatArray
    vertical_band: FloatArray
    walk_weight: FloatArray
    force_weight: FloatArray
    up: FloatArray
    step_s: float


def build(
    *,
    walk_variance: FloatArray,
    force_variance: FloatArray,
    velocity_variance: FloatArray,
    up: FloatArray,
    step_s: float,
) -> TiltSystem:
    """Assemble the normal matrix from variance densities at N nodes (per second of time).

    Parameters
    ----------
    walk_variance : ndarray, shape (N,), rad²/s
    force_variance : ndarray, shape (N,), (m/s²)²·s
    velocity_variance : ndarray, shape (N,), (m/s)²·s
    up : ndarray, shape (N,), m/s²
    step_s : float, s
    """
    walk_weight = 2.0 / ((walk_variance[1:] + walk_variance[:-1]) * step_s)
    force_weight = step_s / force_variance
    band = np.zeros((3, 2 * len(up) + 1))
    diagonal, first, second = band
    diagonal[0:-1:2] = step_s / velocity_variance
    diagonal[-1] = diagonal[-3]
    inertia = force_weight / step_s**2
    diagonal[0:-1:2] += inertia
    diagonal[2::2] += inertia
    second[0:-1:2] = -inertia
    vertical = np.stack([diagonal[0::2], second[0::2]])  # tilts play no part in the vertical direction
    coupling = force_weight * up
    diagonal[1::2] = coupling * up
    diagonal[1] += 1.0 / FIRST_TILT_RAD**2
    diagonal[1:-2:2] += walk_weight
    diagonal[3::2] += walk_weight
    coupling /= step_s
    first[0:-1:2] = coupling
    first[1:-1:2] = -coupling
    second[1:-2:2] = -walk_weight
    return TiltSystem(
        band=band,
        vertical_band=vertical,
        walk_weight=walk_weight,
        force_weight=force_weight,
        up=up,
        step_s=step_s,
    )


def tilt_variance(system: TiltSystem, chosen: FloatArray) -> FloatArray:
    """Variance, rad², of the tilt about one axis at the `chosen` nodes."""
    columns = np.arange(len(chosen))
    unit = np.zeros((system.band.shape[1], len(chosen)))
    unit[2 * chosen + 1, columns] = 1.0
    inverse = solve_positive_banded(system.band, unit)
    return np.asarray(inverse[2 * chosen + 1, columns])


@dataclass(frozen=True, slots=True, kw_only=True)
class Lasting:
    """Three unknowns of the whole recording and what one unit of each adds to the equations.

    ``walk`` is the slope of the tilt steps, shape (N-1, 3, 3), ``force`` that of the global force, shape (N,
    3, 3).
    """

    walk: FloatArray | None = None
    force: FloatArray | None = None
    precision: FloatArray
    information: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class Solution:
    """Tilts about the global axes, shape (N, 3), rad; the lasting unknowns and their covariance."""

    tilt: FloatArray
    unknowns: FloatArray
    covariance: FloatArray


def eliminate(system: TiltSystem, blocks: list[Lasting], force: FloatArray, walk: FloatArray) -> Solution:
    """Solve for tilts and for the unknowns of the whole recording by a Schur complement.

    `force` is the global force left at the linearisation point, `walk` the tilt steps the gyroscope asks for.
    Eliminating the nodes leaves ``(GᵀWG + P − RᵀH⁻¹R) g = P m − GᵀWy + RᵀH⁻¹r``. With ``H = LLᵀ`` that needs ``L⁻¹R``
    and ``L⁻¹r`` alone; only what g makes of the right side is solved to its end. The two horizontal directions share
    H. The vertical direction knows no tilt; it takes part when some unknown acts through the force.
    """
    unknowns = 3 * len(blocks)
    schur, data = np.zeros((unknowns, unknowns)), np.zeros(unknowns)
    for at, block in enumerate(blocks):
        part = slice(3 * at, 3 * at + 3)
        schur[part, part] += block.precision
        data[part] += block.information
    lines = np.zeros((1 + unknowns, 2, system.band.shape[1]))
    level, walk_data = _level(force), _across(walk)
    _add_force(lines[0], system, system.up, level)
    _add_walk(lines[0], system, walk_data)
    for at, block in enumerate(blocks):
        part = slice(3 * at, 3 * at + 3)
        if block.force is not None:
            slope = _level(block.force)
            for line, each in zip(lines[1:][part], slope, strict=True):
                _add_force(line, system, system.up, each)
            weighted = system.force_weight * slope
            for other, second in enumerate(blocks):
                if second.force is not None:
                    schur[part, 3 * other : 3 * other + 3] += _inner(weighted, _level(second.force))
            data[part] -= _inner(weighted, level[None])[:, 0]
        if block.walk is not None:
            slope = _across(block.walk)
            for line, each in zip(lines[1:][part], slope, strict=True):
                _add_walk(line, system, each)
            weighted = system.walk_weight * slope
            schur[part, part] += _inner(weighted, slope)
            data[part] -= _inner(weighted, walk_data[None])[:, 0]
    factor = factor_positive_banded(system.band)
    half = half_solved(factor, lines.reshape(-1, lines.shape[-1])).reshape(lines.shape)
    inner = _inner(half, half)
    schur -= inner[1:, 1:]
    data += inner[1:, 0]
    _add_vertical(system, blocks, schur, data)
    covariance: FloatArray = np.linalg.inv(0.5 * (schur + schur.T)).astype(np.float64, copy=False)
    g = covariance @ data
    phi = solved_from_half(factor, half[0] + np.tensordot(g, half[1:], 1))[:, 1::2]
    tilt = np.stack([-phi[1], phi[0], np.zeros(phi.shape[1])], axis=1)
    return Solution(tilt=tilt, unknowns=g, covariance=covariance)


def _add_vertical(system: TiltSystem, blocks: list[Lasting], schur: FloatArray, data: FloatArray) -> None:
    """Add in place what the vertical direction says about the unknowns that act through the force."""
    acting = [(at, block.force[:, 2]) for at, block in enumerate(blocks) if block.force is not None]
    if not acting:
        return
    chosen = np.concatenate([np.arange(3 * at, 3 * at + 3) for at, _ in acting])
    slopes = np.concatenate([slope for _, slope in acting], axis=1)
    level = system.up - STANDARD_GRAVITY_M_S2
    weighted = system.force_weight[:, None] * slopes
    inner = np.ix_(chosen, chosen)
    schur[inner] += weighted.T @ slopes
    data[chosen] -= weighted.T @ level
    # Right sides of (v⁺ − v)/dt = term, velocities only.
    pushes = system.force_weight[:, None] * np.column_stack([level, slopes]) / system.step_s
    lines = np.zeros((len(pushes) + 1, pushes.shape[1]))
    lines[1:] += pushes
    lines[:-1] -= pushes
    solved = solve_positive_banded(system.vertical_band, lines)
    schur[inner] -= lines[:, 1:].T @ solved[:, 1:]
    data[chosen] += solved[:, 1:].T @ lines[:, 0]


def _level(vectors: FloatArray) -> FloatArray:
    """Both horizontal components of shape (N, 3) as (2, N), of shape (N, 3, 3) as (3, 2, N)."""
    return np.ascontiguousarray(vectors[:, :2].T)


def _across(vectors: FloatArray) -> FloatArray:
    """The same for what turns about them: φx = θy and φy = −θx."""
    level = _level(vectors)
    return np.stack([level[..., 1, :], -level[..., 0, :]], axis=-2)


def _inner(left: FloatArray, right: FloatArray) -> FloatArray:
    """Sum over both directions and all nodes of every one of `left` with every one of `right`."""
    return np.asarray(left.reshape(len(left), -1) @ right.reshape(len(right), -1).T)


def _add_force(row: FloatArray, system: TiltSystem, up: FloatArray, term: FloatArray) -> None:
    """Right side of ``(v⁺ − v)/dt − up φ = term`` in both directions."""
    weighted = system.force_weight * term
    row[:, 1::2] -= weighted * up
    weighted /= system.step_s
    row[:, 2::2] += weighted
    row[:, 0:-1:2] -= weighted


def _add_walk(row: FloatArray, system: TiltSystem, term: FloatArray) -> None:
    """Right side of ``φ⁺ − φ = term`` in both directions."""
    weighted = system.walk_weight * term
    row[:, 3::2] += weighted
    row[:, 1:-2:2] -= weighted
