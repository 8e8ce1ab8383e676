"""Two sets that follow each other within less than a rest: slow reps and then fast ones, full ones and then low ones.

As one set their pattern is like neither, so that reps of both are lost. They are two where what their reps gain by
being held against their own kind is more than another set costs; or where the rhythm changes at the longest stop of
all: who waits at the bottom before every rep and then goes on without a wait has begun another set; or where the arm
goes out in another plane from then on, as in front raises after lateral ones.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from armarc.recording import FloatArray
from armarc.reps.candidates import Candidates
from armarc.reps.largest_run import GAIN, CountingRules, gains
from armarc.reps.likeness import LEVEL_SHARE, Template, patterns_of, template_of
from armarc.reps.movements import FULL_SET
from armarc.reps.path import SensorPath
from armarc.reps.rhythm import costs_of_pauses
from armarc.reps.run import Run
from armarc.reps.run_cost import RUN_COST
from armarc.reps.runs import best_run

OF_A_RHYTHM = 5
"""So many reps show a rhythm: fewer at an end may be a set's last ones, with breaths between them (working limit)."""
OTHER_RHYTHM = 2.5
"""Every pause on one side is so many times as long as every one on the other, the lowest quarter of the ways down and
up among them (working limit: people's own pauses within a set differ by as much as that)."""
OTHER_PLANE_RAD = math.radians(45)
"""So far apart are the planes of two raises that are not the same one (as in `armarc.reps.planes`) …"""
STOP_S, APART_SHARE = 1.0, 0.4
"""… with a stop as long as this between them, the longest of all, and every rep within this share of it of its own
kind: a heading that drifts from rep to rep has half of it (working limits)."""
HALF_A_REST = 0.5
"""A stop of less than this share of a rest is a breath (working limit)."""


def parting(
    path: SensorPath, first: int, stop: int, run: Run, rules: CountingRules, known: tuple[Template, ...]
) -> list[tuple[int, int]]:
    """Two stretches where the best run of one is two sets: that of its lesser part, then that of its main part.

    Parameters
    ----------
    path : SensorPath
    first, stop : int
        The stretch, samples of the path.
    run : Run
    rules : CountingRules
    known : tuple of Template
        Sets found already.

    Returns
    -------
    list of (first, stop)
        Up to the middle of the run's longest pause, or of the stop at which its rhythm changes, and from there on;
        empty where it is one set.
    """
    found, members = run.candidates, list(run.members)
    if len(members) <= FULL_SET:
        return []
    pauses = found.leaves_s[members[1:]] - found.returns_s[members[:-1]]
    longest = int(np.argmax(pauses)) + 1
    if pauses[longest - 1] > STOP_S and _turns_elsewhere(path, run, longest):
        changes = longest
    else:
        changes = _change_of_rhythm(pauses, found.up_s[members], rules.rest_s)
    k = changes or longest
    parts = members[:k], members[k:]
    at = (run.movements[k - 1].bottom_after + run.movements[k].bottom) // 2
    if changes:
        # Who rests with the arm up may have lifted from there: the stop that leaves the most reps parts the two.
        held = (run.movements[k].bottom + run.movements[k].bottom_after) // 2
        at = max((at, held), key=lambda cut: _size(path, [(first, cut), (cut, stop)], rules, known))
    few, many = sorted(parts, key=len)
    stretches = [(first, at), (at, stop)]
    if few is parts[1]:
        stretches.reverse()
    if len(few) < FULL_SET:
        is_two = _begins_another(path, *stretches[0], run, few, many, rules, known)
    else:
        sums = [_sum(found, part, rules) for part in parts]
        is_two = changes > 0 or sum(sums) - RUN_COST > _sum(found, members, rules)
        is_two = is_two and min(sums) > RUN_COST
    return stretches if is_two else []


def _size(
    path: SensorPath, stretches: list[tuple[int, int]], rules: CountingRules, known: tuple[Template, ...]
) -> int:
    """How many movements the best runs of some stretches have."""
    runs = (best_run(path, first, stop, rules, known) for first, stop in stretches)
    return sum(run.size for run in runs if run is not None and run.score > 0)


def _change_of_rhythm(pauses_s: FloatArray, up_s: FloatArray, rest_s: float) -> int:
    """The member of a run at which another rhythm begins, after the longest stop of all; 0 where none does.

    Parameters
    ----------
    pauses_s : ndarray, shape (n - 1,), s
        Between the n members.
    up_s : ndarray, shape (n,), s
        In the upper half of each: who rests with the arm up between two sets seems to hold the rep beside the rest.
    rest_s : float, s
        What ends a set by itself.
    """
    n = len(up_s)
    held = up_s - np.median(up_s)
    for k in range(OF_A_RHYTHM, n - OF_A_RHYTHM + 1):
        before, after = pauses_s[: k - 1], pauses_s[k:]
        shorter, longer = sorted((before, after), key=lambda part: float(np.median(part)))
        if longer.min() <= OTHER_RHYTHM * max(float(shorter.max()), 0.0):
            continue
        stops = max(float(pauses_s[k - 1]), float(held[k - 1 : k + 1].max()))
        others = np.concatenate([before, after, held[: k - 1], held[k + 1 :]])
        if stops > max(float(others.max()), HALF_A_REST * rest_s):
            return k
    return 0


def _turns_elsewhere(path: SensorPath, run: Run, k: int) -> bool:
    """Whether the arm goes out in another plane from member k of a run on: front raises after lateral ones.

    A strap that slips turns the axis in the sensor, but not in the room.
    """
    members = list(run.members)
    if run.curve != "tilt" or not FULL_SET <= k <= len(members) - FULL_SET:
        return False
    at, axis = run.candidates.bottom[members], run.candidates.direction[members]
    up, ahead = path.up[at], path.ahead[at]
    level = axis - np.einsum("ij,ij->i", axis, up)[:, None] * up
    if (np.linalg.norm(level, axis=1) < LEVEL_SHARE).any():
        return False
    beside = np.cross(up, ahead)
    pointing = np.einsum("ij,ij->i", axis, ahead) + 1j * np.einsum("ij,ij->i", axis, beside)
    pointing /= np.abs(pointing)
    one, other = pointing[:k].sum(), pointing[k:].sum()
    apart = abs(float(np.angle(other / one)))
    off = np.angle(pointing / np.where(np.arange(len(members)) < k, one, other))
    return apart > OTHER_PLANE_RAD and bool(np.abs(off).max() < APART_SHARE * apart)


def _begins_another(
    path: SensorPath,
    first: int,
    stop: int,
    run: Run,
    few: list[int],
    many: list[int],
    rules: CountingRules,
    known: tuple[Template, ...],
) -> bool:
    """Whether a run's few hardly alike movements beyond its longest pause make a set with what lies beyond them."""
    found = run.candidates
    its = found.top[few]
    if len(many) < FULL_SET or _adds(found, few, run.template, rules).mean() >= GAIN / 2:
        return False
    other = best_run(path, first, stop, rules, (*known, template_of(found, np.array(many))))
    if other is None or other.score <= 0 or other.size <= len(few):
        return False
    return bool(other.first < its[0] and its[-1] < other.last)


def _sum(found: Candidates, members: list[int], rules: CountingRules) -> float:
    """What some movements add up to as a set of their own."""
    look = template_of(found, np.array(members))
    return float(_adds(found, members, look, rules).sum() - costs_of_pauses(found, members).sum())


def _adds(found: Candidates, members: list[int], look: Template, rules: CountingRules) -> FloatArray:
    """What each adds to a set, however long it is held: holds and pulses make no other set."""
    found = replace(found, up_s=np.full(len(found), look.up_s))
    return np.asarray(gains(found.take(np.array(members)), patterns_of([look]), rules, ())[0])
