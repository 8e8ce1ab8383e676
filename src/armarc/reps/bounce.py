"""Whether a run of look-alike movements may be the arm of somebody who walks.

An arm swings once a stride and the body rises and falls once a step, twice a stride. The sensor feels that as an
acceleration along gravity at twice the arm's cadence which the arm's own turning does not explain. Who raises a weight
may bounce, too, at the start of each rep: at the cadence of the reps and seldom at twice that. So this is a reason to
doubt; what leaves no doubt is which way the bounce goes (`armarc.reps.strides`).
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from armarc.motion import low_pass
from armarc.motion.kinematics import lever_matrix
from armarc.recording import FloatArray
from armarc.reps.movements import FULL_SET, Movement
from armarc.reps.path import SensorPath
from armarc.reps.run import Run

SMOOTHED_HZ = 4.0
"""Twice the cadence of strides is below 2.5 Hz; jolts of heels and a wobbling strap are above."""
LEAST_BOUNCE_M = 0.007
"""Half of how far the body rises and falls from its middle in slow walking (about 1.5 cm, 2–2.5 in usual: from memory;
working limit)."""
DOUBTFUL_SHARE = 0.25
"""Least share of what turning leaves unexplained along gravity that rises and falls twice a movement, in what may be a
walk (working limit: 0.78–0.99 in invented walking, up to 0.15 in invented lifters bouncing once a rep)."""


def doubted_walk(path: SensorPath, run: Run) -> Run:
    """A run whose body bounces as in strides may be a walk; the same run otherwise.

    Parameters
    ----------
    path : SensorPath
    run : Run
    """
    may_be = run.template.is_stride and bounce_share(path, run.movements) > DOUBTFUL_SHARE
    return replace(run, may_be_walk=True) if may_be else run


def bounce_share(path: SensorPath, movements: tuple[Movement, ...]) -> float:
    """Share of the unexplained acceleration along gravity at twice the cadence of some movements.

    Parameters
    ----------
    path : SensorPath
    movements : tuple of Movement
        In samples of the path.

    Returns
    -------
    float
        0 where the body moves less than in a walk or more at the movements' own cadence, and for too few to tell.
    """
    if path.acceleration_m_s2 is None or len(movements) < FULL_SET:
        return 0.0
    first, stop = movements[0].bottom, movements[-1].bottom_after + 1
    phase = _phase(movements, first, stop)
    known = np.isfinite(phase)
    cycle_s = float(np.median([m.bottom_after - m.bottom for m in movements])) / path.rate_hz
    left = _unexplained(path, first, stop)[known]
    waves = np.column_stack([f(k * phase[known]) for k in (1, 2) for f in (np.cos, np.sin)] + [known[known]])
    size, *_ = np.linalg.lstsq(waves, left, rcond=None)
    once, twice = math.hypot(*size[:2]), math.hypot(*size[2:4])
    step_rad_s = 4 * math.pi / cycle_s
    share = 0.5 * twice**2 / max(float(np.var(left)), 1e-12)
    return share if twice > max(once, LEAST_BOUNCE_M * step_rad_s**2) else 0.0


def _phase(movements: tuple[Movement, ...], first: int, stop: int) -> FloatArray:
    """Half a turn up, half a turn down in each movement; NaN in pauses between them, shape (stop - first,)."""
    phase = np.full(stop - first, np.nan)
    for m in movements:
        a, b, c = m.bottom - first, m.top - first, m.bottom_after - first
        phase[a:b] = np.linspace(0, np.pi, b - a, endpoint=False)
        phase[b:c] = np.linspace(np.pi, 2 * np.pi, c - b, endpoint=False)
    return phase


def _unexplained(path: SensorPath, first: int, stop: int) -> FloatArray:
    """Acceleration along gravity that no sensor on a rigid arm about a resting point feels, m/s².

    Least squares of α × r + ω × (ω × r) + constant over all axes, r free.
    """
    assert path.acceleration_m_s2 is not None
    cutoff_hz = min(SMOOTHED_HZ, 0.4 * path.rate_hz)
    turned = low_pass(path.turned_rad[first:stop], path.rate_hz, cutoff_hz)
    omega = np.gradient(turned, axis=0) * path.rate_hz
    alpha = np.gradient(omega, axis=0) * path.rate_hz
    felt = low_pass(path.acceleration_m_s2[first:stop], path.rate_hz, cutoff_hz)
    levers = lever_matrix(omega, alpha)
    terms = np.concatenate([levers, np.broadcast_to(np.eye(3), levers.shape)], axis=2).reshape(-1, 6)
    fit, *_ = np.linalg.lstsq(terms, felt.ravel(), rcond=None)
    left = felt - (terms @ fit).reshape(-1, 3)
    return np.asarray(np.einsum("ij,ij->i", left, path.up[first:stop]))
