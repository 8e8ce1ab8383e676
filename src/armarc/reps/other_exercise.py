"""Whether what was counted can be the raise it is called."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from armarc.exercises import Exercise
from armarc.motion import ArmMotion
from armarc.motion.quaternions import turn_between
from armarc.reps.counting import Counted
from armarc.reps.joint import may_be_raise
from armarc.reps.movements import Movement
from armarc.reps.summary import ANOTHER_EXERCISE, CUT, is_clean
from armarc.reps.types import MeasuredSet, Rep

RAISED_SHARE = 0.5
"""An arm that is raised turns its sensor by as much as it rises, and by what the hand turns besides. Where less than
half of the turning is rising, raising is not what the movement does (working limit: the larger part)."""

SAY_IT = "Say --exercise if it was another one (unknown for one that is not listed)"


@dataclass(frozen=True, slots=True, kw_only=True)
class Doubt:
    """What speaks against the name of some sets, in words; `is_sure` where they can hardly be that exercise."""

    sets: tuple[int, ...]
    words: str
    is_sure: bool = True


def flagged(sets: Sequence[MeasuredSet], doubts: Sequence[Doubt]) -> list[MeasuredSet]:
    """The sets, every rep of those that are surely another exercise flagged as such."""
    others = {number for doubt in doubts if doubt.is_sure for number in doubt.sets}
    return [replace(one, reps=tuple(map(_another, one.reps))) if one.set in others else one for one in sets]


def _another(rep: Rep) -> Rep:
    quality = tuple(dict.fromkeys((*rep.quality, ANOTHER_EXERCISE)))
    return replace(rep, quality=quality, clean=is_clean(quality))


def doubt_exercise(sets: Sequence[MeasuredSet], motion: ArmMotion, exercise: Exercise) -> list[Doubt]:
    """Say which sets do not look like the raise they are called; nothing for exercises that raise no arm.

    Parameters
    ----------
    sets : sequence of MeasuredSet
    motion : ArmMotion
        They lie in.
    exercise : Exercise
    """
    said = []
    for one in sets:
        whole = [rep for rep in one.reps if not CUT & set(rep.quality)]
        if motion.coordinate != "elevation" or not whole:
            continue
        rises, turns = (
            np.array(column) for column in zip(*(_way(motion, rep) for rep in whole), strict=True)
        )
        rise, turn = np.degrees([np.median(rises), np.median(turns)])
        least = math.degrees(exercise.smallest_rom_rad)
        if float(np.median(rises / np.maximum(turns, 1e-6))) < RAISED_SHARE:
            words = (
                f"set {one.set} does not look like {exercise.key}: the sensor turned by {turn:.0f}° and the arm "
                f"rose by {rise:.0f}° only, as when a forearm turns or an arm swings round. {SAY_IT}"
            )
            said.append(Doubt(sets=(one.set,), words=words))
        elif rise < least:
            words = (
                f"the arm rose by {rise:.0f}° only in set {one.set}, where {exercise.key} begins at {least:.0f}°: "
                f"partial reps, or another exercise. {SAY_IT}"
            )
            said.append(Doubt(sets=(one.set,), words=words, is_sure=False))
    return said


def doubt_joints(
    sets: Sequence[MeasuredSet], counted: Counted, motion: ArmMotion, exercise: Exercise
) -> list[Doubt]:
    """Say which sets turned about another joint than the raises beside them.

    Parameters
    ----------
    sets : sequence of MeasuredSet
        Of one piece.
    counted : Counted
        What they were counted as.
    motion : ArmMotion
    exercise : Exercise
    """
    said = []
    for group, look in zip(counted.sets, counted.templates, strict=True):
        if math.isnan(look.arm_m):
            continue
        number = _number(sets, group, motion)
        if number is None:
            continue
        how = (
            "went along a line, as in a press"
            if look.reach_m > look.arm_m
            else f"turned about a point {100 * look.reach_m:.0f} cm away, as about the elbow in a curl"
        )
        words = (
            f"set {number} does not look like {exercise.key}: the sensor {how}, and about the shoulder, "
            f"{100 * look.arm_m:.0f} cm away, in other sets. Its angles and speeds are none of a raise; "
            "measured with --exercise unknown they are those of what it was"
        )
        said.append(Doubt(sets=(number,), words=words))
    return said


def doubt_kinds(
    sets: Sequence[MeasuredSet],
    counted: Counted,
    raises: Sequence[int],
    motion: ArmMotion,
    exercise: Exercise,
) -> list[Doubt]:
    """Say which sets are of another kind than those the arm was learned from.

    Parameters
    ----------
    sets : sequence of MeasuredSet
        Of one piece, those of which nothing else was said.
    counted : Counted
        What they were counted as.
    raises : sequence of int
        Which of these the arm was learned from.
    motion : ArmMotion
    exercise : Exercise
    """
    others: dict[bool, list[int]] = {True: [], False: []}
    same = []
    for k, (group, look) in enumerate(zip(counted.sets, counted.templates, strict=True)):
        number = _number(sets, group, motion)
        if number is None:
            continue
        if k in raises:
            same.append(number)
        else:
            others[not may_be_raise(look)].append(number)
    return [
        Doubt(
            sets=tuple(numbers),
            words=f"{_sets(numbers)} went another way than {_sets(same)}, or began from another pose: "
            + (
                f"no {exercise.key}, as the joint was another one, too"
                if is_sure
                else f"another exercise than {exercise.key}, or the sensor turned on the wrist"
            )
            + f". The arm's direction was taken from {_sets(same)} alone",
            is_sure=is_sure,
        )
        for is_sure, numbers in others.items()
        if numbers and same
    ]


def _number(sets: Sequence[MeasuredSet], group: Sequence[Movement], motion: ArmMotion) -> int | None:
    """The number of the set that was measured of a counted one."""
    first_s, last_s = motion.time_s[group[0].top], motion.time_s[group[-1].top]
    return next((one.set for one in sets if one.start_s <= last_s and one.end_s >= first_s), None)


def _sets(numbers: Sequence[int]) -> str:
    return f"set{'s' * (len(numbers) > 1)} {', '.join(map(str, numbers))}"


def _way(motion: ArmMotion, rep: Rep) -> tuple[float, float]:
    """How far the arm rises from the start of a rep to the middle of its top, and the sensor turns, rad."""
    phases = rep.phases
    times = (phases.start_s, 0.5 * (phases.top_start_s + phases.top_end_s))
    low, top = np.clip(np.searchsorted(motion.time_s, times), 0, len(motion.time_s) - 1).tolist()
    rise = float(motion.elevation_rad[top] - motion.elevation_rad[low])
    return rise, float(turn_between(motion.quaternion[low], motion.quaternion[top]))
