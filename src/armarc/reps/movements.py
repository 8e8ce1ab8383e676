"""Movements that could be reps: up and down again, large enough."""

from __future__ import annotations

from dataclasses import dataclass, replace

from armarc.recording import FloatArray
from armarc.reps.turning import Turn, turning_points

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
