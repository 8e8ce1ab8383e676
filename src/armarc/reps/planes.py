"""Whether the plane of a set can be its exercise's."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

from armarc.exercises import Exercise
from armarc.reps.types import MeasuredSet, Rep

PLANE_DISAGREES_RAD = math.radians(45)
"""A raise that goes out farther than this from its exercise's plane is another one, or its reference is wrong (working
limit, no source: people raise to the side up to 30-40° forward)."""


def doubt_planes(sets: Sequence[MeasuredSet], exercise: Exercise) -> tuple[list[MeasuredSet], list[str]]:
    """Say where a set's plane is not its exercise's, and let it be as uncertain as that.

    A weight held before the thighs turns the thumb inward: what was taken for forward is then the other arm's side.

    Parameters
    ----------
    sets : sequence of MeasuredSet
    exercise : Exercise
        Without a plane of its own, or for sets whose plane is not known, nothing is said.
    """
    out, notes = [], []
    for one in sets:
        planes = [rep.plane_rad for rep in one.reps if rep.plane_rad is not None]
        if exercise.plane_rad is None or not planes:
            out.append(one)
            continue
        mean = math.atan2(sum(map(math.sin, planes)), sum(map(math.cos, planes)))
        off = abs(math.remainder(mean - exercise.plane_rad, math.tau))
        if off > PLANE_DISAGREES_RAD:
            notes.append(
                f"the plane of set {one.set} reads {math.degrees(mean):.0f}°, where {exercise.key} goes out at "
                f"{math.degrees(exercise.plane_rad):.0f}°: it is another exercise, or the thumb did not point forward "
                "when the arm hung (a weight before the thighs turns it inward)"
            )
            one = replace(one, reps=tuple(_unsure(rep, off) for rep in one.reps))
        out.append(one)
    return out, notes


def _unsure(rep: Rep, off_rad: float) -> Rep:
    return (
        rep if rep.plane_se_rad is None else replace(rep, plane_se_rad=math.hypot(rep.plane_se_rad, off_rad))
    )
