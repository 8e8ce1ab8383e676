"""Directions beside the arm's, standard errors away: what an uncertain mounting is carried through with."""

from __future__ import annotations

import math

import numpy as np

from armarc.motion import Mounting
from armarc.recording import FloatArray


def beside_axis(
    mounting: Mounting, further_rad: float = 0.0, hinge: FloatArray | None = None
) -> tuple[tuple[tuple[float, ...], ...], float]:
    """The arm axis and four beside it, and its largest standard error, rad; `further_rad` comes on top all round, with
    a `hinge`, shape (3,), across that alone."""
    axis = mounting.arm_axis
    axes, largest = [axis], 0.0
    for across, sigma in _across(mounting, further_rad, hinge):
        step, largest = math.sqrt(3) * sigma, max(largest, sigma)
        axes += [math.cos(step) * axis + sign * math.sin(step) * across for sign in (1.0, -1.0)]
    return tuple(tuple(each.tolist()) for each in axes), largest


def _across(
    mounting: Mounting, further_rad: float, hinge: FloatArray | None
) -> list[tuple[FloatArray, float]]:
    """Two directions across the arm axis and the standard error along each, rad."""
    covariance = mounting.axis_covariance_rad2
    all_round = np.eye(3) - np.outer(mounting.arm_axis, mounting.arm_axis)
    if covariance is None:
        covariance = all_round * mounting.uncertainty_rad**2
    if hinge is None:
        covariance = covariance + all_round * further_rad**2
    else:
        in_plane = np.cross(hinge, mounting.arm_axis)
        covariance = covariance + np.outer(in_plane, in_plane) * (further_rad**2 / float(in_plane @ in_plane))
    # Rounded, so that a direction uncertain all round has the same two directions on every machine.
    size = max(float(np.trace(covariance)), 1e-30)
    values, vectors = np.linalg.eigh(size * np.round(covariance / size, 9))
    return [(vectors[:, k], math.sqrt(max(float(values[k]), 0.0))) for k in (1, 2)]
