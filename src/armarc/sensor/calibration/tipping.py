"""Where the readings of a turn carry gravity, and where it is found afterwards; all turns of a fit at once."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from armarc.motion.quaternions import conjugate, multiply, rotate_back, to_matrix
from armarc.recording import FloatArray
from armarc.sensor.calibration.poses import running_rotation, total_rotation


@dataclass(frozen=True, slots=True, kw_only=True)
class Tipping:
    """One usable turn.

    ``stated_rad`` (signed, whole turn) is set for a turn about the vertical, whose axis in the sensor is ``up``;
    otherwise gravity is the reference. ``rate`` has the bias of its own rests removed.
    """

    rate_rad_s: FloatArray
    step_s: float
    gravity_before: FloatArray
    gravity_after: FloatArray
    stated_rad: float | None
    turned_rad: float
    se_rad: float
    noise_se_rad: float


def residuals(turns: Sequence[Tipping], x: FloatArray) -> FloatArray:
    """What is missing after each turn with a matrix of I + `x`, rad.

    Parameters
    ----------
    turns : sequence of Tipping
    x : ndarray, shape (9,)
        Change of the matrix from identity, row by row.

    Returns
    -------
    ndarray, shape (3·turns,)
        Of each turn the rotation that would carry gravity home, or the angle missing to the stated one.
    """
    out, free = _stated(turns, x)[0], _free(turns)
    if free:
        ends = total_rotation(_steps([turns[i] for i in free]) @ _matrix(x).T)
        out[free] = _missing([turns[i] for i in free], ends)
    return out.ravel()


def linearised(turns: Sequence[Tipping], x: FloatArray) -> tuple[FloatArray, FloatArray]:
    """`residuals` and their slopes, shape (3·turns, 9).

    A small change δM of the matrix turns the end by Σ Cᵢ δM ωᵢ dt, Cᵢ from the axes then into those at the end.
    """
    (out, slopes), free = _stated(turns, x), _free(turns)
    if free:
        chosen = [turns[i] for i in free]
        steps = _steps(chosen)
        places = running_rotation(steps @ _matrix(x).T)
        ends = places[:, -1]
        into_end = to_matrix(multiply(conjugate(ends)[:, None], places))
        change = np.einsum("tnij,tnk->tijk", into_end, steps, optimize=True).reshape(-1, 3, 9)
        g = rotate_back(ends, np.array([turn.gravity_before for turn in chosen]))
        out[free] = _missing(chosen, ends)
        slopes[free] = change - g[:, :, None] * (g[:, None, :] @ change)
    return out.ravel(), slopes.reshape(-1, 9)


def _free(turns: Sequence[Tipping]) -> list[int]:
    return [i for i, turn in enumerate(turns) if turn.stated_rad is None]


def _matrix(x: FloatArray) -> FloatArray:
    return np.asarray(np.eye(3) + x.reshape(3, 3))


def _stated(turns: Sequence[Tipping], x: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Residuals (turns, 3) and slopes (turns, 3, 9) of the turns whose angle is stated, zero for the others."""
    out, slopes = np.zeros((len(turns), 3)), np.zeros((len(turns), 3, 9))
    for i, turn in enumerate(turns):
        if turn.stated_rad is not None:
            up = turn.gravity_before + turn.gravity_after
            up = up / np.linalg.norm(up)
            turned = turn.rate_rad_s.sum(axis=0) * turn.step_s
            out[i, 0] = up @ _matrix(x) @ turned - turn.stated_rad
            slopes[i, 0] = np.outer(up, turned).ravel()
    return out, slopes


def _steps(turns: Sequence[Tipping]) -> FloatArray:
    """Small rotations as delivered, shape (turns, n, 3); shorter turns stand still at their end."""
    out = np.zeros((len(turns), max(len(turn.rate_rad_s) for turn in turns), 3))
    for row, turn in zip(out, turns, strict=True):
        row[: len(turn.rate_rad_s)] = turn.rate_rad_s * turn.step_s
    return out


def _missing(turns: Sequence[Tipping], ends: FloatArray) -> FloatArray:
    """Rotation vectors, shape (turns, 3), from where the ends carry gravity to where it was found."""
    carried = rotate_back(ends, np.array([turn.gravity_before for turn in turns]))
    found = np.array([turn.gravity_after for turn in turns])
    cross = np.cross(carried, found)
    sine, cosine = np.linalg.norm(cross, axis=1), (carried * found).sum(axis=1)
    share = np.where(sine < 1e-12, 0.0, np.arctan2(sine, cosine) / np.where(sine < 1e-12, 1.0, sine))
    return np.asarray(cross * share[:, None])
