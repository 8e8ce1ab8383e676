"""Weekly volume for each part of the deltoid, by the shares that a coach may edit."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np

from armarc.log.coaching import PARTS, PartShares
from armarc.log.reading import LoggedSet
from armarc.log.table import SetTable, as_table
from armarc.log.volume import REPS, TENSION, VOLUME, impulse_of
from armarc.recording import FloatArray

Range = tuple[float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class PartWeek:
    """What one part of one arm's deltoid got in a week, each from the lowest to the highest share.

    Parameters
    ----------
    lifter, part : str
    side : str or None
        None where no side was stated.
    monday : date
    sets, reps, time_under_tension_s : pair of float
    impulse_n_m_s : pair of float or None
        Of the shoulder's moment, which all muscles about it share; None where no set has one.
    without_impulse : int
        Sets that count for the part and have none.
    """

    lifter: str
    part: str
    side: str | None
    monday: date
    sets: Range
    reps: Range
    time_under_tension_s: Range
    impulse_n_m_s: Range | None
    without_impulse: int

    def to_dict(self) -> dict[str, object]:
        """JSON-ready."""
        pairs = {
            name: None if (pair := getattr(self, name)) is None else [round(value, 2) for value in pair]
            for name in ("sets", "reps", "time_under_tension_s", "impulse_n_m_s")
        }
        return {
            "lifter": self.lifter,
            "side": self.side,
            "part": self.part,
            "monday": self.monday.isoformat(),
            **pairs,
            "sets_without_impulse": self.without_impulse,
        }


def parts_volume(
    sets: Sequence[LoggedSet] | SetTable, parts: Mapping[str, PartShares]
) -> tuple[list[PartWeek], list[str]]:
    """Volume per lifter, week, side and part, and the exercises that have no shares.

    Parameters
    ----------
    sets : sequence of LoggedSet, or SetTable
        With the values of `armarc.log.volume.VOLUME`.
    parts : mapping
        Shares by exercise key.
    """
    table = as_table(sets, *VOLUME)
    out = [week for part in PARTS for week in _of_part(table, part, parts)]
    sides = {task.side: place for place, task in reversed(list(enumerate(table.tasks)))}
    out.sort(key=lambda week: (week.lifter, week.monday, sides[week.side], PARTS.index(week.part)))
    return out, sorted(table.exercises - set(parts))


def _of_part(table: SetTable, part: str, parts: Mapping[str, PartShares]) -> list[PartWeek]:
    """Weeks of one part of every lifter's arms."""
    share = _shares(table, parts, part)
    counts = share[1] > 0
    share, table = share[:, counts], table.take(counts)
    sides = list(dict.fromkeys(task.side for task in table.tasks))
    side = np.array([sides.index(task.side) for task in table.tasks], np.int64)[table.task]
    # Day 1 of the calendar was a Monday.
    week = (table.day - 1) // 7
    code = (table.lifter * (week.max(initial=0) + 1) + week) * len(sides) + side
    _, first, group = np.unique(code, return_index=True, return_inverse=True)
    impulse = impulse_of(table)
    amounts = (np.ones(len(table)), table.of(REPS), np.nan_to_num(table.of(TENSION)), np.nan_to_num(impulse))
    sums = [[np.bincount(group, weights=one * amount).tolist() for one in share] for amount in amounts]
    sets, reps, tension, pushed = (list(zip(*pair, strict=True)) for pair in sums)
    without = np.bincount(group, weights=np.isnan(impulse)).astype(int).tolist()
    known = np.bincount(group, weights=~np.isnan(impulse)).tolist()
    return [
        PartWeek(
            lifter=table.sessions[int(table.session[row])].lifter,
            part=part,
            side=sides[int(side[row])],
            monday=date.fromordinal(7 * int(week[row]) + 1),
            sets=sets[k],
            reps=reps[k],
            time_under_tension_s=tension[k],
            impulse_n_m_s=pushed[k] if known[k] else None,
            without_impulse=without[k],
        )
        for k, row in enumerate(first.tolist())
    ]


def _shares(table: SetTable, parts: Mapping[str, PartShares], part: str) -> FloatArray:
    """Lowest and highest share of each of the sets, shape (2, n)."""
    by_task = np.array(
        [parts[task.exercise].shares[part] if task.exercise in parts else (0.0, 0.0) for task in table.tasks]
    )
    return np.asarray(by_task[table.task].T, float)
