"""Sections of a report that a coach's own table steers: planned against done, and volume by part of the deltoid."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from armarc.log import LoggedSet
from armarc.log.coaching import Coaching, planned_weeks
from armarc.log.volume import PartWeek, Range, parts_volume
from armarc.report.page_parts import PageTable, Section

PARTS_NOTE = (
    "A set counts for each part by its share, from the lowest to the highest where views differ; arms apart. "
    "The shares are common practice or our own assumption, none is measured, and volume is no growth. Impulse is the "
    "shoulder's in the loaded range, which all muscles about it share. coaching.toml changes the shares."
)


def planned_section(entries: Sequence[LoggedSet], coaching: Coaching) -> Section | None:
    """What was planned per week beside what was done; None where nothing is planned for these sets."""
    lifters = {entry.lifter for entry in entries}
    weeks = planned_weeks(entries, {name: plan for name, plan in coaching.plan.items() if name in lifters})
    if not weeks:
        return None
    heads = (
        "Week of",
        "Exercise",
        "Sets planned",
        "Done",
        "Reps planned",
        "Done",
        "Clean",
        "Heaviest kg",
        "Against",
    )
    rows = tuple(
        (
            week.monday.isoformat(),
            week.exercise.replace("-", " "),
            "–" if week.planned is None else f"{week.planned.sets:g}",
            str(week.sets),
            "–" if week.planned is None or week.planned.reps is None else f"{week.planned.reps:g}",
            str(week.reps),
            "–" if week.clean_reps is None else str(week.clean_reps),
            _load(week.load_kg, None if week.planned is None else week.planned.load_kg),
            week.words,
        )
        for week in weeks
    )
    return Section(
        heading=f"Planned and done: {entries[0].lifter}",
        tables=(PageTable(caption="Sets and reps per week", heads=heads, rows=rows),),
        notes=("A plan is a plan: no week is judged by it.",),
    )


def parts_section(entries: Sequence[LoggedSet], coaching: Coaching) -> Section | None:
    """Volume of the newest weeks by part of the deltoid; None where no exercise has shares."""
    weeks, unknown = parts_volume(entries, coaching.parts)
    if not weeks:
        return None
    heads = ("Week of", "Arm", "Part", "Sets", "Reps", "Under tension s", "Impulse N·m·s")
    newest = sorted({week.monday for week in weeks})[-NEWEST_WEEKS:]
    rows = tuple(part_cells(week) for week in weeks if week.monday in newest)
    notes = [PARTS_NOTE]
    if unknown:
        notes.append(f"Without shares, so in no part: {', '.join(unknown)}.")
    return Section(
        heading=f"Parts of the deltoid: {entries[0].lifter}",
        tables=(
            PageTable(caption=f"The last {NEWEST_WEEKS} weeks", heads=heads, rows=rows),
            shares_table((entry.exercise for entry in entries), coaching),
        ),
        notes=tuple(notes),
    )


NEWEST_WEEKS = 4


def part_cells(week: PartWeek) -> tuple[str, ...]:
    """Week, arm, part, sets, reps, time under tension and impulse, as text."""
    return (
        week.monday.isoformat(),
        week.side or "–",
        week.part,
        span(week.sets, 2),
        span(week.reps),
        span(week.time_under_tension_s),
        "–" if week.impulse_n_m_s is None else span(week.impulse_n_m_s),
    )


def shares_table(exercises: Iterable[str], coaching: Coaching) -> PageTable:
    """Shares of the exercises that were done, in the order in which they were, with what each rests on."""
    done = [name for name in dict.fromkeys(exercises) if name in coaching.parts]
    rows = tuple(
        (
            name.replace("-", " "),
            *(span(pair, 2) for pair in coaching.parts[name].shares.values()),
            coaching.parts[name].source,
        )
        for name in done
    )
    heads = ("Exercise", "Anterior", "Middle", "Posterior", "Rests on")
    return PageTable(caption="Share of a set that counts", heads=heads, rows=rows)


def span(pair: Range, digits: int = 0) -> str:
    """A range as text, one number where both ends read the same."""
    low, high = (
        f"{value:.{digits}f}".rstrip("0").rstrip(".") if digits else f"{value:.0f}" for value in pair
    )
    return low if low == high else f"{low}–{high}"


def _load(done: float | None, planned: float | None) -> str:
    said = "–" if done is None else f"{done:.4g}"
    return said if planned is None else f"{said} of {planned:.4g}"
