"""``armarc report``: a page a lifter can read."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from armarc.cli.log_options import WHERE, LogFile, check_names, say
from armarc.cli.option_rows import taking
from armarc.cli.outputs import Force, guard_for

if TYPE_CHECKING:
    from armarc.log.reading import Filter


@taking(where=WHERE)
def report(
    sets: Annotated[
        list[str] | None,
        typer.Argument(
            help="12, 12-15, a day 2026-03-01, last, last-3; else the period of --since and --until."
        ),
    ] = None,
    *,
    out: Annotated[
        str | None, typer.Option("--out", "-o", metavar="FILE", help="Page to write; - for stdout.")
    ] = None,
    where: Filter,
    title: Annotated[str | None, typer.Option("--title", help="Title of the page.")] = None,
    stop_at: Annotated[
        float | None,
        typer.Option("--stop-at", min=1, max=90, help="Your own mark of velocity loss, %."),
    ] = None,
    force: Force = False,
    log_file: LogFile = None,
) -> None:
    """Write a page about sets, a session or a period: one file, for screen, phone and paper (print it as PDF)."""
    from datetime import date

    from armarc.errors import NothingToMeasure
    from armarc.log.coaching import load_coaching
    from armarc.log.reading import choose_sets, get_set, list_sets
    from armarc.log.store import open_log
    from armarc.outputs import PAGE
    from armarc.quantities import clean_name
    from armarc.report.page import render_page
    from armarc.report.page_build import build_sections, invented_words, title_for

    guard = guard_for(log_file=log_file, force=force)
    if out not in (None, "-"):
        guard.check(str(out), PAGE)
    chosen_title = None if title is None else clean_name(title, "title", empty=False)
    with open_log(log_file, create=False) as store:
        check_names(store, where)
        if sets:
            entries = [get_set(store, set_id) for set_id in choose_sets(store, sets, where)]
        else:
            entries = list_sets(store, where)
        if not entries:
            raise NothingToMeasure("no set passes", "widen the filter, or log a set first")
        heading, below = title_for(entries)
        sections = build_sections(
            store, entries, stop_at_pct=stop_at, coaching=load_coaching(), today=date.today()
        )
        invented = invented_words(entries)
    exercises = {entry.exercise for entry in entries}
    page = render_page(chosen_title or heading, below, sections, exercises=exercises, invented=invented)
    if out == "-":
        typer.echo(page)
        return
    target = Path(out) if out else Path(f"armarc-{_slug(heading)}.html")
    with guard.open(target, PAGE) as stream:
        stream.write(page.encode())
    say(f"page written to {target}; open it in a browser, print it for a PDF")


def _slug(text: str) -> str:
    import re

    return re.sub(r"[^a-z0-9]+", "-", text.casefold()).strip("-")[:80] or "report"
