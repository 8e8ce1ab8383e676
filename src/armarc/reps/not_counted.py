"""What was seen and is no rep, and why, in samples of the path: beside the sets, and between their reps."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from armarc.recording import FloatArray
from armarc.reps.candidates import find_candidates
from armarc.reps.largest_run import CountingRules
from armarc.reps.likeness import resting_share, swings
from armarc.reps.movements import Movement
from armarc.reps.path import SensorPath, angle_about, furthest_axes, rests_within, turning_axis
from armarc.reps.rounds import circles
from armarc.reps.run import Run
from armarc.reps.runs import HYSTERESES_RAD

UNLIKE = "unlike the reps beside it, or too few alike"
NO_RISE = "turns as a rep does, but the arm's angle does not rise in it: check exercise, arm and how the sensor sits"
NO_CYCLE = "counted by its turning and no cycle of its set"
SWING = "an arm swung to and fro: walking, loosening up"
CIRCLE = "goes round in a circle: it does not come back the way it went out"
ELBOW = (
    "turns about the elbow or wrist and not about the shoulder: drinking, a look at a watch, another exercise"
)
LINE = "goes along a line and not about the shoulder: pushing, pressing"
AT_AN_END = "right before or after a set and unlike its reps: picking up, putting down, reaching"


@dataclass(frozen=True, slots=True, kw_only=True)
class LeftOut:
    """A movement that was seen and not counted; sample range, and why."""

    first: int
    stop: int
    reason: str


def unplaced(counted: Sequence[Sequence[Movement]], placed: Sequence[Movement]) -> list[LeftOut]:
    """Movements that were counted and on the angle that is measured have no rise, or none that could be bounded."""
    done = {m.bottom for m in placed}
    return spans([[m for m in group if m.bottom not in done] for group in counted], NO_RISE)


def spans(sets: Sequence[Sequence[Movement]], reason: str) -> list[LeftOut]:
    """All movements of some sets, with one reason."""
    return [LeftOut(first=m.bottom, stop=m.bottom_after + 1, reason=reason) for group in sets for m in group]


def without_reps(left_out: list[LeftOut], sets: Sequence[Sequence[Movement]]) -> list[LeftOut]:
    """Without those whose middle lies in a movement that counts."""
    reps = [m for group in sets for m in group]
    return [
        out
        for out in left_out
        if not any(m.bottom <= (out.first + out.stop) // 2 <= m.bottom_after for m in reps)
    ]


def why_not(run: Run) -> str:
    """Why a run is no set."""
    if run.is_walk:
        return SWING
    return ELBOW if run.is_elbow else LINE


def stretches_beside(path: SensorPath, runs: Sequence[Run]) -> list[tuple[int, int]]:
    """The stretches of a path beside some runs."""
    within = sorted((run.first, run.last) for run in runs)
    edges = [0, *(edge for ends in within for edge in ends), len(path)]
    return [(first, stop) for first, stop in zip(edges[::2], edges[1::2], strict=True) if stop - first >= 2]


def movements_beside(
    path: SensorPath,
    runs: list[Run],
    rules: CountingRules,
    taken_off: Sequence[tuple[int, int]],
    others: Sequence[Run],
) -> list[LeftOut]:
    """Movements of at least half the smallest range beside sets and runs that are none; some were taken off ends."""
    out = [LeftOut(first=first, stop=stop, reason=AT_AN_END) for first, stop in taken_off]
    for first, stop in stretches_beside(path, [*runs, *others]):
        for axis in _axes(path, first, stop, runs):
            seen = _movements_about(path, first, stop, axis, rules)
            out += [one for top, one in seen if not any(other.first <= top < other.stop for other in out)]
    return sorted(out, key=lambda one: one.first)


def _axes(path: SensorPath, first: int, stop: int, runs: list[Run]) -> list[FloatArray]:
    """What a stretch turns about, and the main set or else what is next: about the first a rep may not show."""
    main = max((run for run in runs if run.curve == "tilt"), key=lambda run: run.size, default=None)
    own = turning_axis(path, first, stop)
    if main is not None:
        beside = [main.sign * main.axis]
        facing = own is None or float(own @ beside[0]) >= 0
    else:
        axes = furthest_axes(path, first, stop)
        beside, facing = ([] if axes is None else [*axes[1:]]), True
    return beside if own is None else [own if facing else -own, *beside]


def _movements_about(
    path: SensorPath, first: int, stop: int, axis: FloatArray, rules: CountingRules
) -> list[tuple[int, LeftOut]]:
    """Movements about an axis, each with the sample of its top."""
    curve = angle_about(path.up[first:stop], axis)
    found = find_candidates(
        path,
        curve,
        first,
        max(0.5 * rules.smallest_rad, HYSTERESES_RAD[0]),
        is_start=first == 0,
        is_end=stop == len(path),
    )
    if found is None:
        return []
    rests = rests_within(path, first, stop)
    walking = swings(found, resting_share(found, curve, first, rests, path.rate_hz))
    round_ones = circles(found) & rules.is_named
    out = []
    for k in range(len(found)):
        reason = (
            "cut by the start or the end of the recording"
            if found.is_cut[k]
            else SWING
            if walking[k]
            else CIRCLE
            if round_ones[k]
            else UNLIKE
        )
        one = LeftOut(first=int(found.bottom[k]), stop=int(found.bottom_after[k]) + 1, reason=reason)
        out.append((int(found.top[k]), one))
    return out


def strangers_within(runs: list[Run], rules: CountingRules) -> list[LeftOut]:
    """Movements of at least half the smallest range between a set's reps and unlike them."""
    out = []
    for run in runs:
        seen, members = run.candidates, set(run.members)
        for k in range(run.members[0], run.members[-1]):
            if k not in members and seen.range_rad[k] >= 0.5 * rules.smallest_rad:
                first, stop = int(seen.bottom[k]), int(seen.bottom_after[k]) + 1
                out.append(LeftOut(first=first, stop=stop, reason=UNLIKE))
    return out
