"""The same task the last time, as the log has it, and today against it."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date
from typing import TYPE_CHECKING, Any

from armarc.quantities import DEFAULT_LIFTER
from armarc.tasks import Task

if TYPE_CHECKING:
    from armarc.log.reading import LoggedSet
    from armarc.log.store import Store

_COMPARED = (
    ("mean_start_velocity_deg_s", "start", "°/s"),
    ("mean_rom_deg", "range", "°"),
    ("velocity_loss_pct", "loss", "%"),
)
"""Key of a summary, its word and its unit."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LastTime:
    """The sets of the last day on which the same lifter did the same with the same arm, in order.

    Parameters
    ----------
    day : date
    sets : tuple of LoggedSet
    """

    day: date
    sets: tuple[LoggedSet, ...]

    def words(self, place: int = 1) -> str:
        """What was lifted in the set of this place of the day (the last one beyond them)."""
        one = self.at(place)
        return f"last time ({self.day:%d %b}): {_facts(one.load_kg, one.reps, one.summary)}"

    def at(self, place: int) -> LoggedSet:
        """The set of this place, 1 the first."""
        return self.sets[min(max(place, 1), len(self.sets)) - 1]

    def against(self, place: int, reps: int, load_kg: float | None, summary: dict[str, Any]) -> str:
        """Today's set against that of the same place; it says what differs and judges nothing."""
        one = self.at(place)
        parts = [f"{reps} reps ({reps - one.reps:+d})"]
        if load_kg != one.load_kg and load_kg is not None and one.load_kg is not None:
            parts.insert(0, f"{load_kg - one.load_kg:+.3g} kg")
        for key, word, unit in _COMPARED:
            now, then = summary.get(key), one.summary.get(key)
            if isinstance(now, int | float) and isinstance(then, int | float):
                space = "" if unit == "°" else " "
                parts.append(f"{word} {now:.0f}{space}{unit} ({round(now) - round(then):+d})")
        return f"since {self.day:%d %b}: {', '.join(parts)}"


def last_time(store: Store, task: Task, today: date) -> LastTime | None:
    """The last day before today with this lifter, exercise, variant and arm; None when there is none.

    Parameters
    ----------
    store : Store
    task : Task
    today : date
    """
    # The database is loaded by who asks it: a session without the log begins without.
    from armarc.log.reading import Filter, list_sets

    where = Filter(
        lifter=task.lifter or DEFAULT_LIFTER,
        exercise=task.exercise,
        variant=task.variant or "",
        side=task.side,
    )
    newest = next((one for one in list_sets(store, where, limit=200) if one.day < today), None)
    if newest is None:
        return None
    sets = list_sets(store, replace(where, since=newest.day, until=newest.day))
    return LastTime(day=newest.day, sets=tuple(reversed(sets)))


def _facts(load_kg: float | None, reps: int, summary: dict[str, Any]) -> str:
    parts = [] if load_kg is None else [f"{load_kg:.4g} kg"]
    parts.append(f"{reps} rep{'s' * (reps != 1)}")
    for key, word, unit in _COMPARED[:2]:
        if isinstance(value := summary.get(key), int | float):
            parts.append(f"{word} {value:.0f}{'' if unit == '°' else ' '}{unit}")
    return ", ".join(parts)
