"""Where in a piece the strap was put on otherwise: turned round in a rest, moved to the other wrist, worn by another.

The arm then hangs in another direction of the sensor than before, as its own lever arm confirms. Another exercise on
the same strap begins from an arm that hangs as before, or from one that does not hang as it is fitted.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise

import numpy as np

from armarc.moved_arm import Counting, RaiseArm, hanging, raise_arm
from armarc.recording import FloatArray, Piece
from armarc.reps.counting import Counted
from armarc.reps.kinds import kinds

HANGS_WITHIN_RAD = math.radians(40)
"""An arm at the bottom of its raises is no farther off the vertical than this: an elbow, an arm held out (working
limit)."""
ANEW_RAD = math.radians(15)
"""What hanging poses of a strap put on anew differ by (working limit). Two raises on one strap may as well, 9–27° in
ten pairs of people's: each is then measured by itself, too. Less is a strap that slipped, but where the arm has
turned as well."""
SKEWED_RAD = math.radians(6)
SKEWED_ERRORS = 3.0
"""Sets before and after hang apart by so much, and by so many times what sets of one strap do (working limits)."""
HANGS_ALIKE_RAD = math.radians(2.5)
"""Hanging poses of one person's sets on one strap scatter by this and more (three people: 0.9–3.5°)."""
ARM_TURNED_RAD = math.radians(10)
"""And their lever arms by this: single sets of three people on one strap are up to 9° apart."""


def strapped_anew(piece: Piece, counting: Counting) -> tuple[int, ...]:
    """Samples in rests of a piece between which the sensor lay on the arm in one way each.

    Parameters
    ----------
    piece : Piece
    counting : Counting
        Of this piece.

    Returns
    -------
    tuple of int
        Middles of the rests before a set that is worn otherwise than the one before it.
    """
    counted, choices = counting.counted, counting.choices
    if choices.exercise.coordinate != "elevation":
        return ()
    found = kinds(counted.sets, counted.templates)
    if len(found) < 2:
        return _skewed(piece, counting, tuple(range(len(counted.sets))))
    ways: list[RaiseArm] = []
    way_of_set: dict[int, int] = {}
    for kind in found:
        arm = raise_arm(piece, counting, kind, either_end=True)
        if arm is None or _apart(arm.direction, arm.hanging) > HANGS_WITHIN_RAD:
            continue
        way = next(
            (w for w, one in enumerate(ways) if _apart(arm.hanging, one.hanging) < ANEW_RAD), len(ways)
        )
        if way == len(ways):
            ways.append(arm)
        way_of_set.update(dict.fromkeys(kind, way))
    known = sorted(way_of_set)
    cuts = [
        _rest_between(counted, before, after)
        for before, after in pairwise(known)
        if way_of_set[before] != way_of_set[after]
    ]
    return tuple(cuts) or _skewed(piece, counting, tuple(known))


def _skewed(piece: Piece, counting: Counting, sets: tuple[int, ...]) -> tuple[int, ...]:
    """The rest in which a strap was turned by less, if there is one.

    The arm hangs otherwise from then on in every set, and its own lever arm has turned, too. Where none shows, the arm
    is taken as it hangs, and has to hang as otherwise as on a strap put on anew.
    """
    if len(sets) < 2:
        return ()
    at, apart = _step(np.array([hanging(piece, counting, k) for k in sets]))
    if not at:
        return ()
    before, after = (raise_arm(piece, counting, side, either_end=True) for side in (sets[:at], sets[at:]))
    if before is None or after is None:
        is_turned = apart > ANEW_RAD
    else:
        is_turned = _apart(before.direction, after.direction) > ARM_TURNED_RAD
    return (_rest_between(counting.counted, sets[at - 1], sets[at]),) if is_turned else ()


def _step(directions: FloatArray) -> tuple[int, float]:
    """Which of some unit vectors in order, shape (n, 3), is the first to lie elsewhere than those before it, as those
    after it do, and by how much, rad; 0 where none surely does."""
    surest, first, by = SKEWED_ERRORS, 0, 0.0
    for at in range(1, len(directions)):
        sides = directions[:at], directions[at:]
        means = [side.mean(axis=0) / np.linalg.norm(side.mean(axis=0)) for side in sides]
        off = np.concatenate([side - mean for side, mean in zip(sides, means, strict=True)])
        scatter = math.sqrt(float((off * off).sum()) / max(len(directions) - 2, 1))
        error = max(scatter, HANGS_ALIKE_RAD) * math.sqrt(1 / at + 1 / (len(directions) - at))
        apart = _apart(*means)
        if apart > max(SKEWED_RAD, surest * error):
            surest, first, by = apart / error, at, apart
    return first, by


def _rest_between(counted: Counted, before: int, after: int) -> int:
    """Middle of the rest before a set that is worn otherwise than another one before it."""
    return (counted.sets[after - 1][-1].bottom_after + counted.sets[after][0].bottom) // 2


def cut(piece: Piece, at: tuple[int, ...]) -> list[Piece]:
    """The parts of a piece between some of its samples."""
    edges = [0, *at, len(piece.missing)]
    return [
        replace(
            piece,
            start_s=piece.start_s + first / piece.rate_hz,
            specific_force_m_s2=piece.specific_force_m_s2[first:stop],
            angular_velocity_rad_s=piece.angular_velocity_rad_s[first:stop],
            missing=piece.missing[first:stop],
            clipped=piece.clipped[first:stop],
        )
        for first, stop in pairwise(edges)
    ]


def anew_words(numbers: Sequence[int]) -> list[str]:
    """What is said where parts were measured by themselves: `numbers` are those of the first set of each but the
    first."""
    if not numbers:
        return []
    ones = ", ".join(map(str, numbers))
    where = f"from set {ones} on" if len(numbers) == 1 else f"from each of sets {ones} on"
    return [
        f"{where} the sensor lay otherwise on the arm than before, as when a strap is put on anew or by another "
        "lifter, or the raise is another: each part was measured by itself"
    ]


def _apart(one: FloatArray, other: FloatArray) -> float:
    """Angle between two unit vectors, rad."""
    return math.acos(max(-1.0, min(1.0, float(one @ other))))
