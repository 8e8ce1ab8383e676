"""Heavy singles where no set shows what a rep is: clean raises from hanging to hanging, one at a time.

A named raise that stands alone shows itself: the arm hangs at rest, turns in one plane about the shoulder, stays below
overhead, and hangs at rest again. Handling bends the elbow, leaves the plane, begins or ends elsewhere or goes higher.
What is alike among these over the whole recording, however long the rests between, is what a rep looks like.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from armarc.recording import FloatArray
from armarc.reps.candidates import Candidates, find_candidates
from armarc.reps.edges import FeltSet
from armarc.reps.joint import Joints, is_arm
from armarc.reps.largest_run import CountingRules
from armarc.reps.likeness import Template, template_of
from armarc.reps.path import SensorPath, angle_about, turning_axis
from armarc.reps.rounds import ROUND, roundness
from armarc.reps.run import Run
from armarc.reps.runs import HYSTERESES_RAD, wobble_rad
from armarc.reps.settling import Samples

CLEAN = 0.95
"""Share of what is felt that a turn in one plane explains in a clean raise: 0.96 and more in most invented lifters who
stand still; a weight racked with a straight arm and a shoulder that goes along with it has 0.92 (working limit)."""
FEWEST = 2
"""So many alike show a rep; one alone may be a stretch."""
AT_MOST_S = 25.0
"""Rests that lie further apart are not those beside one rep or two (working limit)."""
RESTS_BETWEEN = 4
"""The arm may be at rest at the top as well, and between two reps."""
SAME_REST_RAD = math.radians(20)
HANGS_RAD, HIGHEST_RAD = math.radians(25), math.radians(115)
"""A raise begins within the first of where the arm hangs, as the fitted joint says, and ends below the second …"""
OFF_PLANE_RAD = math.radians(15)
"""… the vertical leaves its plane by less than this …"""
SHORTEST_UP_S, LONGEST_UP_S = 1.0, 4.5
"""… and above half the range it stays for so long: no stride, no stretch (working limits)."""
SAME_TOP_S = 0.3


def look_of_singles(path: SensorPath, rules: CountingRules, joints: Joints) -> Template | None:
    """What reps of a named raise look like, told by clean ones that stand alone.

    Parameters
    ----------
    path : SensorPath
        With the acceleration.
    rules : CountingRules
    joints : Joints

    Returns
    -------
    Template or None
        With what they show; None where there are not two alike.
    """
    clean = _clean(path, rules, joints)
    groups = [[one for one in clean if one.template.is_same_exercise(run.template)] for run in clean]
    best = max(groups, key=len, default=[])
    if len(best) < FEWEST:
        return None
    axis = np.sum([one.axis for one in best], axis=0)
    axis /= np.linalg.norm(axis)
    curve = angle_about(path.up, axis)
    size = float(np.median([one.template.range_rad for one in best]))
    seen = find_candidates(path, curve, 0, wobble_rad(size), is_start=False, is_end=False)
    if seen is None:
        return None
    tops = [one.movements[0].top for one in best]
    near = SAME_TOP_S * path.rate_hz
    members = [k for k in range(len(seen)) if any(abs(int(seen.top[k]) - top) <= near for top in tops)]
    if len(members) < FEWEST:
        return None
    run = _run(seen, members, axis)
    reach_m = float(np.median([joints.in_plane(one)[0] for one in best]))
    shown = FeltSet.of(path, run).shown_by(tuple(range(run.size)))
    return replace(run.template, reach_m=reach_m, shown=shown)


def _clean(path: SensorPath, rules: CountingRules, joints: Joints) -> list[Run]:
    """Clean raises, each as a run of its own, in time order."""
    found: list[tuple[float, Run]] = []
    rests = path.rests
    for k, (_, begins) in enumerate(rests):
        for last in rests[k + 1 : k + 1 + RESTS_BETWEEN]:
            if last[0] - begins > AT_MOST_S * path.rate_hz:
                break
            if _is_same_pose(path, rests[k], last):
                found += _clean_between(path, rests[k], last, rules, joints)
    kept: list[Run] = []
    for _, run in sorted(found, key=lambda one: -one[0]):
        if not any(run.first < other.last and other.first < run.last for other in kept):
            kept.append(run)
    return sorted(kept, key=lambda run: run.first)


def _is_same_pose(path: SensorPath, one: tuple[int, int], other: tuple[int, int]) -> bool:
    poses = path.up[[sum(one) // 2, sum(other) // 2]]
    return float(poses[0] @ poses[1]) > math.cos(SAME_REST_RAD)


def _clean_between(
    path: SensorPath, before: tuple[int, int], after: tuple[int, int], rules: CountingRules, joints: Joints
) -> list[tuple[float, Run]]:
    """Clean raises between two rests in the same pose, each with the share of what is felt that its joint explains."""
    axis = turning_axis(path, before[1] - 1, after[0] + 1)
    if axis is None:
        return []
    first, stop = before[0], after[1]
    curve = angle_about(path.up[first:stop], axis)
    middle = curve[before[1] - first : after[0] - first]
    if not len(middle):
        return []
    if abs(float(middle.min()) - curve[0]) > abs(float(middle.max()) - curve[0]):
        curve, axis = -curve, -axis
    seen = find_candidates(path, curve, first, HYSTERESES_RAD[2], is_start=False, is_end=False)
    if seen is None:
        return []
    likely = (seen.range_rad >= rules.smallest_rad) & (roundness(seen) < ROUND)
    runs = [_run(seen, [k], axis) for k in np.flatnonzero(likely).tolist()]
    return [(joints.in_plane(run)[1], run) for run in runs if _is_clean(path, run, joints)]


def _is_clean(path: SensorPath, run: Run, joints: Joints) -> bool:
    reach_m, explained = joints.in_plane(run)
    if not is_arm(reach_m) or explained < CLEAN:
        return False
    if not SHORTEST_UP_S <= run.template.up_s <= LONGEST_UP_S:
        return False
    up = path.up[run.first : run.last + 1]
    beside = np.arcsin(np.clip(up @ run.axis, -1.0, 1.0))
    if float(np.abs(beside - beside[0]).max()) > OFF_PLANE_RAD:
        return False
    low, high, low_after = joints.from_hanging(run)[0].tolist()
    return bool(abs(low) < HANGS_RAD and abs(low_after) < HANGS_RAD and high < HIGHEST_RAD)


def _run(seen: Candidates, members: list[int], axis: FloatArray) -> Run:
    rows: Samples = np.array(members)
    return Run(
        score=0.0,
        rank=0.0,
        movements=tuple(seen.movement(k) for k in members),
        template=template_of(seen, rows),
        curve="tilt",
        sign=1.0,
        axis=axis,
        candidates=seen,
        members=tuple(members),
    )
