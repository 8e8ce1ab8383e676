"""What a coach may edit: the rule of the next step, a lighter week, the plan of a week (held beside what was done),
shares of the deltoid."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, field, fields
from datetime import date
from functools import cache
from importlib.resources import files
from pathlib import Path
from typing import Any

import numpy as np

from armarc.computer import config_folder
from armarc.errors import FormatError
from armarc.log.measures import find_measure
from armarc.log.reading import LoggedSet
from armarc.log.table import SetTable, as_table
from armarc.quantities import HEAVIEST_LOAD_KG
from armarc.strict_toml import Check, Unfit, checked, number, parse_toml, read_toml, text

FILE_NAME = "coaching.toml"
PARTS = ("anterior", "middle", "posterior")


@dataclass(frozen=True, slots=True, kw_only=True)
class NextRule:
    """When a step of the load is open; shares in %, see ``coaching.toml``."""

    step_kg: float
    largest_step_pct: float
    sessions: float
    clean_pct: float
    lowest_rir: float
    in_band_pct: float
    rom_kept_pct: float
    back_clean_pct: float

    @property
    def words(self) -> str:
        """The rule as it is printed under what it says."""
        return (
            f"Rule (our own, no source; coaching.toml changes it): a step of {self.step_kg:g} kg is open when over "
            f"the last {self.sessions:.0f} sessions at the newest load, lighter weeks left out, at least "
            f"{self.clean_pct:g} % of the reps were clean, {self.in_band_pct:g} % of the starts inside the band where "
            f"there is one, the range kept {self.rom_kept_pct:g} % of what it was before, and no set said under "
            f"{self.lowest_rir:g} RIR. It describes and does not order. Never chase the number; with pain nothing is "
            "open."
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class WeekRule:
    """When a week was a lighter one."""

    lighter_pct: float
    lighter_of_weeks: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Planned:
    """What is meant for an exercise in a week; None where nothing is."""

    sets: float
    reps: float | None = None
    load_kg: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class PartShares:
    """Share of a set that counts for each part of the deltoid, lowest and highest, with what that rests on."""

    shares: Mapping[str, tuple[float, float]]
    source: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Coaching:
    """Everything in force: armarc's own table, changed by the coach's."""

    next: NextRule
    weeks: WeekRule
    parts: Mapping[str, PartShares]
    plan: Mapping[str, Mapping[str, Planned]] = field(default_factory=dict)
    file: Path | None = None


def coaching_template() -> str:
    """The commented table that holds when nothing is changed."""
    return files("armarc.log").joinpath(FILE_NAME).read_text(encoding="utf-8")


def load_coaching(folder: Path | None = None) -> Coaching:
    """Read the coach's table over armarc's own.

    Raises
    ------
    InputError, FormatError
        The file cannot be read, or a key or a value is not what it should be.
    """
    own = default_coaching()
    path = (config_folder() if folder is None else folder) / FILE_NAME
    if not path.exists():
        return own
    return _read(read_toml(path), path, own)


@cache
def default_coaching() -> Coaching:
    """What is in force where no coach changed anything."""
    table = parse_toml(coaching_template().encode(), FILE_NAME)
    return _read(table, Path(FILE_NAME), None)


_PERCENT, _WEEKS = number(0, 100, "%"), number(2, 52, "weeks")
_NEXT: dict[str, Check] = {one.name: _PERCENT for one in fields(NextRule)} | {
    "step_kg": number(0.1, 50, "kg"),
    "sessions": number(1, 50),
    "lowest_rir": number(0, 10),
}
_WEEK: dict[str, Check] = {"lighter_pct": _PERCENT, "lighter_of_weeks": _WEEKS}
_PLANNED: dict[str, Check] = {
    "sets": number(0, 1000),
    "reps": number(0, 100_000),
    "load_kg": number(0, HEAVIEST_LOAD_KG, "kg"),
}


def _share(value: Any) -> tuple[float, float]:
    pair = value if isinstance(value, list) else [value, value]
    if len(pair) != 2 or any(isinstance(one, bool) or not isinstance(one, int | float) for one in pair):
        raise Unfit("a share from 0 to 1, or the lowest and the highest, such as [0.25, 1.0]")
    if not 0 <= pair[0] <= pair[1] <= 1:
        raise Unfit("a share from 0 to 1, or the lowest and the highest, such as [0.25, 1.0]")
    return float(pair[0]), float(pair[1])


_PARTS: dict[str, Check] = {**dict.fromkeys(PARTS, _share), "source": text(), "as": text(longest=80)}


def _read(table: Mapping[str, Any], path: Path, below: Coaching | None) -> Coaching:
    def rows(name: str) -> dict[str, object]:
        found = table.get(name, {})
        if not isinstance(found, dict):
            raise FormatError(f"{name} is a table", f"write  [{name}]", file=str(path), column=name)
        return found

    tables = ("next", "weeks", "parts", "plan")
    checked(table, dict.fromkeys(tables, lambda value: value), file=str(path))
    rule = checked(rows("next"), _NEXT, file=str(path), name="next")
    weeks = checked(rows("weeks"), _WEEK, file=str(path), name="weeks")
    plan = {
        str(lifter): {
            str(exercise): _planned(one, path, f"plan.{lifter}.{exercise}")
            for exercise, one in _table(planned, path, f"plan.{lifter}").items()
        }
        for lifter, planned in rows("plan").items()
    }
    parts = dict(below.parts) if below else {}
    for exercise, one in rows("parts").items():
        name = f"parts.{exercise}"
        found = checked(_table(one, path, name), _PARTS, file=str(path), name=name)
        if "as" in found:
            if found["as"] not in parts:
                raise FormatError(
                    f"{found['as']} has no shares above", "name one that has", file=str(path), column=name
                )
            parts[exercise] = parts[found["as"]]
            continue
        shares = {part: found.get(part, (0.0, 0.0)) for part in PARTS}
        parts[exercise] = PartShares(shares=shares, source=found.get("source", "as stated by you, no source"))
    over = {one.name: getattr(below.next, one.name) for one in fields(NextRule)} if below else {}
    week = {one.name: getattr(below.weeks, one.name) for one in fields(WeekRule)} if below else {}
    return Coaching(
        next=NextRule(**over | rule),
        weeks=WeekRule(**week | weeks),
        parts=parts,
        plan=plan,
        file=path if below else None,
    )


def _table(value: object, path: Path, name: str) -> dict[str, object]:
    if not isinstance(value, dict):
        raise FormatError("expected a table", f"write  [{name}]", file=str(path), column=name)
    return value


def _planned(value: Any, path: Path, name: str) -> Planned:
    found = checked(_table(value, path, name), _PLANNED, file=str(path), name=name)
    if "sets" not in found:
        raise FormatError("sets is missing", "write  { sets = 6 }", file=str(path), column=name)
    return Planned(**found)


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
