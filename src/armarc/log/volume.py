"""How much was done in each week, and for each part of the deltoid by the shares that a coach may edit."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from statistics import median
from typing import Any

import numpy as np

from armarc.log.coaching import PARTS, PartShares, WeekRule
from armarc.log.measures import find_measure
from armarc.log.reading import LoggedSet
from armarc.log.table import IntArray, SetTable, as_table
from armarc.published import as_published, published
from armarc.recording import FloatArray

REPS, LOAD = find_measure("reps"), find_measure("load_kg")
TENSION, LOADED = find_measure("time_under_tension_s"), find_measure("loaded_range_s")
IMPULSES = (find_measure("summary:loaded_range_impulse_n_m_s"), find_measure("summary:impulse_n_m_s"))
"""Impulse of the shoulder moment, the loaded range first."""

VOLUME = (REPS, LOAD, TENSION, LOADED, *IMPULSES)
"""What a week is summed up from."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Week:
    """Training of one lifter in one ISO 8601 week.

    Parameters
    ----------
    lifter : str
    monday : date
    sets, reps : int
    time_under_tension_s : float
    loaded_range_s : float
        Time inside the exercise's loaded range.
    load_reps_kg : float or None
        Sum of load times reps over the sets with a known load; None when no set has one.
    impulse_n_m_s : float or None
        Impulse of the shoulder moment where it was worked out.
    without_impulse : tuple of int
        Numbers of the sets it was not worked out for: no load was stated, or it could not be.
    """

    lifter: str
    monday: date
    sets: int
    reps: int
    time_under_tension_s: float
    loaded_range_s: float
    load_reps_kg: float | None
    impulse_n_m_s: float | None
    without_impulse: tuple[int, ...] = field(default=(), metadata=as_published(key="sets_without_impulse"))

    def to_dict(self) -> dict[str, Any]:
        """JSON-ready."""
        year, week, _ = self.monday.isocalendar()
        return {"lifter": self.lifter, "week": f"{year}-W{week:02d}"} | published(self, 2)


def weekly_volume(sets: Sequence[LoggedSet] | SetTable) -> list[Week]:
    """Volume per lifter and week, from each lifter's first to the last, weeks without training included."""
    table = as_table(sets, *VOLUME)
    return [
        week for number in np.unique(table.lifter) for week in _of_lifter(table.take(table.lifter == number))
    ]


def impulse_of(table: SetTable) -> FloatArray:
    """Impulse of each set, shape (n,), in the loaded range where that is known; NaN without one."""
    impulse = np.full(len(table), np.nan)
    for measure in reversed(IMPULSES):
        impulse = np.where(np.isnan(table.of(measure)), impulse, table.of(measure))
    return impulse


def lighter_weeks(weeks: Sequence[Week], rule: WeekRule, today: date) -> set[tuple[str, date]]:
    """Lifter and Monday of the weeks that were lighter than those before; a week that is not over is none yet.

    What counts is load × reps where every week has it, else reps, against the median of the last usual weeks before:
    weeks without training and lighter ones are not usual.
    """
    found = set()
    by_lifter: dict[str, list[Week]] = {}
    for week in weeks:
        by_lifter.setdefault(week.lifter, []).append(week)
    for lifter, all_of in by_lifter.items():
        own = [week for week in all_of if week.sets]
        loaded = all(week.load_reps_kg is not None for week in own)
        usual: list[float] = []
        for week in own:
            amount = float(week.load_reps_kg or 0) if loaded else float(week.reps)
            before = usual[-round(rule.lighter_of_weeks) :]
            over = today >= week.monday + timedelta(days=7)
            if len(before) >= 2 and 100 * amount < rule.lighter_pct * median(before):
                if over:
                    found.add((lifter, week.monday))
                continue
            usual.append(amount)
    return found


def lighter_words(lighter: Collection[tuple[str, date]], rule: WeekRule) -> str:
    """Which weeks were lighter, and by which rule; empty where none was."""
    if not lighter:
        return ""
    weeks = ", ".join(f"{monday}" for _, monday in sorted(lighter, key=lambda one: one[1]))
    return (
        f"Lighter weeks (under {rule.lighter_pct:g} % of the median of up to {rule.lighter_of_weeks:.0f} weeks "
        f"before; our own rule, no source): {weeks}."
    )


def _of_lifter(table: SetTable) -> list[Week]:
    # Day 1 of the calendar was a Monday.
    week = (table.day - 1) // 7
    first = int(week.min())
    week -= first
    sums = {measure.key: _sum(week, table.of(measure)) for measure in VOLUME}
    lifted = _sum(week, table.of(LOAD) * table.of(REPS))
    impulse = impulse_of(table)
    pushed = _sum(week, impulse)
    count = np.bincount(week)
    none = np.isnan(impulse)
    without = table.set_id[none][np.lexsort((table.set_id[none], week[none]))]
    missing = np.bincount(week[none], minlength=len(count))
    ends = np.cumsum(missing)
    return [
        Week(
            lifter=table.sessions[int(table.session[0])].lifter,
            monday=date.fromordinal(7 * (first + place) + 1),
            sets=int(count[place]),
            reps=round(sums["reps"][place] or 0),
            time_under_tension_s=sums[TENSION.key][place] or 0.0,
            loaded_range_s=sums[LOADED.key][place] or 0.0,
            load_reps_kg=lifted[place],
            impulse_n_m_s=pushed[place],
            without_impulse=tuple(without[ends[place] - missing[place] : ends[place]].tolist()),
        )
        for place in range(len(count))
    ]


def without_impulse_words(weeks: Sequence[Week]) -> str:
    """Which sets have no impulse, where some have one; empty where all or none have."""
    if all(week.impulse_n_m_s is None for week in weeks):
        return ""
    ids = sorted(number for week in weeks for number in week.without_impulse)
    if not ids:
        return ""
    return (
        f"No impulse for {len(ids)} of {sum(week.sets for week in weeks)} sets (no load stated, or no model for it), "
        f"so weeks with them read low: {ranges(ids)}."
    )


def ranges(numbers: Sequence[int]) -> str:
    """Rising numbers as people write them: ``3, 5-9, 12``."""
    parts: list[list[int]] = []
    for number in numbers:
        if parts and number == parts[-1][-1] + 1:
            parts[-1][1:] = [number]
        else:
            parts.append([number])
    return ", ".join("-".join(map(str, part)) for part in parts)


def _sum(week: IntArray, values: FloatArray) -> list[float | None]:
    """Sum by week; None in a week in which no set has a value."""
    known = ~np.isnan(values)
    total = np.bincount(week[known], weights=values[known], minlength=int(week.max()) + 1)
    count = np.bincount(week[known], minlength=len(total))
    return [float(value) if n else None for value, n in zip(total, count, strict=True)]


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
    without_impulse: int = field(metadata=as_published(key="sets_without_impulse"))

    def to_dict(self) -> dict[str, object]:
        """JSON-ready."""
        return {"lifter": self.lifter, "side": self.side, "part": self.part} | published(self, 2)


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
