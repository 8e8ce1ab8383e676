"""Movements that could be reps: up and down again, large enough."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from statistics import median

from armarc.recording import FloatArray

BEGUN_SHARE = 0.75
"""A first rise smaller than this share of the fall after it had begun before the recording did; so at the end."""
FULL_SET = 3
"""So many look-alikes make a set by themselves."""
LEAD_S = 3.0
"""How long before its bottom and after it a movement's phases may be looked for."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Movement:
    """An excursion: sample indices of the bottoms beside it and of its top.

    `earliest` and `latest` are the neighbouring tops (or the ends): how far its phases may be looked for.
    `is_open` tells that the recording ended before the arm came down again, `is_begun` that it started when
    the arm was already up; `is_doubtful` that it may be none of its set's reps.
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
    is_doubtful: bool = False


def any_from_above(sets: Sequence[Sequence[Movement]], elevation_rad: FloatArray) -> bool:
    """Whether the arm shows that what was taken for the bottom of a set's reps is their top.

    Parameters
    ----------
    sets : sequence of sequence of Movement
    elevation_rad : ndarray, shape (n,), rad
    """
    rises = [[elevation_rad[m.top] - elevation_rad[m.bottom] for m in group] for group in sets]
    return any(median(of_set) < 0 for of_set in rises)


def turned_over(sets: Sequence[Sequence[Movement]]) -> tuple[tuple[Movement, ...], ...]:
    """The movements between the tops of each set's, which are its reps where tops were taken for bottoms."""
    return tuple(
        tuple(
            replace(one, bottom=one.top, top=one.bottom_after, bottom_after=following.top)
            for one, following in pairwise(group)
        )
        for group in sets
        if len(group) > 1
    )


def on_angle(
    sets: tuple[tuple[Movement, ...], ...], angle_rad: FloatArray, rate_hz: float
) -> tuple[tuple[Movement, ...], ...]:
    """Find the tops of counted movements again on the angle they are measured on.

    Parameters
    ----------
    sets : tuple of tuple of Movement
        In time order.
    angle_rad : ndarray, shape (n,), rad
    rate_hz : float, Hz

    Returns
    -------
    tuple of tuple of Movement
        With rises and falls of that angle; movements that do not rise on it are left out.
    """
    lead = round(LEAD_S * rate_hz)
    last = len(angle_rad) - 1
    done: list[tuple[Movement, ...]] = []
    free = 0
    for k, group in enumerate(sets):
        until = sets[k + 1][0].bottom if k + 1 < len(sets) else last
        tops = [m.bottom + int(angle_rad[m.bottom : m.bottom_after + 1].argmax()) for m in group]
        moved = []
        for j, (m, top) in enumerate(zip(group, tops, strict=True)):
            before, after = m.bottom, m.bottom_after
            rise = float(angle_rad[top] - angle_rad[before])
            fall = float(angle_rad[top] - angle_rad[after])
            if (fall if m.is_begun else rise) <= 0:
                continue
            moved.append(
                replace(
                    m,
                    top=top,
                    earliest=max(m.earliest, tops[j - 1]) if j else max(free, min(m.earliest, before - lead)),
                    latest=min(m.latest, tops[j + 1])
                    if j + 1 < len(group)
                    else max(after, min(until, after + lead)),
                    rise_rad=fall if m.is_begun else rise,
                    fall_rad=rise if m.is_open else fall,
                )
            )
        if moved:
            done.append(tuple(moved))
            free = group[-1].bottom_after
    return tuple(done)


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
