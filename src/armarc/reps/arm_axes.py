"""Directions beside the arm's, standard errors away: what an uncertain mounting is carried through with."""

from __future__ import annotations

import math

import numpy as np

from armarc.motion import Mounting
from armarc.recording import FloatArray


def beside_axis(mounting: Mounting, further_rad: float = 0.0) -> tuple[tuple[tuple[float, ...], ...], float]:
    """The arm axis and four beside it, and its largest standard error, rad; `further_rad` comes on top all round."""
    axis = mounting.arm_axis
    axes, largest = [axis], 0.0
    for across, sigma in _across(mounting):
        wide = math.hypot(sigma, further_rad)
        step, largest = math.sqrt(3) * wide, max(largest, wide)
        axes += [math.cos(step) * axis + sign * math.sin(step) * across for sign in (1.0, -1.0)]
    return tuple(tuple(each.tolist()) for each in axes), largest


def _across(mounting: Mounting) -> list[tuple[FloatArray, float]]:
    """Two directions across the arm axis and the standard error along each, rad."""
    covariance = mounting.axis_covariance_rad2
    if covariance is None:
        across = np.eye(3) - np.outer(mounting.arm_axis, mounting.arm_axis)
        covariance = across * mounting.uncertainty_rad**2
    # Rounded, so that a direction uncertain all round has the same two directions on every machine.
    size = max(float(np.trace(covariance)), 1e-30)
    values, vectors = np.linalg.eigh(size * np.round(covariance / size, 9))
    return [(vectors[:, k], math.sqrt(max(float(values[k]), 0.0))) for k in (1, 2)]
