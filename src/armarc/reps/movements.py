"""Movements that could be reps: up and down again, large enough."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from armarc.recording import FloatArray
from armarc.reps.turning import Turn, turning_points

HYSTERESIS_SHARE_OF_SMALLEST = 0.5
HYSTERESIS_SHARE_OF_TYPICAL = 0.35
"""Within a set, a reversal smaller than this share of the typical range is a wobble or a bounce."""
BEGUN_SHARE = 0.75
"""A first rise smaller than this share of the fall after it had begun before the recording did."""
LEAST_SHARE_OF_TYPICAL = 0.4
"""A rep smaller than this share of the typical range is not counted, not even as a partial one."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Movement:
    """An excursion: sample indices of the bottoms beside it and of its top.

    `earliest` and `latest` are the neighbouring tops (or the ends): how far its phases may be looked for.
    `is_open` tells that the recording ended before the arm came down again, `is_begun` that it started when
    the arm was already up.
    """

    bottom: int
    top: int
    bottom_after: int
    earliest: int
    latest: int
    rise_rad: float
    fall_rad: float
    is_open: bool = False
    is_begun: bool = False


def find_movements(
    angle_rad: FloatArray, hysteresis_rad: float, smallest_rad: float, *, offset: int = 0
) -> list[Movement]:
    """Find every up-and-down of at least `smallest_rad`.

    Parameters
    ----------
    angle_rad : ndarray, shape (n,), rad
    hysteresis_rad : float, rad
    smallest_rad : float, rad
        Least rise of a movement; its fall may be half of that.
    offset : int
        Added to every sample index (when the curve is a part of a longer one).

    Returns
    -------
    list of Movement
        In time order.
    """
    turns = turning_points(angle_rad, hysteresis_rad)
    movements = []
    for k, top in enumerate(turns):
        if not top.is_top:
            continue
        before = turns[k - 1] if k > 0 else Turn(0, float(angle_rad[0]), False)
        is_open = k + 1 == len(turns)
        after = Turn(len(angle_rad) - 1, float(angle_rad[-1]), False) if is_open else turns[k + 1]
        rise, fall = top.angle_rad - before.angle_rad, top.angle_rad - after.angle_rad
        is_begun = k == 0 or (before.index == 0 and rise < BEGUN_SHARE * fall)
        if is_begun:
            # The way up is not in the recording: the way down has to stand for the range.
            if is_open or fall < smallest_rad:
                continue
            rise = fall
        elif rise < smallest_rad or top.index == before.index or (not is_open and fall < 0.5 * smallest_rad):
            continue
        earliest = turns[k - 2].index if k >= 2 else 0
        latest = turns[k + 2].index if k + 2 < len(turns) else len(angle_rad) - 1
        movements.append(
            Movement(
                bottom=before.index + offset,
                top=top.index + offset,
                bottom_after=after.index + offset,
                earliest=earliest + offset,
                latest=latest + offset,
                rise_rad=rise,
                fall_rad=fall,
                is_open=is_open,
                is_begun=is_begun,
            )
        )
    return movements


def typical_rise(movements: list[Movement]) -> float:
    """Median rise of the larger half: partial reps and wobbles do not pull it down, rad."""
    rises = np.sort([m.rise_rad for m in movements if not m.is_begun] or [m.rise_rad for m in movements])
    return float(np.median(rises[len(rises) // 2 :]))


def refine(
    angle_rad: FloatArray,
    cluster: list[Movement],
    smallest_rad: float,
    rate_hz: float,
    *,
    not_before: int = 0,
    not_after: int | None = None,
) -> list[Movement]:
    """Look again at a cluster of movements with a hysteresis scaled to its own range.

    Parameters
    ----------
    angle_rad : ndarray, shape (n,), rad
    cluster : list of Movement
    smallest_rad : float, rad
    rate_hz : float, Hz
    not_before, not_after : int
        Samples that belong to the neighbouring clusters begin here: the last bottom of the one before and the
        first bottom of the one after.

    Returns
    -------
    list of Movement
        Those of at least `LEAST_SHARE_OF_TYPICAL` of the typical rise.
    """
    typical = typical_rise(cluster)
    hysteresis = max(HYSTERESIS_SHARE_OF_SMALLEST * smallest_rad, HYSTERESIS_SHARE_OF_TYPICAL * typical)
    # Inside a set a partial rep may be smaller than the smallest movement that makes a set.
    least = max(HYSTERESIS_SHARE_OF_SMALLEST * smallest_rad, LEAST_SHARE_OF_TYPICAL * typical)
    # A partial rep beside the cluster takes about as long as the others.
    cycle = float(np.median([m.bottom_after - m.bottom for m in cluster]))
    margin = round(min(max(2 * rate_hz, 1.5 * cycle), 15 * rate_hz))
    first, last = cluster[0].bottom - margin, cluster[-1].bottom_after + margin
    if not_before == 0 and first <= margin:
        first = 0
    if not_after is None and last >= len(angle_rad) - 1 - margin:
        last = len(angle_rad) - 1
    first = max(first, not_before)
    last = min(last, len(angle_rad) - 1 if not_after is None else not_after)
    found = find_movements(angle_rad[first : last + 1], hysteresis, least, offset=first)
    # Only the ends of the recording cut a movement; the ends of this look do not.
    is_start, is_end = first == 0, last >= len(angle_rad) - 1
    return [m for m in found if (is_end or not m.is_open) and (is_start or not m.is_begun)]


def clusters(
    angle_rad: FloatArray, movements: list[Movement], rest_s: float, rate_hz: float
) -> list[list[Movement]]:
    """Split movements where the arm rests at the bottom for at least `rest_s`."""
    groups: list[list[Movement]] = []
    for movement in movements:
        if groups and rest_between(angle_rad, groups[-1][-1], movement) / rate_hz < rest_s:
            groups[-1].append(movement)
        else:
            groups.append([movement])
    return groups


def rest_between(angle_rad: FloatArray, before: Movement, after: Movement) -> int:
    """Samples between the end of one movement and the start of the next."""
    return max(0, _leaves(angle_rad, after) - _returns(angle_rad, before))


def _returns(angle_rad: FloatArray, movement: Movement) -> int:
    part = angle_rad[movement.top : movement.bottom_after + 1]
    level = angle_rad[movement.bottom_after] + 0.25 * movement.fall_rad
    down = (part <= level).nonzero()[0]
    return movement.top + int(down[0]) if len(down) else movement.bottom_after


def _leaves(angle_rad: FloatArray, movement: Movement) -> int:
    if movement.is_begun:
        return movement.top
    part = angle_rad[movement.bottom : movement.top + 1]
    level = angle_rad[movement.bottom] + 0.25 * movement.rise_rad
    return movement.bottom + int((part <= level).nonzero()[0][-1])


def span_up(angle_rad: FloatArray, movement: Movement) -> tuple[int, int]:
    """Samples between which a movement stays above a quarter of its range; as much of it as was recorded."""
    return _leaves(angle_rad, movement), _returns(angle_rad, movement)


def half_rise_rad_s(angle_rad: FloatArray, movement: Movement, rate_hz: float) -> float:
    """Mean rate over the middle half of the rise, rad/s: how fast the movement is, whatever its pauses."""
    if movement.is_begun:  # only the way down is there: read it backward
        part = angle_rad[movement.top : movement.bottom_after + 1][::-1]
    else:
        part = angle_rad[movement.bottom : movement.top + 1]
    low, rise = float(part[0]), float(part[-1] - part[0])
    start = (part <= low + 0.25 * rise).nonzero()[0][-1]
    stop = (part >= low + 0.75 * rise).nonzero()[0]
    stop = stop[stop > start]
    return 0.5 * rise * rate_hz / float(stop[0] - start) if len(stop) else 0.0
