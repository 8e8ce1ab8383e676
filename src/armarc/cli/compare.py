"""``armarc compare``: sets, sessions, variants or sides next to each other."""

from __future__ import annotations

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
)
from armarc.cli.option_rows import taking
from armarc.cli.outputs import Dark, Force, check_picture, guard_for

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from armarc.log.comparing import Group, Row
    from armarc.log.curves import SetCurves
    from armarc.log.measures import SetMeasure
    from armarc.log.reading import Filter
    from armarc.log.store import Store

SCHEMA = "armarc.compare/1"
MOST_CURVES = 4
MOST_SETS_DRAWN = 12


@taking(where=WHERE)
def compare(
    what: Annotated[
        list[str] | None,
        typer.Argument(help="Two or more of: a set 12, sets 12-15, a day 2026-03-01, last; else use --by."),
    ] = None,
    *,
    by: Annotated[
        str | None,
        typer.Option("--by", help="Split by side, variant, load, exercise, lifter, session or tag."),
    ] = None,
    measure: Annotated[
        list[str] | None, typer.Option("--measure", "-m", help="Measure; may be repeated.")
    ] = None,
    where: Filter,
    worthwhile: Annotated[
        float | None,
        typer.Option(
            "--worthwhile", min=0, help="Smallest difference that matters to you, for one --measure."
        ),
    ] = None,
    plot: Annotated[
        Path | None, typer.Option("--plot", help="Overlay of the curves, from the raw recordings.")
    ] = None,
    curves: Annotated[bool, typer.Option("--curves", help="Put the curves into the JSON.")] = False,
    dark: Dark = False,
    size: Size = "wide",
    force: Force = False,
    as_json: AsJson = False,
    log_file: LogFile = None,
) -> None:
    """Compare groups of sets: differences with effect sizes and intervals, left against right, curves."""
    from armarc.errors import UsageError
    from armarc.log.comparing import compare as compare_groups
    from armarc.log.comparing import sets_to_read
    from armarc.log.measured_alike import done_differently, measured_differently
    from armarc.log.measures import COMPARED, find_measure
    from armarc.log.shared_errors import reps_with_recordings
    from armarc.log.store import open_log
    from armarc.log.table import as_table

    if bool(what) == bool(by):
        raise UsageError("what is to be compared?", "name two sets or days, or split with --by side")
    if worthwhile is not None and len(measure or ()) != 1:
        raise UsageError("--worthwhile has the unit of one measure", "name that one with --measure")
    measures = [find_measure(name) for name in measure or COMPARED]
    guard = guard_for(log_file=log_file, force=force)
    check_picture(plot, guard)
    with open_log(log_file, create=False) as store:
        if not as_json:
            check_names(store, where)
        groups = _groups(store, what or [], by, where, measures)
        reps = reps_with_recordings(store, sets_to_read(groups))
        rows = compare_groups(groups, measures, reps, relevant=worthwhile)
        lifts = done_differently({group.name: as_table(group.sets) for group in groups}, by)
        otherwise = measured_differently(store, {group.name: group.set_ids for group in groups})
        drawn = _curves(store, groups) if plot is not None or (curves and as_json) else []
    if as_json:
        document: dict[str, object] = {
            "schema": SCHEMA,
            "groups": [{"name": g.name, "set_ids": g.set_ids} for g in groups],
            "rows": [row.to_dict() for row in rows],
            "not_the_same_lift": lifts,
            "not_measured_alike": otherwise,
        }
        if curves:
            from armarc.log.curves import curves_record

            document["curves"] = curves_record([curve for _, curves in drawn for curve in curves])
        print_json(document)
    else:
        _print_rows(groups, rows)
        for sentence in (*lifts, *otherwise):
            say(sentence)
    if plot is not None:
        from armarc.load.table import LOAD_CAUTIONS
        from armarc.log.comparing import message_of
        from armarc.report.compare_figures import draw_overlay
        from armarc.report.picture_parts import WIDTH_IN
        from armarc.report.sizes import in_size, save_figure
        from armarc.report.wording import CAUTION

        several = any(len(curves) > 1 for _, curves in drawn)
        title = " against ".join(group.name for group in groups[:MOST_CURVES])
        moments = any(one.moment_n_m is not None for _, curves in drawn for one in curves)
        notes = [*(LOAD_CAUTIONS if moments else ()), CAUTION]
        facts = (
            "thin: each set; thick: mean of a group where all its sets have values"
            if several
            else "mean of the full reps"
        )

        def draw(width_in: float | None) -> Figure:
            return draw_overlay(
                [curves for _, curves in drawn],
                [name for name, _ in drawn],
                title=title[:1].upper() + title[1:],
                facts=facts,
                notes=notes,
                width_in=width_in or WIDTH_IN,
                dark=dark,
            )

        save_figure(in_size(draw, size, message_of(rows)), plot, guard)
        say(f"picture written to {plot}")
    if not as_json:
        say_cautions(set().union(*(group.exercises for group in groups)))


def _groups(
    store: Store, what: list[str], by: str | None, where: Filter, measures: list[SetMeasure]
) -> list[Group]:
    from armarc.errors import UsageError
    from armarc.log.comparing import Group, group_by
    from armarc.log.reading import Filter, choose_sets, tagged_sets
    from armarc.log.table import read_table

    if by is not None:
        return group_by(
            read_table(store, where, *measures), by, tagged_sets(store, where) if by == "tag" else None
        )
    groups = []
    named: dict[int, str] = {}
    for word in what:
        ids = choose_sets(store, [word], where)
        for one in ids:
            if one in named:
                raise UsageError(
                    f"set {one} stands in two groups, {named[one]} and {word}",
                    "put every set into one of them",
                )
            named[one] = word
        found = read_table(store, Filter(ids=tuple(ids)), *measures)
        if not len(found):
            found = read_table(store, Filter(ids=tuple(ids), removed=True), *measures)
        numbers = f"sets {word}" if word[:1].isdigit() and len(word) < 10 else word
        groups.append(Group(name=f"set {ids[0]}" if len(ids) == 1 else numbers, sets=found))
    return groups


def _curves(store: Store, groups: list[Group]) -> list[tuple[str, list[SetCurves]]]:
    """Curves of the newest sets of each group whose recordings were kept, oldest first."""
    from armarc.errors import LogError
    from armarc.log.curves import set_curves
    from armarc.log.reading import get_set
    from armarc.log.table import as_table

    out = []
    for group in groups[:MOST_CURVES]:
        ids = [int(number) for number in as_table(group.sets).in_time.set_id]
        found: list[SetCurves] = []
        fault: LogError | None = None
        for number in reversed(ids):
            if len(found) == MOST_SETS_DRAWN:
                break
            try:
                found.append(set_curves(store, get_set(store, number)))
            except LogError as error:
                fault = error
        if not found:
            raise fault or LogError("no curves to draw", "name sets whose recordings were kept")
        if len(found) < len(ids):
            say(
                f"{group.name}: curves of {len(found)} of {len(ids)} sets, the newest whose recordings were kept"
            )
        name = group.name if len(ids) == 1 else f"{group.name}, {len(found)} sets"
        out.append((name, found[::-1]))
    if len(groups) > MOST_CURVES:
        say(f"curves of the first {MOST_CURVES} groups only")
    return out


def _print_rows(groups: list[Group], rows: list[Row]) -> None:
    from armarc.log import both_arms
    from armarc.log.comparing import MEASURING_WORDS, chance_words

    for group in groups:
        count = len(group.sets)
        say(f"{group.name}: {count} set{'s' * (count != 1)}")
    # Groups are named once above their rows: in every row they would take the room of the numbers.
    for second in dict.fromkeys(row.second for row in rows):
        chosen = [row for row in rows if row.second == second]
        first = chosen[0].first
        with_index = any(row.asymmetry is not None for row in chosen)
        heads = ["Measure", first, second, "Difference (95 %)", "Verdict", "Counted", "Size (95 %)"]
        heads += ["Symmetry index"] if with_index else []
        lines = [_line(row, with_index) for row in chosen]
        print_table(
            heads, lines, right=frozenset({1, 2}), ranks={"Size (95 %)": 3, "Counted": 2, "Symmetry index": 1}
        )
    say(
        "clear: a difference worth speaking of; small: real, below the smallest relevant one; same: surely below it; "
        "unclear: error, or a difference."
    )
    if any(row.effect is not None and row.effect.size is not None for row in rows):
        say(
            "size: the difference over the standard deviation of what was counted, corrected for few (Hedges' g)."
        )
    if chances := chance_words(rows):
        say(chances)
    for caution in dict.fromkeys(row.caution for row in rows if row.caution):
        say(caution)
    if any(row.verdict == "no scatter" for row in rows):
        say("no scatter: what was counted is all alike, so that no error can be told.")
    if any(row.effect is not None and row.effect.measuring_se > 0 for row in rows):
        say(MEASURING_WORDS)
    if with_index:
        say(f"{both_arms.DEFINITION}. {both_arms.CAUTION}")


def _line(row: Row, with_index: bool) -> list[str]:
    d, e = max(row.measure.digits, 1), row.effect
    if e is None:
        line = [row.measure.label, "–", "–", "–", row.verdict, "–", "–"]
    else:
        size = "–" if e.size is None else f"{e.size:+.2f} ({e.size_low:+.2f} to {e.size_high:+.2f})"
        counted = f"{e.n_first} pairs of {row.unit_of_analysis}s" if e.paired else ""
        counted = counted or f"{e.n_first} and {e.n_second} {row.unit_of_analysis}s"
        line = [row.measure.label, f"{e.mean_first:.{d}f}", f"{e.mean_second:.{d}f}"]
        line += [e.words(d), row.verdict, counted, size]
    return [*line, row.asymmetry.words() if row.asymmetry else "–"] if with_index else line
