"""What was planned for a week beside what was done."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from datetime import date

import numpy as np

from armarc.log.coaching import Planned
from armarc.log.measures import find_measure
from armarc.log.reading import LoggedSet
from armarc.log.table import SetTable, as_table

ASKED = REPS, CLEAN, LOAD = tuple(find_measure(key) for key in ("reps", "clean_reps", "load_kg"))
"""Measures of sets that a plan is held against."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PlannedWeek:
    """One exercise of one lifter in one week; what was planned is None where nothing was, what was done never.

    ``load_kg`` is the heaviest that was done, None where none was stated.
    """

    lifter: str
    monday: date
    exercise: str
    planned: Planned | None
    sets: int
    reps: int
    clean_reps: int | None
    load_kg: float | None

    def to_dict(self) -> dict[str, object]:
        """JSON-ready."""
        return asdict(self) | {"monday": self.monday.isoformat()}

    @property
    def words(self) -> str:
        """The difference in sets."""
        if self.planned is None:
            return "not planned"
        apart = self.sets - self.planned.sets
        return "as planned" if not apart else f"{apart:+g} set{'s' * (abs(apart) != 1)}"


def planned_weeks(
    sets: Sequence[LoggedSet] | SetTable, plan: Mapping[str, Mapping[str, Planned]]
) -> list[PlannedWeek]:
    """Every week of each lifter who has a plan, from the first to the last with sets.

    Parameters
    ----------
    sets : sequence of LoggedSet, or SetTable with the values of `ASKED`
        Of any lifters.
    plan : mapping
        By lifter and exercise, per week.
    """
    table = as_table(sets, *ASKED).in_time
    names = [task.exercise for task in table.tasks]
    out = []
    for lifter, planned in plan.items():
        own = table.take(np.array([key.lifter == lifter for key in table.sessions], bool)[table.session])
        # Day 1 of the calendar was a Monday.
        week = (own.day - 1) // 7
        exercises = dict.fromkeys([*planned, *(names[task] for task in own.task.tolist())])
        for monday in range(week.min(), week.max() + 1) if len(own) else ():
            for exercise in exercises:
                is_done = np.array([name == exercise for name in names], bool)[own.task] & (week == monday)
                if is_done.any() or exercise in planned:
                    day = date.fromordinal(7 * monday + 1)
                    out.append(_week(lifter, day, exercise, planned.get(exercise), own.take(is_done)))
    return out


def _week(lifter: str, monday: date, exercise: str, planned: Planned | None, done: SetTable) -> PlannedWeek:
    clean, load = done.of(CLEAN), done.of(LOAD)
    loads = load[~np.isnan(load)]
    return PlannedWeek(
        lifter=lifter,
        monday=monday,
        exercise=exercise,
        planned=planned,
        sets=len(done),
        reps=round(done.of(REPS).sum()),
        clean_reps=None if np.isnan(clean).any() else round(clean.sum()),
        load_kg=float(loads.max()) if len(loads) else None,
    )
