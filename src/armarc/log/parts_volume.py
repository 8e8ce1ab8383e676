"""Weekly volume for each part of the deltoid, by the shares that a coach may edit."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

import numpy as np

from armarc.log.coaching import PARTS, PartShares
from armarc.log.reading import LoggedSet
from armarc.log.table import SetTable, as_table
from armarc.log.volume import REPS, TENSION, VOLUME, by_lifter, impulse_of
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

    def to_dict(self) -> dict[str, Any]:
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
    exercises = [task.exercise for task in table.tasks]
    used = {exercises[task] for task in table.task.tolist()}
    out = [week for rows in by_lifter(table) for week in _of_lifter(rows, parts)]
    return out, sorted(used - set(parts))


def _of_lifter(table: SetTable, parts: Mapping[str, PartShares]) -> list[PartWeek]:
    week = (table.day - 1) // 7
    sides = [task.side for task in table.tasks]
    impulse = impulse_of(table)
    amounts = np.stack([np.ones(len(table)), table.of(REPS), table.of(TENSION), impulse], axis=-1)
    amounts, known = np.nan_to_num(amounts), ~np.isnan(impulse)
    name = table.sessions[int(table.session[0])].lifter
    out = []
    for side in dict.fromkeys(sides):
        on_side = np.array([one == side for one in sides], bool)[table.task]
        for part in PARTS:
            share = _shares(table, parts, part) * on_side
            counts = share[1] > 0
            for monday in np.unique(week[counts]).tolist():
                there = week == monday
                pairs = (share[:, there] @ amounts[there]).T.tolist()
                sets, reps, tension, pushed = ((low, high) for low, high in pairs)
                out.append(
                    PartWeek(
                        lifter=name,
                        part=part,
                        side=side,
                        monday=date.fromordinal(7 * monday + 1),
                        sets=sets,
                        reps=reps,
                        time_under_tension_s=tension,
                        impulse_n_m_s=pushed if bool((known & counts & there).any()) else None,
                        without_impulse=int((~known & counts & there).sum()),
                    )
                )
    order = {key: place for place, key in enumerate(dict.fromkeys(sides))}
    return sorted(out, key=lambda one: (one.monday, order[one.side], PARTS.index(one.part)))


def _shares(table: SetTable, parts: Mapping[str, PartShares], part: str) -> FloatArray:
    """Lowest and highest share of each of the sets, shape (2, n)."""
    by_task = np.array(
        [parts[task.exercise].shares[part] if task.exercise in parts else (0.0, 0.0) for task in table.tasks]
    )
    return np.asarray(by_task[table.task].T, float)
