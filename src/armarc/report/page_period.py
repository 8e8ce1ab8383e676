"""Sections of a report over days: one lifter after the other, what changed, what next, and what is left out."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np

from armarc.log import LoggedSet
from armarc.log.bests import personal_bests, unknown_words
from armarc.log.both_arms import CAUTION, DEFINITION
from armarc.log.coaching import Coaching, default_coaching
from armarc.log.comparing import ALPHA, Row, chance_words, compare, group_by
from armarc.log.measures import SetMeasure, find_measure
from armarc.log.next_step import NextStep, next_step
from armarc.log.relevance import Relevant, false_discovery, holm, smallest_relevant
from armarc.log.table import SetTable
from armarc.log.trend import FEWEST_SESSIONS, Trend, session_points, trend_of
from armarc.log.volume import lighter_weeks, lighter_words, weekly_volume, without_impulse_words
from armarc.report.page_coaching import parts_section, planned_section
from armarc.report.page_parts import PICTURE_IN, PageTable, Picture, Section, exercise_name, task_name
from armarc.report.trend_figures import draw_trend, draw_weeks

FOLLOWED = tuple(
    map(
        find_measure,
        ("start_velocity_deg_s", "in_band_pct", "body_swing_cm", "least_held_pct", "rom_deg", "eccentric_s"),
    )
)
"""What a month is judged by, control first: start, share in the band, swing, lowering, range."""
DRAWN = FOLLOWED[:3]
MOST_DRAWN = 2
"""Tasks of a lifter that are drawn; all of them are in the table."""
SHORT = {
    "start_velocity_deg_s": "Start °/s",
    "in_band_pct": "In band %",
    "body_swing_cm": "Swing cm",
    "least_held_pct": "Held %",
    "rom_deg": "ROM °",
    "eccentric_s": "Lowering s",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class TaskCourse:
    """One exercise, variant and side of a lifter over the period.

    Parameters
    ----------
    entries : tuple of LoggedSet
        Oldest first.
    judged : tuple of LoggedSet
        Those at the newest load where that had sessions enough, else all of them.
    trends : tuple of Trend
        In the order of `FOLLOWED`, of `judged`.
    changed : tuple of bool
        Whether a trend's change is real and large enough, for how many were judged.
    step : NextStep
        Where it stands at its newest load.
    """

    entries: tuple[LoggedSet, ...]
    judged: tuple[LoggedSet, ...]
    trends: tuple[Trend, ...]
    changed: tuple[bool, ...]
    step: NextStep

    @property
    def name(self) -> str:
        """Exercise, variant and side."""
        return task_name(self.entries[-1], load=False)


def lifter_sections(
    entries: Sequence[LoggedSet],
    everyone: SetTable | None,
    coaching: Coaching | None = None,
    today: date | None = None,
) -> list[Section]:
    """Sections of one lifter.

    Parameters
    ----------
    entries : sequence of LoggedSet
        Of one lifter, oldest first; at least one.
    everyone : SetTable or None
        All lifters of the log, whose spread tells what change is worth speaking of, with the values of `FOLLOWED`.
    coaching : Coaching or None
        Rules, plan and shares; None for armarc's own.
    today : date or None
        Tells a week that is not over; None takes all for over.
    """
    coaching = coaching or default_coaching()
    lifter = entries[0].lifter
    weeks = weekly_volume(entries)
    lighter = lighter_weeks(weeks, coaching.weeks, today or date.max)
    courses = task_courses(entries, everyone, coaching, {monday.toordinal() for _, monday in lighter})
    words = [amount(entries), what_changed(courses), what_next(courses)]
    # What changed is drawn first.
    ordered = sorted(courses, key=lambda course: -sum(course.changed))
    drawn = [course for course in ordered if len(course.trends[0].points) > 1][:MOST_DRAWN]
    rest = [course.name for course in courses if course not in drawn]
    notes = [lighter_words(lighter, coaching.weeks), coaching.next.words]
    notes += [f"Not drawn, in the table only: {'; '.join(rest)}."] if rest else []
    out = [
        Section(
            heading=lifter,
            words=("\n".join(words),),
            tables=(_tasks_table(ordered),),
            notes=tuple(filter(None, notes)),
        )
    ]
    pictures = _pictures(drawn)
    if len(weeks) > 1:
        listed = "; ".join(f"week of {w.monday}: {w.sets} sets, {w.reps} reps" for w in weeks[-26:])
        figure = draw_weeks(
            weeks,
            title="Training per week",
            facts=lifter,
            width_in=PICTURE_IN,
            lighter={monday for _, monday in lighter},
        )
        alt = f"Bars of sets, reps and time under tension per week. {listed}."
        pictures.append(Picture(figure=figure, alt=alt))
    if pictures:
        missing = without_impulse_words(weeks)
        below = (missing,) if missing else ()
        out.append(Section(heading=f"Over time: {lifter}", pictures=tuple(pictures), notes=below))
    for more in (
        planned_section(entries, coaching),
        parts_section(entries, coaching),
        sides_section(entries),
    ):
        if more is not None:
            out.append(more)
    if (bests := _bests(entries)) is not None:
        out.append(bests)
    return out


def amount(entries: Sequence[LoggedSet]) -> str:
    """How much was done, in a sentence."""
    reps = sum(entry.reps for entry in entries)
    tension = sum(float(entry.summary.get("time_under_tension_s") or 0) for entry in entries)
    days = len({entry.session_id for entry in entries})
    when = f"in {days} sessions." if days > 1 else "in one session."
    counts = f"{len(entries)} set{'s' * (len(entries) != 1)}, {reps} rep{'s' * (reps != 1)}"
    return f"{counts}, {tension:.0f} seconds under tension {when}"


def task_courses(
    entries: Sequence[LoggedSet],
    everyone: SetTable | None,
    coaching: Coaching | None = None,
    lighter_days: Collection[int] = frozenset(),
) -> list[TaskCourse]:
    """The tasks of one lifter, most sets first, their changes corrected for how many are judged."""
    by_task: dict[tuple[str, str, str], list[LoggedSet]] = {}
    for entry in entries:
        by_task.setdefault((entry.exercise, entry.variant, entry.side or ""), []).append(entry)
    ordered = sorted(by_task.values(), key=len, reverse=True)
    kept = [_judged(one) for one in ordered]
    trends = [[_trend(one, measure, everyone) for measure in FOLLOWED] for one in kept]
    p = [float("nan") if t.change is None else t.change.p for row in trends for t in row]
    corrected = false_discovery(np.array(p)).reshape(len(trends), len(FOLLOWED))
    return [
        TaskCourse(
            entries=tuple(all_of),
            judged=tuple(judged),
            trends=tuple(row),
            changed=tuple(_has_changed(t, float(q)) for t, q in zip(row, ps, strict=True)),
            step=next_step(all_of, (coaching or default_coaching()).next, lighter_days),
        )
        for all_of, judged, row, ps in zip(ordered, kept, trends, corrected, strict=True)
    ]


def _judged(entries: list[LoggedSet]) -> list[LoggedSet]:
    newest = [entry for entry in entries if entry.load_kg == entries[-1].load_kg]
    return newest if len({entry.session_id for entry in newest}) >= FEWEST_SESSIONS else entries


def _trend(entries: list[LoggedSet], measure: SetMeasure, everyone: SetTable | None) -> Trend:
    task = {(entry.exercise, entry.variant) for entry in entries}
    alike = everyone
    if everyone is not None:
        alike = everyone.take(np.array([one[:2] in task for one in everyone.tasks], bool)[everyone.task])
    relevant: Relevant = smallest_relevant(measure, alike)
    return trend_of(session_points(entries, measure), measure, relevant)


def _has_changed(trend: Trend, p: float) -> bool:
    change = trend.change
    return change is not None and p <= ALPHA and abs(change.difference) >= (trend.worthwhile or 0.0)


def what_changed(courses: Sequence[TaskCourse]) -> str:
    """One sentence: loads, and every change that is more than error and chance."""
    parts = []
    for course in courses:
        loads = [entry.load_kg for entry in course.entries if entry.load_kg is not None]
        found = [f"load {loads[0]:.4g} to {loads[-1]:.4g} kg"] if loads and loads[0] != loads[-1] else []
        for trend, changed in zip(course.trends, course.changed, strict=True):
            if changed and trend.change is not None:
                first, last = _ends(trend)
                found.append(f"{trend.measure.title.lower()} {first} to {trend.measure.amount(last)}")
        if found:
            parts.append(f"{course.name}: {', '.join(found)}")
    if parts:
        return f"What changed: {'; '.join(parts)}."
    if not any(trend.change for course in courses for trend in course.trends):
        return f"What changed: cannot be told yet, {FEWEST_SESSIONS} sessions of a task or more are needed."
    return "What changed: nothing beyond error and chance."


def what_next(courses: Sequence[TaskCourse]) -> str:
    """One sentence on where the tasks stand by the rule printed under it."""
    by_words: dict[str, dict[str, list[str]]] = {}
    for course in courses:
        entry = course.entries[-1]
        by_words.setdefault(course.step.words, {}).setdefault(exercise_name(entry), []).append(
            entry.side or ""
        )
    parts = []
    # What is open comes first.
    for words, tasks in sorted(by_words.items(), key=lambda one: not one[0].startswith("a small")):
        names = [
            f"{name}, {' and '.join(sorted(filter(None, arms)))} arm" if any(arms) else name
            for name, arms in tasks.items()
        ]
        parts.append(f"{'; '.join(names)}: {words}")
    return f"What next: {'. '.join(parts)}."


def _ends(trend: Trend) -> tuple[str, str]:
    """Means of the first and the last sessions that are compared."""
    values = [point.value for point in trend.points]
    count = trend.change.sessions if trend.change is not None else max(1, min(3, len(values) // 2))
    digits = trend.measure.digits
    return f"{np.mean(values[:count]):.{digits}f}", f"{np.mean(values[-count:]):.{digits}f}"


def _tasks_table(courses: Sequence[TaskCourse]) -> PageTable:
    # A measure that nobody has needs no column.
    shown = [i for i in range(len(FOLLOWED)) if any(course.trends[i].points for course in courses)]
    heads = ("Task", "Sets", "Load kg", *(SHORT[FOLLOWED[i].key] for i in shown))
    rows = []
    for course in courses:
        load = course.entries[-1].load_kg
        mixed = len({entry.load_kg for entry in course.judged}) > 1
        cells = []
        for trend, changed in [(course.trends[i], course.changed[i]) for i in shown]:
            if not trend.points:
                cells.append("–")
                continue
            first, last = _ends(trend)
            cells.append(last if len(trend.points) < 2 else f"{first} → {last}{' *' if changed else ''}")
        kg = "–" if load is None else f"{load:.4g}{' (all loads judged)' if mixed else ''}"
        rows.append((course.name, str(len(course.entries)), kg, *cells))
    return PageTable(
        caption="First → last sessions at the newest load; * more than error and chance",
        heads=heads,
        rows=tuple(rows),
    )


def _pictures(courses: Sequence[TaskCourse]) -> list[Picture]:
    pictures = []
    for course in courses:
        for trend in course.trends[: len(DRAWN)]:
            if len(trend.points) < 2:
                continue
            listed = "; ".join(f"{point.day}: {point.value:.1f}" for point in trend.points[-40:])
            title = trend.measure.title
            figure = draw_trend(trend, title=title, facts=course.name, width_in=PICTURE_IN, verdict=False)
            alt = f"{trend.measure.label} per session, {course.name}. {listed}. {trend.words()}"
            pictures.append(Picture(figure=figure, alt=alt))
    return pictures


def sides_section(entries: Sequence[LoggedSet]) -> Section | None:
    """Left against right of one lifter, for every exercise done with both arms; None without one."""
    rows: list[Row] = []
    names = []
    for exercise, variant in dict.fromkeys((entry.exercise, entry.variant) for entry in entries):
        chosen = [e for e in entries if (e.exercise, e.variant) == (exercise, variant)]
        # A load only one arm lifted would compare loads, not arms.
        shared = set.intersection(*({e.load_kg for e in chosen if e.side == s} for s in ("left", "right")))
        both = [e for e in chosen if e.load_kg in shared and e.side is not None]
        groups = group_by(both, "side")
        if len(groups) == 2 and min(len(group.sets) for group in groups) > 1:
            found = compare(groups, FOLLOWED, {})
            rows += found
            names += [exercise_name(chosen[0])] * len(found)
    if not rows:
        return None
    corrected = holm(
        np.array([np.nan if r.effect is None or r.effect.p is None else r.effect.p for r in rows])
    )
    lines = []
    for name, row, p in zip(names, rows, corrected.tolist(), strict=True):
        if (e := row.effect) is None:
            continue
        d = max(row.measure.digits, 1)
        verdict = row.judged(p).verdict
        numbers = (f"{e.mean_first:.{d}f}", f"{e.mean_second:.{d}f}", e.words(d))
        lines.append((name, row.measure.label, *numbers, verdict))
    heads = ("Exercise", "Measure", "Left", "Right", "Right − left (95 %)", "Verdict")
    table = PageTable(caption="Loads that both arms lifted", heads=heads, rows=tuple(lines))
    cautions = dict.fromkeys(row.caution for row in rows if row.caution)
    notes = (chance_words(rows), *cautions, f"{DEFINITION}; see `armarc compare --by side`.", CAUTION)
    return Section(heading=f"Left and right: {entries[0].lifter}", tables=(table,), notes=notes)


def _bests(entries: Sequence[LoggedSet]) -> Section | None:
    rows = tuple(
        (
            task_name(best.entry),
            best.measure.title,
            f"{best.value:.0f}",
            "–" if best.second is None else f"{best.second:.0f}",
            best.words,
            best.entry.day.isoformat(),
            str(best.entry.id),
        )
        for best in personal_bests(entries)
    )
    unknown = unknown_words(entries)
    if not rows and not unknown:
        return None
    heads = ("Task", "Measure", "Best", "Other sessions", "Against error", "Day", "Set")
    table = PageTable(caption="Most clean reps at a load; load × clean reps", heads=heads, rows=rows)
    note = "No velocity is a best, and a best inside the error is no progress. Never chase the number."
    return Section(
        heading=f"Bests: {entries[0].lifter}",
        tables=(table,) if rows else (),
        notes=(note, *filter(None, (unknown,))),
    )
