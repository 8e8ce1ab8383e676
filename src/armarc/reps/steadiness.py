"""Whether the strap stayed where it was: the arm hangs between reps, so gravity must come from the same side."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from armarc.recording import FloatArray

OTHERWISE_RAD = math.radians(15)
"""Arms hang within some 10° of each other from set to set; turning the hand changes nothing, for gravity then lies
along the arm."""
LEAST_STEP_RAD = math.radians(4)
"""Within a set the bottoms scatter by some 1.5°, and a strap that slips moves them at once …"""
STEP_ERRORS = 4.0
"""… by more than this many standard errors: with some ten places it could be at, one set in a thousand by chance …"""
STEP_SHARE, LINE_SHARE = 0.5, 0.9
"""… and leaves no more than these shares of the scatter about one direction, and about one that changes steadily as
the pose of a tired arm does."""
LEAST_LOOKS = 2


def strap_steps(hanging: Sequence[FloatArray]) -> tuple[float, ...]:
    """Find how far the sensor moved in every set, or against the set with most reps.

    Parameters
    ----------
    hanging : sequence of ndarray, each shape (k, 3)
        For every set, down in sensor axes at the bottoms between its reps.

    Returns
    -------
    tuple of float, rad
        One per set; 0 where the sensor stayed and where there are too few looks to tell.
    """
    if not hanging:
        return ()
    main = max(hanging, key=len)
    steps = []
    for looks in hanging:
        if len(looks) < LEAST_LOOKS:
            steps.append(0.0)
            continue
        between = _apart(_direction(looks), _direction(main))
        steps.append(max(_step_within(looks), between if between > OTHERWISE_RAD else 0.0))
    return tuple(steps)


def _step_within(looks: FloatArray) -> float:
    """Largest step of the direction inside a set that its scatter does not make, rad."""
    n = len(looks)
    if n < 2 * LEAST_LOOKS:
        return 0.0
    whole = float(((looks - looks.mean(axis=0)) ** 2).sum())
    best = 0.0
    for at in range(LEAST_LOOKS, n - LEAST_LOOKS + 1):
        before, after = looks[:at], looks[at:]
        left = float(((before - before.mean(axis=0)) ** 2).sum() + ((after - after.mean(axis=0)) ** 2).sum())
        step = _apart(before.mean(axis=0), after.mean(axis=0))
        error = math.sqrt(left / (n - 2) * (1 / at + 1 / (n - at)))
        is_sudden = left < min(STEP_SHARE * whole, LINE_SHARE * _about_a_line(looks))
        if is_sudden and step > max(LEAST_STEP_RAD, STEP_ERRORS * error, best):
            best = step
    return best


def _about_a_line(looks: FloatArray) -> float:
    """Sum of squares a steady change of the direction leaves."""
    when = np.arange(len(looks)) - (len(looks) - 1) / 2
    middle = looks - looks.mean(axis=0)
    slope = when @ middle / float(when @ when)
    return float(((middle - np.outer(when, slope)) ** 2).sum())


def _direction(vectors: FloatArray) -> FloatArray:
    middle = np.median(vectors, axis=0)
    return np.asarray(middle / max(float(np.linalg.norm(middle)), 1e-9))


def _apart(one: FloatArray, other: FloatArray) -> float:
    size = float(np.linalg.norm(one) * np.linalg.norm(other))
    return math.acos(max(-1.0, min(1.0, float(one @ other) / max(size, 1e-12))))
