"""What was planned for a week beside what was done."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from datetime import date, timedelta
from typing import Any

from armarc.log.coaching import Planned
from armarc.log.reading import LoggedSet


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

    def to_dict(self) -> dict[str, Any]:
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
    entries: Sequence[LoggedSet], plan: Mapping[str, Mapping[str, Planned]]
) -> list[PlannedWeek]:
    """Every week of each lifter who has a plan, from the first to the last with sets.

    Parameters
    ----------
    entries : sequence of LoggedSet
        Of any lifters.
    plan : mapping
        By lifter and exercise, per week.
    """
    out = []
    for lifter, planned in plan.items():
        own = [entry for entry in entries if entry.lifter == lifter]
        mondays = [entry.day - timedelta(days=entry.day.weekday()) for entry in own]
        exercises = [*planned, *dict.fromkeys(one.exercise for one in own if one.exercise not in planned)]
        week = min(mondays, default=date.max)
        while week <= max(mondays, default=date.min):
            for exercise in exercises:
                done = [e for e, m in zip(own, mondays, strict=True) if m == week and e.exercise == exercise]
                if done or exercise in planned:
                    out.append(_week(lifter, week, exercise, planned.get(exercise), done))
            week += timedelta(days=7)
    return out


def _week(
    lifter: str, monday: date, exercise: str, planned: Planned | None, done: Sequence[LoggedSet]
) -> PlannedWeek:
    clean = [entry.summary.get("clean_reps") for entry in done]
    loads = [entry.load_kg for entry in done if entry.load_kg is not None]
    return PlannedWeek(
        lifter=lifter,
        monday=monday,
        exercise=exercise,
        planned=planned,
        sets=len(done),
        reps=sum(entry.reps for entry in done),
        clean_reps=None if None in clean else sum(int(one or 0) for one in clean),
        load_kg=max(loads, default=None),
    )
