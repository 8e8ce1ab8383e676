"""How much was done in each week."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

from armarc.log.reading import LoggedSet

IMPULSE_KEYS = ("loaded_range_impulse_n_m_s", "impulse_n_m_s")
"""Keys of a summary that hold the impulse of the shoulder moment, the loaded range first."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Week:
    """Training of one ISO 8601 week.

    Parameters
    ----------
    monday : date
    sets, reps : int
    time_under_tension_s : float
    loaded_range_s : float
        Time inside the exercise's loaded range.
    load_reps_kg : float or None
        Sum of load times reps over the sets with a known load; None when no set has one.
    impulse_n_m_s : float or None
        Impulse of the shoulder moment where it was worked out.
    """

    monday: date
    sets: int
    reps: int
    time_under_tension_s: float
    loaded_range_s: float
    load_reps_kg: float | None
    impulse_n_m_s: float | None

    def to_dict(self) -> dict[str, Any]:
        """JSON-ready."""
        year, week, _ = self.monday.isocalendar()
        return {
            "week": f"{year}-W{week:02d}",
            "monday": self.monday.isoformat(),
            "sets": self.sets,
            "reps": self.reps,
            "time_under_tension_s": round(self.time_under_tension_s, 2),
            "loaded_range_s": round(self.loaded_range_s, 2),
            "load_reps_kg": None if self.load_reps_kg is None else round(self.load_reps_kg, 2),
            "impulse_n_m_s": None if self.impulse_n_m_s is None else round(self.impulse_n_m_s, 2),
        }


def weekly_volume(entries: Sequence[LoggedSet]) -> list[Week]:
    """Volume per week from the first to the last, weeks without training included."""
    by_week: dict[date, list[LoggedSet]] = {}
    for entry in entries:
        by_week.setdefault(monday_of(entry.day), []).append(entry)
    if not by_week:
        return []
    weeks, monday = [], min(by_week)
    while monday <= max(by_week):
        weeks.append(_week(monday, by_week.get(monday, [])))
        monday += timedelta(days=7)
    return weeks


def monday_of(day: date) -> date:
    """First day of the ISO week."""
    return day - timedelta(days=day.weekday())


def _week(monday: date, entries: Sequence[LoggedSet]) -> Week:
    loaded = [entry for entry in entries if entry.load_kg is not None]
    impulses = [value for entry in entries if (value := _impulse(entry.summary)) is not None]
    return Week(
        monday=monday,
        sets=len(entries),
        reps=sum(entry.reps for entry in entries),
        time_under_tension_s=sum(_number(entry.summary, "time_under_tension_s") for entry in entries),
        loaded_range_s=sum(_number(entry.summary, "loaded_range_s") for entry in entries),
        load_reps_kg=sum((entry.load_kg or 0.0) * entry.reps for entry in loaded) if loaded else None,
        impulse_n_m_s=sum(impulses) if impulses else None,
    )


def _impulse(summary: dict[str, Any]) -> float | None:
    for key in IMPULSE_KEYS:
        if isinstance(summary.get(key), int | float):
            return float(summary[key])
    return None


def _number(summary: dict[str, Any], key: str) -> float:
    value = summary.get(key)
    return float(value) if isinstance(value, int | float) else 0.0
