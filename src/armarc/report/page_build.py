"""Sections of a report from the log: a set, a session, a period."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from typing import Any

from armarc.errors import ArmarcError
from armarc.log import Fatigue, LoggedSet, Store, fatigue_of
from armarc.log.bests import personal_bests
from armarc.log.comparing import REPS_CAUTION, Group, compare, group_by
from armarc.log.measures import COMPARED, find_measure
from armarc.log.reading import recording_of, reps_by_set
from armarc.log.records import reserve_words
from armarc.log.relevance import smallest_relevant
from armarc.log.table import SetLabels, as_table
from armarc.log.trend import session_points, trend_of
from armarc.log.volume import weekly_volume
from armarc.report.compare_figures import draw_differences, draw_overlay
from armarc.report.page_parts import (
    PICTURE_IN,
    PageTable,
    Picture,
    Section,
    plain_words,
    reps_alt,
    reps_page_table,
)
from armarc.report.reps_figure import draw_reps
from armarc.report.trend_figures import draw_trend, draw_weeks

MOST_SETS_IN_FULL = 12
MOST_CURVES = 4
"""The picture over time is large: with more sets only the picture rep by rep is drawn."""
MOST_TASKS = 3
TREND_KEYS = ("mean_concentric_deg_s", "rom_deg", "reps")
INVENTED = "invented data"
"""A set whose note says so is called invented on the page too."""


def build_sections(
    store: Store, entries: Sequence[LoggedSet], *, stop_at_pct: float | None = None, curves: bool = True
) -> list[Section]:
    """Sections for sets, oldest first.

    Up to `MOST_SETS_IN_FULL` sets are shown one by one; sets of several days also get their weeks and trends.

    Parameters
    ----------
    store : Store
    entries : sequence of LoggedSet
        At least one.
    stop_at_pct : float or None, %
        See `armarc.log.fatigue.fatigue_of`.
    curves : bool
        Draw the curves of single sets from their raw recordings, where they were kept.
    """
    ordered = sorted(entries, key=lambda one: (one.done_at, one.id))
    days = {entry.day for entry in ordered}
    sections: list[Section] = []
    if len(ordered) > 1:
        sections.append(_overview(ordered))
    if len(days) > 1:
        sections += _period(ordered)
    if (sides := _sides(ordered, store)) is not None:
        sections.append(sides)
    if len(ordered) <= MOST_SETS_IN_FULL:
        reps = reps_by_set(store, [entry.id for entry in ordered])
        for entry in ordered:
            sections.append(
                set_section(
                    store,
                    entry,
                    reps[entry.id],
                    stop_at_pct=stop_at_pct,
                    curves=curves and len(ordered) <= MOST_CURVES,
                )
            )
    if len(ordered) > 1:
        sections.append(_all_sets(ordered))
    return sections


def is_invented(entries: Sequence[LoggedSet]) -> bool:
    """Whether a set says that nobody was measured for it."""
    return any(INVENTED in entry.note.casefold() for entry in entries)


def title_for(entries: Sequence[LoggedSet]) -> tuple[str, str]:
    """Title and line below it."""
    ordered = sorted(entries, key=lambda one: (one.done_at, one.id))
    first, last = ordered[0], ordered[-1]
    lifters = ", ".join(dict.fromkeys(entry.lifter for entry in ordered))
    if len(ordered) == 1:
        title = f"{_exercise(first)}, set {first.id}"
        return title, f"{lifters}  ·  {first.done_at:%A, %d %B %Y, %H:%M}"
    if first.day == last.day:
        label = f", {first.session}" if first.session else ""
        return f"Session of {first.day:%d %B %Y}{label}", lifters
    return f"Training from {first.day:%d %B %Y} to {last.day:%d %B %Y}", lifters


def set_section(
    store: Store,
    entry: LoggedSet,
    reps: Sequence[dict[str, Any]],
    *,
    stop_at_pct: float | None = None,
    curves: bool = True,
) -> Section:
    """One set in full."""
    file_name, content, settings = recording_of(store, entry.id)
    band = settings.get("band_deg_s")
    pair = (float(band[0]), float(band[1])) if band else None
    fatigue = fatigue_of(reps, stop_at_pct=stop_at_pct)
    notes = [fatigue.words()] if fatigue.velocity_loss_set_pct is not None else []
    pictures: list[Picture] = []
    if curves and content is not None and reps:
        try:
            pictures.append(_curve_picture(store, entry))
        except ArmarcError as error:
            notes.append(f"The curves cannot be drawn: {error.message}.")
    if reps:
        pictures.append(_reps_picture(entry, reps, fatigue, pair))
    return Section(
        heading=f"Set {entry.id}: {_facts(entry)}",
        words=tuple(plain_words(entry, fatigue, pair)),
        quotes=(entry.note,) if entry.note else (),
        pictures=tuple(pictures),
        tables=(reps_page_table(reps, fatigue, f"Reps of set {entry.id}"),) if reps else (),
        notes=(*notes, f"Recording: {file_name}."),
    )


def _curve_picture(store: Store, entry: LoggedSet) -> Picture:
    from armarc.log.curves import remeasured_set
    from armarc.report.set_figure import draw_set

    session, place = remeasured_set(store, entry)
    motion = session.motions[session.motion_of_set[place]]
    figure = draw_set(motion, session.sets[place], exercise=session.choices.exercise)
    alt = (
        f"Set {entry.id} over time: angle of the arm with the phases of each rep, velocity, and start velocities "
        "against the band."
    )
    return Picture(figure=figure, alt=alt, wide=True)


def _reps_picture(
    entry: LoggedSet, reps: Sequence[dict[str, Any]], fatigue: Fatigue, band: tuple[float, float] | None
) -> Picture:
    figure = draw_reps(reps, fatigue, band, title="Rep by rep", facts=_facts(entry), width_in=PICTURE_IN)
    return Picture(figure=figure, alt=reps_alt(entry, reps))


def _overview(entries: Sequence[LoggedSet]) -> Section:
    words = _amount(entries)
    return Section(heading="What was done", words=tuple(words))


def _amount(entries: Sequence[LoggedSet]) -> list[str]:
    reps = sum(entry.reps for entry in entries)
    tension = sum(float(entry.summary.get("time_under_tension_s") or 0) for entry in entries)
    days = len({(entry.day, entry.session) for entry in entries})
    words = [f"{len(entries)} sets, {reps} reps, {tension:.0f} seconds under tension"]
    words.append(f"in {days} sessions." if days > 1 else "in one session.")
    return words


def _all_sets(entries: Sequence[LoggedSet]) -> Section:
    heads: tuple[str, ...] = ("When", "Set", "Exercise", "Side", "Load kg", "Reps", "In band")
    heads += ("Start °/s", "Range °", "Slower %", "RIR")
    rows = []
    for entry in entries[-60:]:
        summary = entry.summary
        count = (summary.get("in_band") or {}).get("count")
        rows.append(
            (
                entry.done_at.strftime("%Y-%m-%d %H:%M"),
                str(entry.id),
                _exercise(entry),
                entry.side or "–",
                "–" if entry.load_kg is None else f"{entry.load_kg:.4g}",
                str(entry.reps),
                "–" if count is None else f"{count}/{entry.reps}",
                _shown(summary.get("mean_start_velocity_deg_s")),
                _shown(summary.get("mean_rom_deg")),
                _shown(summary.get("velocity_loss_pct")),
                reserve_words(entry) or "–",
            )
        )
    caption = "Sets" if len(entries) <= 60 else f"The last 60 of {len(entries)} sets"
    return Section(
        heading="All sets",
        tables=(PageTable(caption=caption, heads=heads, rows=tuple(rows)),),
    )


def _period(entries: Sequence[LoggedSet]) -> list[Section]:
    weeks = weekly_volume(entries)
    sections = []
    if len(weeks) > 1:
        listed = "; ".join(
            f"week of {week.monday}: {week.sets} sets, {week.reps} reps" for week in weeks[-26:]
        )
        figure = draw_weeks(weeks, title="Training per week", width_in=PICTURE_IN)
        picture = Picture(figure=figure, alt=f"Bars of sets, reps and time under tension per week. {listed}.")
        sections.append(Section(heading="Week by week", pictures=(picture,)))
    tasks = Counter((entry.lifter, *entry.condition) for entry in entries)
    for task, _ in tasks.most_common(MOST_TASKS):
        chosen = [entry for entry in entries if (entry.lifter, *entry.condition) == task]
        section = _trend_section(entries, chosen)
        if section is not None:
            sections.append(section)
    bests = personal_bests(entries)[:12]
    if bests:
        rows = tuple(
            (
                best.measure.label,
                f"{best.value:.{best.measure.digits}f}",
                "–" if best.second is None else f"{best.second:.{best.measure.digits}f}",
                _task(best.entry),
                best.entry.lifter,
                best.entry.day.isoformat(),
                str(best.entry.id),
            )
            for best in bests
        )
        heads = ("Measure", "Best", "Best of other sessions", "Task", "Lifter", "Day", "Set")
        table = PageTable(caption="Personal bests, each at its own load", heads=heads, rows=rows)
        sections.append(Section(heading="Personal bests", tables=(table,)))
    return sections


def _trend_section(everyone: Sequence[LoggedSet], chosen: Sequence[LoggedSet]) -> Section | None:
    pictures, words = [], []
    for key in TREND_KEYS:
        measure = find_measure(key)
        points = session_points(chosen, measure)
        if len(points) < 2:
            continue
        alike = [entry for entry in everyone if entry.exercise == chosen[0].exercise]
        trend = trend_of(points, measure, smallest_relevant(measure, as_table(alike, measure)))
        listed = "; ".join(f"{point.day}: {point.value:.1f}" for point in points[-40:])
        facts = _task(chosen[0])
        figure = draw_trend(trend, title=measure.title, facts=facts, width_in=PICTURE_IN, verdict=False)
        pictures.append(Picture(figure=figure, alt=f"{measure.label} per session. {listed}. {trend.words()}"))
        words.append(f"{measure.title}: {trend.words()}")
    if not pictures:
        return None
    return Section(
        heading=f"Over time: {chosen[0].lifter}, {_task(chosen[0])}",
        words=("\n".join(words),),
        pictures=tuple(pictures),
    )


def _sides(entries: Sequence[LoggedSet], store: Store) -> Section | None:
    """Left against right, where one lifter did the same task with both."""
    from armarc.log import asymmetry

    if len({(entry.lifter, entry.exercise, entry.variant) for entry in entries}) != 1:
        return None
    groups = [group for group in group_by(entries, "side") if group.name in ("left", "right")]
    if len(groups) != 2:
        return None
    single = [group.set_ids[0] for group in groups if len(group.sets) == 1]
    rows = compare(groups, [find_measure(key) for key in COMPARED], reps_by_set(store, single))
    lines = []
    for row in rows:
        if row.effect is None:
            continue
        digits, e = max(row.measure.digits, 1), row.effect
        span = "" if e.low is None else f" ({e.low:+.{digits}f} to {e.high:+.{digits}f})"
        index = row.asymmetry.words() if row.asymmetry else "–"
        numbers = (f"{e.mean_first:.{digits}f}", f"{e.mean_second:.{digits}f}")
        lines.append((row.measure.label, *numbers, f"{e.difference:+.{digits}f}{span}", index))
    heads = ("Measure", "Left", "Right", "Right minus left (95 %)", "Symmetry index")
    pictures = []
    if any(row.effect is not None and row.effect.size is not None for row in rows):
        figure = draw_differences(rows, title="Right against left", width_in=PICTURE_IN)
        alt = "Standardised differences right minus left with 95 % intervals; the numbers stand in the table."
        pictures.append(Picture(figure=figure, alt=alt))
    table = PageTable(caption="Left and right", heads=heads, rows=tuple(lines))
    return Section(
        heading="Left and right",
        pictures=tuple(pictures),
        tables=(table,),
        notes=(f"{asymmetry.DEFINITION}.", asymmetry.CAUTION),
    )


def compare_section(store: Store, entries: Sequence[LoggedSet]) -> list[Section]:
    """Sets side by side: curves where the recordings were kept, differences with their intervals."""
    from armarc.log.curves import set_curves

    groups = [Group(name=f"set {entry.id}", sets=(entry,)) for entry in entries]
    rows = compare(
        groups, [find_measure(key) for key in COMPARED], reps_by_set(store, [e.id for e in entries])
    )
    pictures, notes, curves, names = [], [REPS_CAUTION], [], []
    for entry in entries:
        try:
            curves.append(set_curves(store, entry))
            names.append(f"set {entry.id}: {_facts(entry)}")
        except ArmarcError as error:
            notes.append(f"No curve of set {entry.id}: {error.message}.")
    if curves:
        figure = draw_overlay(curves, names, title="Mean of the reps", width_in=PICTURE_IN)
        alt = f"Mean angle along the rep, velocity and moment by angle of {'; '.join(names)}."
        pictures.append(Picture(figure=figure, alt=alt))
    first_rows = [row for row in rows if row.second == groups[1].name]
    if any(row.effect is not None and row.effect.size is not None for row in first_rows):
        figure = draw_differences(first_rows, title="How large the differences are", width_in=PICTURE_IN)
        alt = "Standardised differences with 95 % intervals; the numbers stand in the table."
        pictures.append(Picture(figure=figure, alt=alt))
    lines = [
        (
            row.measure.label,
            f"{row.second} − {row.first}",
            f"{e.mean_first:.{d}f}",
            f"{e.mean_second:.{d}f}",
            f"{e.difference:+.{d}f}" + ("" if e.low is None else f" ({e.low:+.{d}f} to {e.high:+.{d}f})"),
            row.verdict,
        )
        for row in rows
        if (e := row.effect) is not None and (d := max(row.measure.digits, 1))
    ]
    heads = ("Measure", "Sets", "Mean first", "Mean second", "Difference (95 %)", "Verdict")
    table = PageTable(caption="Rep by rep, as far as both sets go", heads=heads, rows=tuple(lines))
    heading = "; ".join(f"set {entry.id}: {_facts(entry)}" for entry in entries)
    return [Section(heading=heading, pictures=tuple(pictures), tables=(table,), notes=tuple(notes))]


def _exercise(entry: LoggedSet | SetLabels) -> str:
    from armarc.exercises import find_exercise

    try:
        name = find_exercise(entry.exercise).name
    except ArmarcError:
        name = entry.exercise
    return f"{name} ({entry.variant})" if entry.variant else name


def _task(entry: LoggedSet | SetLabels) -> str:
    parts = [_exercise(entry)]
    parts += [f"{entry.side} arm"] if entry.side else []
    parts += [f"{entry.load_kg:.4g} kg"] if entry.load_kg is not None else []
    return ", ".join(parts)


def _facts(entry: LoggedSet) -> str:
    reserve = reserve_words(entry)
    amount = f"{entry.reps} rep{'s' * (entry.reps != 1)}"
    return ", ".join([_task(entry), amount, *([reserve] if reserve else [])])


def _shown(value: Any) -> str:
    return f"{value:.0f}" if isinstance(value, int | float) else "–"
