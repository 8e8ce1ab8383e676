"""Whether the strap stayed where it was: the arm hangs between reps, so gravity must come from the same side."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from armarc.recording import FloatArray

SLIP_RAD = math.radians(15)
"""Arms hang within some 10° of each other from set to set; turning the hand changes nothing, for gravity then lies
along the arm."""
LEAST_LOOKS = 2


def moved_sets(hanging: Sequence[FloatArray]) -> tuple[bool, ...]:
    """Find the sets in which the sensor sits differently from the set with most reps, or moves on the way.

    Parameters
    ----------
    hanging : sequence of ndarray, each shape (k, 3)
        For every set, down in sensor axes at the bottoms between its reps where the arm hangs.

    Returns
    -------
    tuple of bool
        One per set; False where there are too few looks to tell.
    """
    if not hanging:
        return ()
    main = max(hanging, key=len)
    usual = _direction(main)
    found = []
    for looks in hanging:
        if len(looks) < LEAST_LOOKS or len(main) < LEAST_LOOKS:
            found.append(False)
            continue
        half = len(looks) // 2
        within = _apart(_direction(looks[:half]), _direction(looks[-half:]))
        found.append(max(_apart(_direction(looks), usual), within) > SLIP_RAD)
    return tuple(found)


def _direction(vectors: FloatArray) -> FloatArray:
    middle = np.median(vectors, axis=0)
    return np.asarray(middle / max(float(np.linalg.norm(middle)), 1e-9))


def _apart(one: FloatArray, other: FloatArray) -> float:
    return math.acos(max(-1.0, min(1.0, float(one @ other))))
