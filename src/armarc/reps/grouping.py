"""Which movements are reps of one set, and which are walking, picking up and putting down, drinking.

A set is a run of movements that look alike: the same way up for the sensor at the top, about the same range
from about the same bottom. What stands alone beside it and looks different is handling.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from itertools import pairwise

import numpy as np

from armarc.recording import BoolArray, FloatArray
from armarc.reps.movements import (
    HYSTERESIS_SHARE_OF_SMALLEST,
    Movement,
    clusters,
    find_movements,
    half_rise_rad_s,
    refine,
    rest_between,
    span_up,
    typical_rise,
)

ALIKE_DIRECTION_RAD = math.radians(35)
ALIKE_RANGE = 1.7
LEAST_RANGE_OF_SET = 0.4
MOST_RANGE_OF_SET = 1.6
MOST_FASTER = 1.8
MOST_SLOWER = 8.0
ALIKE_SPEED = 4.0
BRIEF = 0.65
SLOWER_RISE = 0.75
"""A rep stays up, for its range, at least this share of its set's time: arm swing is brief. A partial rep may be
briefer only when its rise is clearly slower (it was dropped)."""
SAME_DIRECTION_RAD = math.radians(20)
SAME_RANGE = 1.35
SAME_SPEED = 1.8
"""Closer bounds for a small group that stands apart: is it another set of the same exercise?"""
FULL_SET = 3
"""A group this large may stand by itself; a smaller one must resemble the main one or be all there is."""
UNHURRIED_RAD_S = math.radians(90)
GOOD_RANGE_RAD = math.radians(60)
UNHURRIED_CYCLE_S = 1.5
HURRIED = 2.0
"""Movements this many times as fast as the main set's are no set of their own."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Grouping:
    """Sets as lists of movements, and how many movements were left out."""

    sets: tuple[tuple[Movement, ...], ...]
    left_out: int


def group_movements(
    angle_rad: FloatArray,
    top_feature: FloatArray,
    rate_hz: float,
    smallest_rom_rad: float,
    rest_s: float,
) -> Grouping:
    """Find the sets of one evenly sampled piece.

    Parameters
    ----------
    angle_rad : ndarray, shape (n,), rad
        θ of the exercise.
    top_feature : ndarray, shape (n, 3)
        Unit vectors that tell how the sensor is held (global up in sensor axes).
    rate_hz : float, Hz
    smallest_rom_rad : float, rad
    rest_s : float, s
        A rest this long ends a set.

    Returns
    -------
    Grouping
    """
    hysteresis = HYSTERESIS_SHARE_OF_SMALLEST * smallest_rom_rad
    found = find_movements(angle_rad, hysteresis, smallest_rom_rad)
    groups: list[list[Movement]] = []
    total = 0
    parted = clusters(angle_rad, found, rest_s, rate_hz)
    for k, cluster in enumerate(parted):
        look = partial(
            refine,
            angle_rad,
            smallest_rad=smallest_rom_rad,
            rate_hz=rate_hz,
            not_before=parted[k - 1][-1].bottom_after if k else 0,
            not_after=parted[k + 1][0].bottom if k + 1 < len(parted) else None,
        )
        movements = known = look(cluster)
        total += len(movements)
        while movements:
            alike, movements = _largest_alike(angle_rad, top_feature, movements, rate_hz)
            if movements:
                # Larger movements among the reps have raised the bar for partial ones.
                again = _seen_alone(angle_rad, top_feature, alike, known, look, rate_hz)
                total += len(again) - len(alike)
                alike = again
            for part in clusters(angle_rad, alike, rest_s, rate_hz):
                groups.append(part)
            if len(alike) < FULL_SET:
                for movement in movements:
                    groups.append([movement])
                break
    kept = _believable(angle_rad, top_feature, groups, rate_hz)
    kept = _joined(angle_rad, top_feature, kept, rate_hz, rest_s)
    kept = [part for group in kept if (part := _without_false_start(angle_rad, group, rate_hz))]
    kept.sort(key=lambda group: group[0].top)
    counted = sum(len(group) for group in kept)
    return Grouping(sets=tuple(tuple(group) for group in kept), left_out=total - counted)


def _seen_alone(
    angle_rad: FloatArray,
    top_feature: FloatArray,
    alike: list[Movement],
    known: list[Movement],
    look: Callable[[list[Movement]], list[Movement]],
    rate_hz: float,
) -> list[Movement]:
    """Look with a hysteresis scaled to one group alone for reps of it that are none of the known movements."""
    seen = look(alike)
    spans = [span_up(angle_rad, m) for m in known]
    new = [m for m in seen if not any(first <= m.top <= stop for first, stop in spans)]
    if not 0 < len(new) <= max(1, len(alike) // 3):
        return alike  # partial reps are few; more than that is another movement
    same = {m.top: m for m in seen}
    both = sorted([*(same.get(m.top, m) for m in alike), *new], key=lambda m: m.top)
    kept, _ = _largest_alike(angle_rad, top_feature, both, rate_hz)
    return kept if len(kept) > len(alike) else alike


def _features(
    angle_rad: FloatArray, top_feature: FloatArray, movements: list[Movement], rate_hz: float
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    up = np.array([top_feature[m.top] for m in movements])
    rise = np.log([m.rise_rad for m in movements])
    bottom = np.array([min(angle_rad[m.bottom], angle_rad[m.bottom_after]) for m in movements])
    speed = np.log([max(half_rise_rad_s(angle_rad, m, rate_hz), 1e-3) for m in movements])
    return up, rise, bottom, speed


def _largest_alike(
    angle_rad: FloatArray, top_feature: FloatArray, movements: list[Movement], rate_hz: float
) -> tuple[list[Movement], list[Movement]]:
    """Split into the largest group of look-alikes and the rest."""
    up, rise, bottom, speed = _features(angle_rad, top_feature, movements, rate_hz)
    turned = np.arccos(np.clip(up @ up.T, -1, 1))
    larger = rise[:, None] - rise[None, :]
    raised = bottom[:, None] - bottom[None, :]
    faster = speed[:, None] - speed[None, :]
    near = np.abs(raised) < 0.5 * np.exp(rise)[None, :]
    ratio = np.exp(larger)
    up = np.array([stop - first + 1 for first, stop in (span_up(angle_rad, m) for m in movements)])
    lasting = up[:, None] / up[None, :] > BRIEF * np.minimum(ratio, 1.0)
    evenly = np.abs(faster) < math.log(ALIKE_SPEED)
    alike = (turned < ALIKE_DIRECTION_RAD) & (np.abs(larger) < math.log(ALIKE_RANGE)) & near & evenly
    same = (turned < SAME_DIRECTION_RAD) & (np.abs(larger) < math.log(SAME_RANGE)) & near & lasting
    # Beside a centre, partial reps of the same kind belong to the set as well: their tops lie on the way to the
    # centre's top, and they are tired, not quick.
    is_cut = np.array([m.is_open or m.is_begun for m in movements])[:, None]
    tired = (ratio > 1) | is_cut | lasting | (faster < math.log(SLOWER_RISE))
    smaller = (
        _on_the_way(ratio, turned) & (ratio > LEAST_RANGE_OF_SET) & (ratio < MOST_RANGE_OF_SET) & near & tired
    )
    paced = (faster < math.log(MOST_FASTER)) & (faster > -math.log(MOST_SLOWER))
    belongs = ((smaller | alike) & paced) | (same & evenly)
    likely = np.array(
        [
            _likeness_of_a_rep(m.rise_rad, math.exp(v), rate_hz, m)
            for m, v in zip(movements, speed, strict=True)
        ]
    )
    # The centre of a set is itself like a rep, not only beside many that are.
    centre = int(np.argmax((likely @ belongs) * np.sqrt(likely)))
    belongs = belongs[:, centre]
    kept = [m for m, keep in zip(movements, belongs, strict=True) if keep]
    rest = [m for m, keep in zip(movements, belongs, strict=True) if not keep]
    return kept, rest


def _likeness_of_a_rep(rise_rad: float, speed_rad_s: float, rate_hz: float, movement: Movement) -> float:
    """How much a movement is like a rep, 0 to 1: unhurried, of a good range, not at the cadence of walking."""
    cycle_s = (movement.bottom_after - movement.bottom) / rate_hz
    return (
        min(1.0, UNHURRIED_RAD_S / speed_rad_s) ** 2
        * min(1.0, rise_rad / GOOD_RANGE_RAD)
        * min(1.0, cycle_s / UNHURRIED_CYCLE_S) ** 2
    )


def _on_the_way(ratio: FloatArray, turned: FloatArray) -> BoolArray:
    missing = np.maximum(1 - ratio, 0.0) * math.radians(100)
    return turned < ALIKE_DIRECTION_RAD + missing


@dataclass(frozen=True, slots=True, kw_only=True)
class _Manner:
    """How a group moves: typical range, median speed of the middle of the rise, median time from top to top.

    ``score`` adds up how much its movements are like reps: scratching and arm swing are quick or small.
    """

    size: int
    range_rad: float
    speed_rad_s: float
    cycle_s: float
    score: float

    def is_as_unhurried_as(self, main: _Manner) -> bool:
        """Whether a group moves about as slowly as the main one, so that it may be another exercise."""
        return self.speed_rad_s < HURRIED * main.speed_rad_s and main.cycle_s < HURRIED * self.cycle_s * (
            1 + 1 / max(self.size - 1, 1)
        )


def _manner(angle_rad: FloatArray, group: list[Movement], rate_hz: float) -> _Manner:
    speeds = [half_rise_rad_s(angle_rad, m, rate_hz) for m in group]
    tops = [m.top for m in group]
    cycles = [(b - a) / rate_hz for a, b in pairwise(tops)]
    alone = (group[0].bottom_after - group[0].bottom) / rate_hz
    return _Manner(
        size=len(group),
        range_rad=typical_rise(group),
        speed_rad_s=max(float(np.median(speeds)), 1e-3),
        cycle_s=float(np.median(cycles)) if cycles else alone,
        score=sum(
            _likeness_of_a_rep(m.rise_rad, max(v, 1e-3), rate_hz, m)
            for m, v in zip(group, speeds, strict=True)
        ),
    )


def _believable(
    angle_rad: FloatArray, top_feature: FloatArray, groups: list[list[Movement]], rate_hz: float
) -> list[list[Movement]]:
    """Keep the main group, what looks like it, and full groups that move as unhurriedly (another exercise)."""
    if not groups:
        return []
    manners = [_manner(angle_rad, group, rate_hz) for group in groups]
    best = max(range(len(groups)), key=lambda k: manners[k].score)
    main = groups[best]
    if len(main) == 1 and len(groups) > 1:
        # Several single movements that do not look alike are handling, not sets.
        return []
    kept = []
    for k, group in enumerate(groups):
        is_alike = _is_like(angle_rad, top_feature, main, group, manners[best], manners[k])
        is_other = len(group) >= FULL_SET and manners[k].is_as_unhurried_as(manners[best])
        if k == best or is_alike or is_other:
            kept.append(group)
    return kept


def _joined(
    angle_rad: FloatArray,
    top_feature: FloatArray,
    groups: list[list[Movement]],
    rate_hz: float,
    rest_s: float,
) -> list[list[Movement]]:
    """Put together what a change of pace inside one set has separated."""
    joined: list[list[Movement]] = []
    for group in sorted(groups, key=lambda g: g[0].top):
        before = joined[-1] if joined else None
        if before is not None:
            both = sorted([*before, *group], key=lambda m: m.top)
            rests = [rest_between(angle_rad, a, b) / rate_hz for a, b in pairwise(both)]
            one, other = _manner(angle_rad, before, rate_hz), _manner(angle_rad, group, rate_hz)
            large, small = (before, group) if len(before) >= len(group) else (group, before)
            is_like = _is_like(angle_rad, top_feature, large, small, one, other, pace=ALIKE_SPEED)
            if max(rests) < rest_s and is_like:
                joined[-1] = both
                continue
        joined.append(group)
    return joined


def _is_like(
    angle_rad: FloatArray,
    top_feature: FloatArray,
    main: list[Movement],
    group: list[Movement],
    main_manner: _Manner,
    manner: _Manner,
    *,
    pace: float = SAME_SPEED,
) -> bool:
    """Whether a group looks like another set of the main exercise: its largest reps held, ranged and paced alike."""
    here = max(group, key=lambda m: m.rise_rad)
    angles = [math.acos(max(-1.0, min(1.0, float(top_feature[here.top] @ top_feature[m.top])))) for m in main]
    low, main_low = angle_rad[here.bottom], np.median([angle_rad[m.bottom] for m in main])
    return (
        float(np.median(angles)) < SAME_DIRECTION_RAD
        and 1 / SAME_RANGE < manner.range_rad / main_manner.range_rad < SAME_RANGE
        and 1 / pace < manner.speed_rad_s / main_manner.speed_rad_s < pace
        and abs(float(low - main_low)) < 0.25 * main_manner.range_rad
    )


def _without_false_start(angle_rad: FloatArray, group: list[Movement], rate_hz: float) -> list[Movement]:
    """A recording may start in the middle of a rep, but lowering the arm into position is none.

    The first movement, begun before the recording, counts only when it comes down about as far as the others
    go up and the next rep follows as promptly as they follow each other.
    """
    if not group[0].is_begun:
        return group
    others = group[1:]
    if len(others) < FULL_SET:
        return others
    typical = float(np.median([m.rise_rad for m in others]))
    pauses = [rest_between(angle_rad, a, b) for a, b in pairwise(others)]
    prompt = max(2 * float(np.median(pauses)), rate_hz)
    lowered = float(angle_rad[group[0].top] - angle_rad[group[0].bottom_after])
    held_s = group[0].top / rate_hz
    longest = max((m.bottom_after - m.bottom) / rate_hz for m in others)
    is_rep = lowered > 0.5 * typical and rest_between(angle_rad, group[0], others[0]) <= prompt
    return group if is_rep and held_s < longest else others
