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
from armarc.reps.bounce import doubted_walk
from armarc.reps.candidates import find_candidates
from armarc.reps.edges import DOUBT, doubted, judge_ends
from armarc.reps.largest_run import CountingRules
from armarc.reps.likeness import Template, resting_share, swings
from armarc.reps.movements import Movement
from armarc.reps.path import SensorPath, angle_about, rests_within, sensor_path, turning_axis
from armarc.reps.rounds import circles
from armarc.reps.runs import HYSTERESES_RAD, Run, best_run, run_of_newest
from armarc.reps.strides import is_walk, without_walks

CURVES = {"elevation": ("tilt",), "horizontal": ("yaw", "tilt"), "movement": ("tilt", "yaw")}
UNKNOWN_SMALLEST = 1.0
"""A movement nobody named is sure to be a rep only from this many times its smallest range on."""
LONGEST_COUNTED_S = 1200.0
"""A recording of up to this long is counted as a whole, a longer one in windows of this length."""
UNLIKE = "unlike the reps beside it, or too few alike"
NO_RISE = "turns as a rep does, but the arm's angle does not rise in it: check exercise, arm and how the sensor sits"
NO_CYCLE = "counted by its turning and no cycle of its set"
SWING = "a swing of a walking arm"
CIRCLE = "goes round in a circle: it does not come back the way it went out"
AT_AN_END = "right before or after a set and unlike its reps: picking up, putting down, reaching"


@dataclass(frozen=True, slots=True, kw_only=True)
class LeftOut:
    """A movement that was seen and not counted; sample range, and why."""

    first: int
    stop: int
    reason: str


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
        Whether somebody wants to know what was left out.
    missing : ndarray of bool, shape (n,), or None
        Samples that were filled in over a gap.

    Returns
    -------
    Counted
    """
    path = sensor_path(quaternion, angular_velocity_rad_s, rate_hz, specific_force_m_s2, missing)
    runs, walks = find_runs(path, rules, known, alone=alone)
    runs, taken_off = _without_handling(path, runs, is_alone=len(runs) + len(known) < 2)
    last = len(quaternion) - 1
    of_runs = sets = tuple(tuple(full_rate(m, path.every, last) for m in run.movements) for run in runs)
    if runs and rules.curves == CURVES["movement"]:
        # Loaded here: its signal package takes half a second that nobody else needs.
        from armarc.reps.cycles import by_cycles

        up = up_in_sensor(quaternion)
        sets = by_cycles(
            sets,
            lambda k: _full_curve(runs[k], up, angular_velocity_rad_s, rate_hz),
            angular_velocity_rad_s,
            specific_force_m_s2,
            rate_hz,
        )
    left_out: list[LeftOut] = []
    if explain:
        seen = [
            *_left_out(path, runs, rules, taken_off, walks),
            *_strangers_within(runs, rules),
            *_spans([walk.movements for walk in walks], SWING),
        ]
        left_out = [
            replace(out, first=out.first * path.every, stop=min(out.stop * path.every, last + 1))
            for out in seen
        ]
        if sets != of_runs:
            left_out = _without_reps([*left_out, *_spans(of_runs, NO_CYCLE)], sets)
    return Counted(
        sets=sets,
        left_out=tuple(sorted(left_out, key=lambda out: out.first)),
        templates=tuple(_look_of(group, of_runs, runs) for group in sets),
    )


def _look_of(group: tuple[Movement, ...], of_runs: Sequence[Sequence[Movement]], runs: list[Run]) -> Template:
    """What a set looks like: its cycles may have joined several runs."""
    first, last = group[0].bottom, group[-1].bottom_after
    shared = [sum(first <= m.top <= last for m in one) for one in of_runs]
    return runs[shared.index(max(shared))].template


def unplaced(counted: Sequence[Sequence[Movement]], placed: Sequence[Movement]) -> list[LeftOut]:
    """Movements that were counted and on the angle that is measured have no rise, or none that could be bounded."""
    done = {m.bottom for m in placed}
    return _spans([[m for m in group if m.bottom not in done] for group in counted], NO_RISE)


def _spans(sets: Sequence[Sequence[Movement]], reason: str) -> list[LeftOut]:
    return [LeftOut(first=m.bottom, stop=m.bottom_after + 1, reason=reason) for group in sets for m in group]


def _without_reps(left_out: list[LeftOut], sets: Sequence[Sequence[Movement]]) -> list[LeftOut]:
    """Without those whose middle lies in a movement that counts."""
    reps = [m for group in sets for m in group]
    return [
        out
        for out in left_out
        if not any(m.bottom <= (out.first + out.stop) // 2 <= m.bottom_after for m in reps)
    ]


def _without_handling(
    path: SensorPath, runs: list[Run], *, is_alone: bool
) -> tuple[list[Run], list[tuple[int, int]]]:
    """Sets without what is none of their reps at their ends, and where that was; what is hardly a set is doubtful."""
    judged = [judge_ends(path, run) for run in runs]
    sets = [
        doubted(run, is_all=run.may_be_walk or (run.score < DOUBT and not is_alone), is_alone=is_alone)
        for run, _ in judged
    ]
    return sets, [off for _, taken_off in judged for off in taken_off]


def find_runs(
    path: SensorPath, rules: CountingRules, known: tuple[Template, ...] = (), *, alone: bool = True
) -> tuple[list[Run], list[Run]]:
    """Find the sets of a path, and the walks, in time order."""
    found = sorted(_along(path, rules, known), key=lambda run: run.first)
    walks = [run for run in found if run.is_walk]
    runs = [run for run in found if not run.is_walk]
    if not runs and not known and alone:
        runs = _all_there_is(path, rules, walks)
    return _believable(runs, rules, known), walks


def _collect(
    path: SensorPath, first: int, stop: int, rules: CountingRules, known: tuple[Template, ...]
) -> tuple[list[Run], list[tuple[int, int]]]:
    """Take the best run of a stretch, then those before and after it; also, what stretches are left without one.

    A walk is taken out as a set would be, but makes no other one likelier.
    """
    stretches: list[tuple[int, int, Run | None]] = [(first, stop, None)]
    runs: list[Run] = []
    left: list[tuple[int, int]] = []
    while stretches:
        begin, end, beside = stretches.pop()
        if end - begin < path.rate_hz:
            continue
        known_now = (*known, *(r.template for r in runs if not r.is_walk))
        run = best_run(path, begin, end, rules, known_now, beside)
        if run is None or run.score <= 0:
            left.append((begin, end))
            continue
        runs += without_walks(path, doubted_walk(path, run))
        stretches += [(begin, run.first, run), (run.last, end, run)]
    return runs, left


def _along(path: SensorPath, rules: CountingRules, known: tuple[Template, ...]) -> list[Run]:
    """Count a path window by window, so that it takes as long as the recording and not its square.

    A run that reaches the end of its window may go on: the next window, which overlaps by a half, finds it again. What
    was left of the windows is looked at once more when a later one has shown another exercise.
    """
    length, rest = round(LONGEST_COUNTED_S * path.rate_hz), rules.rest_s * path.rate_hz
    runs: list[Run] = []
    shown = known
    over: list[tuple[int, int, int]] = []
    first = 0
    while True:
        stop = min(first + length, len(path))
        found, left = _collect(path, first, stop, rules, shown)
        before, next_first = len(shown), len(path)
        if stop < len(path):
            # A set that fills its window is taken as it is: none is that long.
            found = [run for run in found if run.last < stop - rest or run.last - run.first > length // 2]
            next_first = max(max((run.last for run in found), default=first), stop - length // 2)
        runs += found
        for run in found:
            is_shown = any(run.template.is_more_of(one) and one.is_more_of(run.template) for one in shown)
            if not (is_shown or run.is_walk):
                shown = (*shown, run.template)
        over += [(begin, min(end, next_first), before) for begin, end in left if begin < next_first]
        if stop == len(path):
            break
        first = next_first
    for begin, end, seen in over:
        # The stretches of the last window were looked at by those who know all.
        if seen < len(shown) and end < first:
            runs += _collect(path, begin, end, rules, shown)[0]
    return runs


def _all_there_is(path: SensorPath, rules: CountingRules, walks: list[Run]) -> list[Run]:
    """A movement or two make a set when nothing else of a rep's size happened but walking."""
    found = [best_run(path, *stretch, rules) for stretch in _beside(path, walks)]
    run = max((run for run in found if run is not None), key=lambda run: run.score, default=None)
    if run is None or run.template.range_rad < rules.smallest_rad or is_walk(path, run):
        return []
    is_alone = not any(
        out.reason in (UNLIKE, CIRCLE)
        for one in (run, replace(run, sign=-run.sign))  # either way
        for out in _left_out(path, [one], rules, (), walks)
    )
    return [run] if is_alone else []


def _beside(path: SensorPath, runs: Sequence[Run]) -> list[tuple[int, int]]:
    """The stretches of a path beside some runs."""
    within = sorted((run.first, run.last) for run in runs)
    edges = [0, *(edge for ends in within for edge in ends), len(path)]
    return [(first, stop) for first, stop in zip(edges[::2], edges[1::2], strict=True) if stop - first >= 2]


def _believable(runs: list[Run], rules: CountingRules, known: tuple[Template, ...]) -> list[Run]:
    """Leave out runs that are handling beside the main sets: hurried, and another movement; and walking."""
    if not runs:
        return runs
    is_named = rules.curves != CURVES["movement"]
    of_reps = [run for run in runs if not (is_named and run.template.is_stride)] or runs
    main = max(of_reps, key=lambda run: run.score).template if not known else known[-1]
    return [
        run
        for run in runs
        if not run.template.is_walk_beside(main) and not (is_named and run.template.is_handling_beside(main))
    ]


def _left_out(
    path: SensorPath,
    runs: list[Run],
    rules: CountingRules,
    taken_off: Sequence[tuple[int, int]],
    walks: Sequence[Run],
) -> list[LeftOut]:
    """Movements of at least half the smallest range beside sets and walks; some were taken off the sets' ends."""
    out = [LeftOut(first=first, stop=stop, reason=AT_AN_END) for first, stop in taken_off]
    for first, stop in _beside(path, [*runs, *walks]):
        axis = turning_axis(path, first, stop)
        if axis is None:
            continue
        curve = _facing(runs, axis) * angle_about(path.up[first:stop], axis)
        found = find_candidates(
            path,
            curve,
            first,
            max(0.5 * rules.smallest_rad, HYSTERESES_RAD[0]),
            is_start=first == 0,
            is_end=stop == len(path),
        )
        if found is None:
            continue
        rests = rests_within(path, first, stop)
        walking = swings(found, resting_share(found, curve, first, rests, path.rate_hz))
        round_ones = circles(found) & rules.is_named
        for k in range(len(found)):
            if any(a <= found.top[k] < b for a, b in taken_off):
                continue
            reason = (
                "cut by the start or the end of the recording"
                if found.is_cut[k]
                else SWING
                if walking[k]
                else CIRCLE
                if round_ones[k]
                else UNLIKE
            )
            out.append(
                LeftOut(first=int(found.bottom[k]), stop=int(found.bottom_after[k]) + 1, reason=reason)
            )
    return sorted(out, key=lambda one: one.first)


def _strangers_within(runs: list[Run], rules: CountingRules) -> list[LeftOut]:
    """Movements of at least half the smallest range between a set's reps and unlike them."""
    out = []
    for run in runs:
        seen, members = run.candidates, set(run.members)
        for k in range(run.members[0], run.members[-1]):
            if k not in members and seen.range_rad[k] >= 0.5 * rules.smallest_rad:
                first, stop = int(seen.bottom[k]), int(seen.bottom_after[k]) + 1
                out.append(LeftOut(first=first, stop=stop, reason=UNLIKE))
    return out


def _facing(runs: list[Run], axis: FloatArray) -> float:
    """Sign with which an angle about an axis rises where the main set's did: a movement goes from bottom to bottom."""
    main = max((run for run in runs if run.curve == "tilt"), key=lambda run: run.size, default=None)
    return 1.0 if main is None or main.sign * float(main.axis @ axis) >= 0 else -1.0


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


def _full_curve(run: Run, up: FloatArray, omega: FloatArray, rate_hz: float) -> FloatArray:
    """The angle a run was found on, at the full rate."""
    if run.curve == "tilt":
        return run.sign * angle_about(up, run.axis)
    return np.asarray(run.sign * np.cumsum(np.einsum("ij,ij->i", up, omega)) / rate_hz)


def full_rate(movement: Movement, every: int, last: int) -> Movement:
    """A movement of a path in samples of the recording, the last of which is `last`."""
    return replace(
        movement,
        bottom=min(movement.bottom * every, last),
        top=min(movement.top * every, last),
        bottom_after=min(movement.bottom_after * every, last),
        earliest=min(movement.earliest * every, last),
        latest=min(movement.latest * every, last),
    )
