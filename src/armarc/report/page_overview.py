"""What a report says first of a lifter's sets, and how it calls them."""

from __future__ import annotations

from collections.abc import Sequence

from armarc.errors import ArmarcError
from armarc.log import LoggedSet
from armarc.log.records import reserve_words
from armarc.log.table import SetLabels
from armarc.report.page_parts import Section


def overview(entries: Sequence[LoggedSet]) -> Section:
    """What a coach asks first: the starts, the swing, the lowering, the newest load of each task."""
    newest: dict[tuple[str, str | None], LoggedSet] = {}
    for entry in entries:
        if entry.load_kg is not None:
            newest[exercise_words(entry), entry.side] = entry
    loads = [f"{task_words(entry)} ({entry.day:%d %b})" for entry in newest.values()]
    notes = (f"Newest loads: {'; '.join(loads)}.",) if loads else ()
    return Section(heading="What was done", words=(*_first_asked(entries), *_amount(entries)), notes=notes)


def _first_asked(entries: Sequence[LoggedSet]) -> list[str]:
    def mean(key: str) -> float | None:
        known = [(entry.summary[key], entry.reps) for entry in entries if entry.summary.get(key) is not None]
        reps = sum(count for _, count in known)
        return sum(value * count for value, count in known) / reps if reps else None

    words = []
    start, banded = mean("mean_start_velocity_deg_s"), [e.summary.get("in_band") or {} for e in entries]
    if start is not None:
        inside = sum(band["count"] for band in banded if band.get("count") is not None)
        of = sum(e.reps for e, band in zip(entries, banded, strict=True) if band.get("count") is not None)
        share = f", {inside} of {of} inside the working band (no source)" if of else ""
        words.append(f"Starts at {start:.0f} °/s on average{share}.")
    if (swing := mean("mean_body_swing_cm")) is not None:
        words.append(f"The shoulder moved {swing:.1f} cm while the arm was raised.")
    if (held := mean("mean_least_held_pct")) is not None:
        words.append(f"Lowering, at least {held:.0f} % of the load was held (100 % is as if still).")
    return words


def _amount(entries: Sequence[LoggedSet]) -> list[str]:
    reps = sum(entry.reps for entry in entries)
    tension = sum(float(entry.summary.get("time_under_tension_s") or 0) for entry in entries)
    days = len({(entry.day, entry.session) for entry in entries})
    words = [f"{len(entries)} sets, {reps} reps, {tension:.0f} seconds under tension"]
    words.append(f"in {days} sessions." if days > 1 else "in one session.")
    return words


def exercise_words(entry: LoggedSet | SetLabels) -> str:
    """Name of the exercise, with its variant."""
    from armarc.exercises import find_exercise

    try:
        name = find_exercise(entry.exercise).name
    except ArmarcError:
        name = entry.exercise
    return f"{name} ({entry.variant})" if entry.variant else name


def task_words(entry: LoggedSet | SetLabels) -> str:
    """Exercise, side and load."""
    parts = [exercise_words(entry)]
    parts += [f"{entry.side} arm"] if entry.side else []
    parts += [f"{entry.load_kg:.4g} kg"] if entry.load_kg is not None else []
    return ", ".join(parts)


def facts_words(entry: LoggedSet) -> str:
    """Task, reps and what was left in reserve."""
    reserve = reserve_words(entry)
    amount = f"{entry.reps} rep{'s' * (entry.reps != 1)}"
    return ", ".join([task_words(entry), amount, *([reserve] if reserve else [])])
