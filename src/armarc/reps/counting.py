"""Which movements are reps of a set, and which are walking, picking up and putting down, drinking.

One counter for a finished recording and for a running one: the same function over the movements at hand. It needs no
mounting and no exercise; an exercise that was named only says how large a movement may begin a set and about which
direction it turns.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from armarc.exercises import Exercise
from armarc.motion import up_in_sensor
from armarc.recording import BoolArray, FloatArray
from armarc.reps.believable import believable
from armarc.reps.beside import judged_beside
from armarc.reps.bounce import doubted_walk
from armarc.reps.edges import DOUBT, doubted, judged_inside
from armarc.reps.joint import Joints, told_apart
from armarc.reps.joint_parts import elbow_parts, swung_parts
from armarc.reps.largest_run import CountingRules
from armarc.reps.likeness import Template
from armarc.reps.movements import FULL_SET, Movement, full_rate
from armarc.reps.not_counted import (
    CIRCLE,
    NO_CYCLE,
    UNLIKE,
    LeftOut,
    movements_beside,
    spans,
    strangers_within,
    stretches_beside,
    why_not,
    without_reps,
)
from armarc.reps.parting import parting
from armarc.reps.path import SensorPath, angle_about, sensor_path, turning_axis
from armarc.reps.run import Run
from armarc.reps.run_cost import score_among
from armarc.reps.runs import best_run, run_of_newest
from armarc.reps.scattered import Left, scattered_sets
from armarc.reps.strides import is_walk

CURVES = {"elevation": ("tilt",), "horizontal": ("yaw", "tilt"), "movement": ("tilt", "yaw")}
UNKNOWN_SMALLEST = 1.0
"""A movement nobody named is sure to be a rep only from this many times its smallest range on."""
LONGEST_COUNTED_S = 1200.0
"""A recording of up to this long is counted as a whole, a longer one in windows of this length."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Counted:
    """Sets as movements in samples of the recording, what was left out, and what each set looks like."""

    sets: tuple[tuple[Movement, ...], ...]
    left_out: tuple[LeftOut, ...]
    templates: tuple[Template, ...]


def counting_rules(exercise: Exercise, arm_axis: FloatArray | None = None) -> CountingRules:
    """What an exercise says beforehand."""
    smallest = exercise.smallest_rom_rad
    return CountingRules(
        smallest_rad=UNKNOWN_SMALLEST * smallest if exercise.coordinate == "movement" else smallest,
        rest_s=exercise.rest_s,
        curves=CURVES[exercise.coordinate],
        arm_axis=arm_axis if exercise.coordinate == "elevation" else None,
        has_bottom=exercise.coordinate == "elevation",
        is_named=exercise.coordinate != "movement",
        is_raise=exercise.coordinate == "elevation" and exercise.sensor_place == "wrist",
    )


def count_sets(
    quaternion: FloatArray,
    angular_velocity_rad_s: FloatArray,
    specific_force_m_s2: FloatArray,
    rate_hz: float,
    rules: CountingRules,
    known: tuple[Template, ...] = (),
    *,
    alone: bool = True,
    explain: bool = True,
    judged: bool = True,
    missing: BoolArray | None = None,
) -> Counted:
    """Find the sets of one unbroken piece.

    Parameters
    ----------
    quaternion : ndarray, shape (n, 4)
        Sensor → global, scalar first.
    angular_velocity_rad_s : ndarray, shape (n, 3), rad/s
        Sensor axes, bias removed.
    specific_force_m_s2 : ndarray, shape (n, 3), m/s²
    rate_hz : float, Hz
    rules : CountingRules
    known : tuple of Template
        Sets seen before this piece.
    alone : bool
        Whether a movement or two make a set when nothing else happened.
    explain : bool
        Whether somebody wants to know what was left out: this is the end, and no later set is told by these.
    judged : bool
        Whether the joint that a set turns about has a say.
    missing : ndarray of bool, shape (n,), or None
        Samples that were filled in over a gap.

    Returns
    -------
    Counted
    """
    path = sensor_path(quaternion, angular_velocity_rad_s, rate_hz, specific_force_m_s2, missing)
    joints = Joints(
        path=path,
        quaternion=quaternion,
        angular_velocity_rad_s=angular_velocity_rad_s,
        specific_force_m_s2=specific_force_m_s2,
        rate_hz=rate_hz,
        missing=missing,
    )
    runs, others = find_runs(path, rules, known, joints if judged else None, alone=alone)
    runs, others, taken_off = _without_handling(
        path,
        runs,
        others,
        rules,
        known,
        joints if judged else None,
        is_alone=len(runs) + len(known) < 2,
        goes_on=not explain,
    )
    last = len(quaternion) - 1
    of_runs = sets = tuple(tuple(full_rate(m, path.every, last) for m in run.movements) for run in runs)
    if rules.is_raise:
        sets = _few_joined(runs, sets, rules.rest_s * rate_hz)
    if runs and rules.curves == CURVES["movement"]:
        # Loaded here: its signal package takes half a second that nobody else needs.
        from armarc.reps.cycles import by_cycles

        up = up_in_sensor(quaternion)
        sets = by_cycles(
            sets,
            lambda k: _full_curve(runs[k], up, angular_velocity_rad_s, rate_hz, path.every),
            angular_velocity_rad_s,
            specific_force_m_s2,
            rate_hz,
        )
    left_out: list[LeftOut] = []
    if explain:
        seen = [
            *movements_beside(path, runs, rules, taken_off, others),
            *strangers_within(runs, rules),
            *(out for run in others for out in spans([run.movements], why_not(run))),
        ]
        left_out = [
            replace(out, first=out.first * path.every, stop=min(out.stop * path.every, last + 1))
            for out in seen
        ]
        if rules.curves == CURVES["movement"] and sets != of_runs:
            left_out = without_reps([*left_out, *spans(of_runs, NO_CYCLE)], sets)
    return Counted(
        sets=sets,
        left_out=tuple(sorted(left_out, key=lambda out: out.first)),
        templates=tuple(_look_of(group, of_runs, runs) for group in sets),
    )


def _few_joined(
    runs: Sequence[Run], sets: tuple[tuple[Movement, ...], ...], rest: float
) -> tuple[tuple[Movement, ...], ...]:
    """Sets, to which a rep or two that follow or go before within less than a rest belong (in samples)."""
    done: list[tuple[Movement, ...]] = []
    for k, (run, group) in enumerate(zip(runs, sets, strict=True)):
        before = runs[k - 1] if k else run
        is_few = min(run.size, before.size) < FULL_SET and run.template.is_more_of(before.template)
        if done and is_few and group[0].bottom - done[-1][-1].bottom_after < rest:
            done[-1] += group
        else:
            done.append(group)
    return tuple(done)


def _look_of(group: tuple[Movement, ...], of_runs: Sequence[Sequence[Movement]], runs: list[Run]) -> Template:
    """What a set looks like: its cycles may have joined several runs."""
    first, last = group[0].bottom, group[-1].bottom_after
    shared = [sum(first <= m.top <= last for m in one) for one in of_runs]
    return runs[shared.index(max(shared))].template


def _without_handling(
    path: SensorPath,
    runs: list[Run],
    others: list[Run],
    rules: CountingRules,
    known: tuple[Template, ...],
    joints: Joints | None,
    *,
    is_alone: bool,
    goes_on: bool,
) -> tuple[list[Run], list[Run], list[tuple[int, int]]]:
    """Sets without what is none of their reps, what is none, and where that was at their ends; what is hardly a set is
    doubtful."""
    judged = [judged_inside(path, run, rules) for run in runs]
    taken_off = [off for _, each in judged for off in each]
    sets = [part for parts, _ in judged for part in parts]
    if joints is not None:
        sets, others = judged_beside(path, sets, others, rules, known, joints, goes_on=goes_on)
    sets = [
        doubted(
            run,
            is_all=run.may_be_walk
            or run.may_be_handling
            or not (
                is_alone or score_among(run, [*known, *(o.template for o in sets if o is not run)]) >= DOUBT
            ),
            is_alone=is_alone,
        )
        for run in sets
    ]
    return sets, others, taken_off


def find_runs(
    path: SensorPath,
    rules: CountingRules,
    known: tuple[Template, ...] = (),
    joints: Joints | None = None,
    *,
    alone: bool = True,
) -> tuple[list[Run], list[Run]]:
    """Find the sets of a path, and what is none (walks, and what turns about another joint), in time order."""
    of_raises = joints if rules.is_raise else None
    found, left = _along(path, rules, known, of_raises)
    if of_raises is not None:

        def beside(first: int, stop: int, more: tuple[Template, ...]) -> list[Run]:
            seen = (*known, *(run.template for run in found if not (run.is_walk or run.is_elbow)), *more)
            return _collect(path, first, stop, rules, seen, of_raises)[0]

        found += scattered_sets(found, left, beside, of_raises)
    found.sort(key=lambda run: run.first)
    others = [run for run in found if run.is_walk]
    runs = [run for run in found if not run.is_walk]
    if not runs and not known and alone:
        runs = _all_there_is(path, rules, others, left)
    if joints is not None:
        runs, of_other_joints = told_apart(runs, joints, known, is_raise=rules.is_raise)
        others += of_other_joints
    return believable(runs, rules, known), others


def _collect(
    path: SensorPath,
    first: int,
    stop: int,
    rules: CountingRules,
    known: tuple[Template, ...],
    joints: Joints | None,
) -> tuple[list[Run], Left]:
    """Take the best run of a stretch, then those before and after it; also, what stretches are left without one, and
    what falls short of one there.

    A walk and what turns about the elbow are taken out as a set would be, but make no other one likelier.
    """
    stretches = [(first, stop)]
    runs: list[Run] = []
    shown: list[Template] = []
    left: Left = {}
    while stretches:
        begin, end = stretches.pop()
        if end - begin < path.rate_hz:
            continue
        run = best_run(path, begin, end, rules, (*known, *shown))
        if run is None or run.score <= 0:
            left[begin, end] = run
            continue
        # Rests between single reps were taken for holds: told which end hangs, the stretch is searched again.
        if joints is not None and rules.arm_axis is None and joints.is_upside_down(run):
            rules = replace(rules, arm_axis=-joints.hanging(run)[0])
            stretches.append((begin, end))
            continue
        two = parting(path, begin, end, run, rules, (*known, *shown))
        if two:
            stretches += two
            continue
        parts = [] if joints is None else swung_parts(run, joints, begin, end - 1) or elbow_parts(run, joints)
        if parts:
            runs += parts
            edges = [begin, *(edge for part in parts for edge in (part.first, part.last)), end]
            stretches += zip(edges[::2], edges[1::2], strict=True)
            continue
        run = replace(doubted_walk(path, run), is_walk=is_walk(path, run))
        runs.append(run)
        shown += [] if run.is_walk else [run.template]
        stretches += [(begin, run.first), (run.last, end)]
    return runs, left


def _along(
    path: SensorPath, rules: CountingRules, known: tuple[Template, ...], joints: Joints | None
) -> tuple[list[Run], Left]:
    """Count a path window by window, so that it takes as long as the recording and not its square; as `_collect`.

    A run that reaches the end of its window may go on: the next window, which overlaps by a half, finds it again. What
    was left of the windows is looked at once more when a later one has shown another exercise.
    """
    length, rest = round(LONGEST_COUNTED_S * path.rate_hz), rules.rest_s * path.rate_hz
    runs: list[Run] = []
    shown = known
    over: list[tuple[int, int, int]] = []
    all_left: Left = {}
    first = 0
    while True:
        stop = min(first + length, len(path))
        found, left = _collect(path, first, stop, rules, shown, joints)
        before, next_first = len(shown), len(path)
        if stop < len(path):
            # A set that fills its window is taken as it is: none is that long.
            found = [run for run in found if run.last < stop - rest or run.last - run.first > length // 2]
            next_first = max(max((run.last for run in found), default=first), stop - length // 2)
        runs += found
        for run in found:
            is_shown = any(run.template.is_more_of(one) and one.is_more_of(run.template) for one in shown)
            if not (is_shown or run.is_walk or run.is_elbow):
                shown = (*shown, run.template)
        all_left |= left
        over += [(begin, min(end, next_first), before) for begin, end in left if begin < next_first]
        if stop == len(path):
            break
        first = next_first
    for begin, end, seen in over:
        # The stretches of the last window were looked at by those who know all.
        if seen < len(shown) and end < first:
            runs += _collect(path, begin, end, rules, shown, joints)[0]
    return runs, all_left


def _all_there_is(path: SensorPath, rules: CountingRules, others: list[Run], left: Left) -> list[Run]:
    """A movement or two make a set when nothing else of a rep's size happened but walking and the like."""
    beside = stretches_beside(path, others)  # as a rule the very ones that were left
    found = [left[each] if each in left else best_run(path, *each, rules) for each in beside]
    run = max((run for run in found if run is not None), key=lambda run: run.score, default=None)
    if run is None or run.template.range_rad < rules.smallest_rad or is_walk(path, run):
        return []
    is_alone = not any(
        out.reason in (UNLIKE, CIRCLE)
        for one in (run, replace(run, sign=-run.sign))  # either way
        for out in movements_beside(path, [one], rules, (), others)
    )
    return [run] if is_alone else []


def run_in_progress(
    path: SensorPath, since: int, rules: CountingRules, known: tuple[Template, ...]
) -> Run | None:
    """What the newest movement may turn out to be: it and those like it before it, while too few to be a set.

    Parameters
    ----------
    path : SensorPath
    since : int
        Sample of the path at which the newest movement left its bottom, about.
    rules : CountingRules
    known : tuple of Template

    Returns
    -------
    Run or None
        None when it is too small to begin a set, hurried handling or walking.
    """
    axis = turning_axis(path, since, len(path))
    if axis is None:
        axis = np.eye(3)[0]
    run = run_of_newest(path, since, axis, rules)
    if run is None:
        return None
    is_large = run.template.range_rad >= rules.smallest_rad
    is_like = any(run.template.is_more_of(other) for other in known)
    is_handling = bool(known) and run.template.is_handling_beside(known[-1])
    return run if (is_large or is_like) and not is_handling and not is_walk(path, run) else None


def _full_curve(run: Run, up: FloatArray, omega: FloatArray, rate_hz: float, every: int) -> FloatArray:
    """The angle a run was found on, at the full rate, its break where the run is not."""
    if run.curve == "tilt":
        return run.sign * angle_about(up, run.axis, slice(run.first * every, run.last * every + 1))
    return np.asarray(run.sign * np.cumsum(np.einsum("ij,ij->i", up, omega)) / rate_hz)
