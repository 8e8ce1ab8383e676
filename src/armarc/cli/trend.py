"""``armarc trend``: one measure over sessions, weekly volume, personal bests."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from armarc.cli.log_options import (
    WHERE,
    AsJson,
    LogFile,
    Size,
    check_names,
    print_json,
    print_table,
    say,
    say_cautions,
    shown,
)
from armarc.cli.measuring_options import logged_measures
from armarc.cli.option_rows import taking
from armarc.cli.outputs import Dark, Force, Plot, check_picture, guard_for
from armarc.cli.trend_words import task_words, weeks_words
from armarc.outputs import Guard

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from armarc.log.measures import SetMeasure
    from armarc.log.reading import Filter
    from armarc.log.store import Store
    from armarc.log.table import SetTable
    from armarc.log.trend import Trend

SCHEMA = "armarc.trend/1"
WEEKS, BESTS = ("weeks", "week", "volume"), ("bests", "best")


@taking(where=WHERE)
def trend(
    measure: Annotated[
        str,
        typer.Argument(
            help="Measure, e.g. rom_deg, reps; or one of weeks, bests, next, planned, parts.",
            autocompletion=logged_measures,
        ),
    ] = "mean_concentric_deg_s",
    *,
    where: Filter,
    all_loads: Annotated[bool, typer.Option("--all-loads", help="Do not keep to one load.")] = False,
    worthwhile: Annotated[
        float | None, typer.Option(min=0, help="Smallest change that matters to you, in the measure's unit.")
    ] = None,
    plot: Plot = None,
    dark: Dark = False,
    size: Size = "wide",
    force: Force = False,
    as_json: AsJson = False,
    log_file: LogFile = None,
) -> None:
    """Show a measure over sessions and whether it really changed.

    `weeks` shows volume, `bests` the records, `next` which load a stated rule leaves open, `planned` a week's plan
    beside what was done, `parts` volume by part of the deltoid. `armarc settings --coaching` prints their table.
    """
    from armarc.cli.trend_coaching import NEXT, PARTS, PLANNED, show
    from armarc.errors import UsageError
    from armarc.log.bests import BEST
    from armarc.log.measures import find_measure
    from armarc.log.reading import Filter, list_sets
    from armarc.log.records import caution_for, sentence_of
    from armarc.log.store import open_log
    from armarc.log.table import read_table
    from armarc.log.volume import VOLUME

    guard = guard_for(log_file=log_file, force=force)
    check_picture(plot, guard)
    word = measure.strip()
    if word in (*NEXT, *PLANNED, *PARTS):
        if plot is not None:
            raise UsageError(f"{word} has no picture", "leave --plot, or draw a measure or weeks")
        with open_log(log_file, create=False) as store:
            check_names(store, where)
            show(word, store, where, as_json)
        return
    named = VOLUME if word in WEEKS else BEST if word in BESTS else (find_measure(word),)
    with open_log(log_file, create=False) as store:
        if not as_json:
            check_names(store, where)
            painful = list_sets(store, replace(where, pain=True))
            for key in dict.fromkeys(entry.exercise for entry in painful):
                say(caution_for(key))
            if painful:
                say(sentence_of(painful))
        sets = read_table(store, where, *named)
        if word in WEEKS:
            _weeks(sets, plot, dark, size, as_json, guard)
        elif word in BESTS:
            _bests(sets, as_json)
        else:
            everyone = sets if where == Filter() else None
            _trend(
                store,
                sets,
                everyone,
                named[0],
                worthwhile,
                where.load_kg is None and not all_loads,
                plot,
                dark,
                size,
                as_json,
                guard,
            )
    if not as_json:
        say_cautions(sets.exercises)


def _trend(
    store: Store,
    sets: SetTable,
    everyone: SetTable | None,
    wanted: SetMeasure,
    worthwhile: float | None,
    keep_to_one: bool,
    plot: Path | None,
    dark: bool,
    size: str,
    as_json: bool,
    guard: Guard,
) -> None:
    from armarc.errors import NothingToMeasure
    from armarc.log.measured_alike import measured_differently
    from armarc.log.one_task import main_task, relevant_for
    from armarc.log.trend import session_points, trend_of
    from armarc.log.trend import shown as words_of

    chosen = main_task(sets, one_load=keep_to_one and wanted.key != "load_kg")
    kept = task_words(chosen, len(sets) - len(chosen))
    relevant = relevant_for(store, chosen, wanted, worthwhile, everyone)
    found = trend_of(session_points(chosen, wanted), wanted, relevant)
    otherwise = measured_differently(store, {wanted.label: chosen.set_id.tolist()})
    if as_json:
        print_json(trend_record(found, kept) | {"not_measured_alike": otherwise})
    else:
        digits = max(wanted.digits, 1)
        heads = ["Day", wanted.label, "Smoothed", "Sets"]
        lines = [
            [point.day.isoformat(), f"{point.value:.{digits}f}", f"{smooth:.{digits}f}", str(point.sets)]
            for point, smooth in zip(found.points, found.smooth, strict=True)
        ]
        say(f"{wanted.label}: {kept}")
        print_table(heads, lines, right=frozenset({1, 2, 3}))
        say(found.words())
        if found.typical_error is not None:
            error, seen, worth = (
                words_of(value, digits) if value is None else wanted.amount(words_of(value, digits))
                for value in (found.typical_error, found.detectable, found.worthwhile)
            )
            say(
                f"Typical error of a session {error}, smallest detectable change between two sessions {seen}. "
                f"Smallest worthwhile change {worth} ({found.worthwhile_from})."
            )
        for sentence in otherwise:
            say(sentence)
    if plot is not None:
        if not found.points:
            raise NothingToMeasure("no session to draw", "widen the filter")
        from armarc.report.picture_parts import WIDTH_IN
        from armarc.report.sizes import in_size, save_figure
        from armarc.report.trend_figures import draw_trend

        def draw(width_in: float | None) -> Figure:
            title = f"{wanted.title} over sessions"
            return draw_trend(
                found,
                title=title,
                facts=kept,
                width_in=width_in or WIDTH_IN,
                dark=dark,
            )

        said = found.words().partition(" (")[0].rstrip(".")
        message = f"{wanted.title}, {said[:1].lower()}{said[1:]}."
        save_figure(in_size(draw, size, message), plot, guard)
        say(f"picture written to {plot}")
    if not found.points:
        raise NothingToMeasure(f"no set with {wanted.key} passes", "widen the filter or log more sets")


def trend_record(found: Trend, kept: str) -> dict[str, object]:
    """JSON of a trend."""
    change = found.change
    return {
        "schema": SCHEMA,
        "measure": found.measure.key,
        "unit": found.measure.unit,
        "of": kept,
        "points": [
            {
                "day": point.day.isoformat(),
                "value": point.value,
                "smooth": smooth,
                "sets": point.sets,
                "set_ids": list(point.set_ids),
            }
            for point, smooth in zip(found.points, found.smooth, strict=True)
        ],
        "typical_error": found.typical_error,
        "detectable": found.detectable,
        "worthwhile": found.worthwhile,
        "worthwhile_from": found.worthwhile_from,
        "slope_per_week": found.slope_per_week,
        "slope_interval": None if found.slope_low is None else [found.slope_low, found.slope_high],
        "change": None
        if change is None
        else {
            "sessions": change.sessions,
            "difference": change.difference,
            "low": change.low,
            "high": change.high,
            "real": change.is_real,
        },
        "verdict": found.words(),
    }


def _weeks(sets: SetTable, plot: Path | None, dark: bool, size: str, as_json: bool, guard: Guard) -> None:
    from datetime import date

    from armarc.log.coaching import load_coaching
    from armarc.log.volume import lighter_weeks, lighter_words, weekly_volume, without_impulse_words

    weeks = weekly_volume(sets)
    rule = load_coaching().weeks
    lighter = lighter_weeks(weeks, rule, date.today())
    if as_json:
        print_json(
            {
                "schema": "armarc.weeks/1",
                "weeks": [
                    week.to_dict() | {"lighter": (week.lifter, week.monday) in lighter} for week in weeks
                ],
            }
        )
    else:
        heads = ["Lifter", "Week", "Monday", "Sets", "Reps", "Time under tension s", "In the loaded range s"]
        heads += ["Load × reps kg"]
        impulse = any(week.impulse_n_m_s is not None for week in weeks)
        heads += ["Impulse in the loaded range N·m·s", "Sets without"] if impulse else []
        lines = []
        for week in weeks:
            record = week.to_dict()
            mark = " (lighter)" if (week.lifter, week.monday) in lighter else ""
            line = [week.lifter, record["week"] + mark, record["monday"], str(week.sets), str(week.reps)]
            line += [
                shown(week.time_under_tension_s),
                shown(week.loaded_range_s, 1),
                shown(week.load_reps_kg),
            ]
            more = [shown(week.impulse_n_m_s), str(len(week.without_impulse) or "")]
            lines.append([*line, *more] if impulse else line)
        ranks = {"Monday": 3, "In the loaded range s": 2, "Load × reps kg": 1}
        print_table(heads, lines, right=frozenset(range(3, 10)), ranks=ranks)
        for words in filter(None, (without_impulse_words(weeks), lighter_words(lighter, rule))):
            say(words)
    if plot is not None and weeks:
        from collections import Counter

        from armarc.report.picture_parts import WIDTH_IN
        from armarc.report.sizes import in_size, save_figure
        from armarc.report.trend_figures import draw_weeks

        sets_of = Counter(dict.fromkeys(dict.fromkeys(week.lifter for week in weeks), 0))
        for week in weeks:
            sets_of[week.lifter] += week.sets
        drawn = sets_of.most_common(1)[0][0]
        if len(sets_of) > 1:
            say(f"drawn for {drawn}, who has most sets; --lifter names another")
        of_one = [week for week in weeks if week.lifter == drawn]
        marked = {monday for name, monday in lighter if name == drawn}

        def draw(width_in: float | None) -> Figure:
            title, width = "Training per week", width_in or WIDTH_IN
            return draw_weeks(of_one, title=title, facts=drawn, width_in=width, dark=dark, lighter=marked)

        message = f"{drawn}: {weeks_words(sum(week.sets for week in of_one), len(of_one))}."
        save_figure(in_size(draw, size, message), plot, guard)
        say(f"picture written to {plot}")


def _bests(sets: SetTable, as_json: bool) -> None:
    from armarc.log.bests import personal_bests, unknown_words

    bests = personal_bests(sets)
    if as_json:
        records = [
            {
                "lifter": best.entry.lifter,
                "exercise": best.entry.exercise,
                "variant": best.entry.variant,
                "side": best.entry.side,
                "load_kg": best.entry.load_kg,
                "measure": best.measure.key,
                "value": best.value,
                "second": best.second,
                "typical_error": best.error,
                "inside_error": best.inside_error,
                "set_id": best.entry.id,
                "day": best.entry.day.isoformat(),
                "sets": best.sets,
            }
            for best in bests
        ]
        print_json({"schema": "armarc.bests/1", "bests": records})
        return
    heads = [
        "Lifter",
        "Exercise",
        "Side",
        "Load kg",
        "Measure",
        "Best",
        "Others' best",
        "Error",
        "Day",
        "Set",
    ]
    lines = [
        [
            best.entry.lifter,
            f"{best.entry.exercise} ({best.entry.variant})" if best.entry.variant else best.entry.exercise,
            best.entry.side or "–",
            "–" if best.entry.load_kg is None else f"{best.entry.load_kg:.4g}",
            best.measure.label,
            shown(best.value, best.measure.digits),
            shown(best.second, best.measure.digits),
            best.words,
            best.entry.day.isoformat(),
            str(best.entry.id),
        ]
        for best in bests
    ]
    ranks = {"Set": 4, "Day": 3, "Others' best": 2}
    print_table(heads, lines, right=frozenset({3, 5, 6, 9}), ranks=ranks)
    say(
        "Most clean reps at each load, unless a heavier one was lifted for as many, and load × clean reps; kept apart "
        "by lifter, exercise, variant and side. No velocity is a best, and one inside the error is no progress. Never "
        "chase the number."
    )
    if words := unknown_words(sets):
        say(words)
