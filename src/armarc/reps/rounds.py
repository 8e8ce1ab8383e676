"""Circles of the arm: a rep comes back nearly the way it went out, a circle does not.

The path of the sensor's turning from bottom to bottom encloses next to nothing in a rep, and in a circle as much as a
disc as wide as the movement is long.
"""

from __future__ import annotations

import math

import numpy as np

from armarc.recording import BoolArray, FloatArray
from armarc.reps.candidates import Candidates

ROUND = 0.5
"""An ellipse half as wide as long is nearer to a circle than to a way and its return (working limit). Medians of real
sets: raises, curls and rows up to 0.33, pendulums that go round 0.79 and more."""
NEXT_S = 2.0
"""Circles follow one another within this time (working limit)."""


def roundness(found: Candidates) -> FloatArray:
    """Width over length of the ellipse that encloses as much as each of n candidates, shape (n,)."""
    area = np.sqrt((found.enclosed * found.enclosed).sum(axis=1))
    return np.asarray(area / (math.pi / 4 * np.maximum(found.turned_rad, 0.05) ** 2))


def circles(found: Candidates) -> BoolArray:
    """Which candidates are circles, one after the other and the same way round.

    One alone is none: a hand may turn otherwise on the way down in one rep.
    """
    is_round = roundness(found) > ROUND
    next_s = found.leaves_s[1:] - found.returns_s[:-1]
    same_way = np.einsum("ij,ij->i", found.enclosed[1:], found.enclosed[:-1]) > 0
    pairs = is_round[1:] & is_round[:-1] & same_way & (next_s > -NEXT_S) & (next_s < NEXT_S)
    out = np.zeros(len(found), dtype=np.bool_)
    out[1:] |= pairs
    out[:-1] |= pairs
    return out
