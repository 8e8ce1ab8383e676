"""Options that the commands over the log share."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from typing import TYPE_CHECKING, Annotated, Literal

import typer

from armarc.cli.measuring_options import exercise_keys, lifters, sides
from armarc.cli.option_rows import OptionRow, without
from armarc.cli.outputs import check_size
from armarc.cli.terminal import indented_json

if TYPE_CHECKING:
    from rich.console import Console

    from armarc.log.reading import Filter
    from armarc.log.store import Store

Size = Annotated[
    str,
    typer.Option(
        "--size",
        callback=check_size,
        help="Of the picture: wide, or square or tall with a message as its title.",
    ),
]
LogFile = Annotated[
    str | None,
    typer.Option(
        "--log-file",
        metavar="FILE",
        help="Log to use: a file, or postgresql+psycopg://… (or set ARMARC_LOG; else your data folder).",
        show_default=False,
    ),
]
FILTERS = (
    OptionRow(name="lifter", help="Only this lifter.", complete=lifters),
    OptionRow(name="exercise", help="Only this exercise.", short="-e", complete=exercise_keys),
    OptionRow(name="variant", help="Only this variant, e.g. cable; '' for none."),
    OptionRow(name="side", help="Only left or right.", complete=sides),
    OptionRow(name="load", help="Only this load, e.g. 8kg or 17.5lb."),
    OptionRow(name="tag", help="Only sets with this tag."),
    OptionRow(name="session", help="Only sessions of this name."),
    OptionRow(name="since", help="First day, e.g. 2026-03-01."),
    OptionRow(name="until", help="Last day."),
)
"""Which sets of the log are meant; `make_filter` reads them."""
AsJson = Annotated[bool, typer.Option("--json", help="Print JSON.")]
DryRun = Annotated[bool, typer.Option("--dry-run", help="Say what would change, change nothing.")]
Yes = Annotated[bool, typer.Option("--yes", "-y", help="Do not ask.")]


def make_filter(
    *,
    lifter: str | None = None,
    exercise: str | None = None,
    variant: str | None = None,
    side: str | None = None,
    load: str | None = None,
    tag: str | None = None,
    session: str | None = None,
    since: str | None = None,
    until: str | None = None,
) -> Filter:
    """Turn the options into a filter.

    Raises
    ------
    UsageError
        If one of them cannot be read.
    """
    from armarc.errors import UsageError
    from armarc.log.labels import check_side
    from armarc.log.reading import Filter, parse_day
    from armarc.quantities import parse_load

    first = None if since is None else parse_day(since)
    last = None if until is None else parse_day(until)
    if first and last and last < first:
        raise UsageError(f"--until {last} lies before --since {first}", "swap them")
    return Filter(
        lifter=lifter,
        exercise=None if exercise is None else exercise_key(exercise),
        variant=variant,
        side=check_side(side),
        load_kg=None if load is None else parse_load(load),
        tag=tag,
        session=session,
        since=first,
        until=last,
    )


WHERE = (without(FILTERS, "session"), make_filter)
"""What most commands over the log take for `armarc.cli.option_rows.taking`."""


def exercise_key(name: str) -> str:
    """Key of an exercise from a forgiving name; a name outside the catalogue stays as it is."""
    from armarc.errors import UsageError
    from armarc.exercises import find_exercise

    try:
        return find_exercise(name).key
    except UsageError:
        return name.strip()


def not_in_catalogue(name: str) -> str:
    """What is said of an exercise outside the catalogue, a slip or a name of one's own; else empty."""
    from armarc.errors import UsageError
    from armarc.exercises import find_exercise

    try:
        find_exercise(name)
    except UsageError as error:
        return f"{error.message}, so it stays a name of your own ({error.hint})"
    return ""


def print_json(document: dict[str, object]) -> None:
    """Print one JSON document on stdout."""
    typer.echo(indented_json(document))


def print_json_list(head: dict[str, object], name: str, records: Iterable[dict[str, object]]) -> None:
    """Print one JSON document on stdout whose last key `name` holds a list too long to be kept: as it comes."""
    import sys

    typer.echo(indented_json(head).removesuffix("\n}") + f',\n  "{name}": [', nl=False)
    comma = ""
    for record in records:
        sys.stdout.write(f"{comma}\n    {indented_json(record, 4)}")
        comma = ","
    typer.echo("\n  ]\n}" if comma else "]\n}")


def check_names(store: Store, where: Filter) -> None:
    """Say so when nobody logged this lifter or exercise, with the names that are nearest.

    Raises
    ------
    NothingToMeasure
        If the log has no set of them at all.
    """
    from difflib import get_close_matches

    from armarc.errors import NothingToMeasure
    from armarc.exercises import load_catalogue
    from armarc.log.reading import names_in

    for what, wanted in (("lifter", where.lifter), ("exercise", where.exercise)):
        if wanted is None:
            continue
        logged = names_in(store, what)
        folded = {name.casefold(): name for name in logged}
        if not logged or wanted.casefold() in folded:
            continue
        known = dict(folded)
        if what == "exercise":
            known |= {key.casefold(): key for key in load_catalogue()}
        near = [] if wanted in known.values() else get_close_matches(wanted.casefold(), list(known), n=3)
        hint = f"did you mean {' or '.join(known[name] for name in near)}?" if near else ""
        there = ", ".join(logged[:12]) + (", …" if len(logged) > 12 else "")
        raise NothingToMeasure(f"no set of {what} {wanted!r} is in the log", hint or f"the log has: {there}")


def print_table(
    heads: list[str],
    lines: list[list[str]],
    *,
    right: frozenset[int] = frozenset(),
    shorten: int | None = None,
    ranks: Mapping[str, int] | None = None,
) -> None:
    """Print a table: drawn on a terminal, tab-separated lines elsewhere.

    Parameters
    ----------
    heads, lines : list
    right : frozenset of int
        Columns set to the right.
    shorten : int or None
        Column whose long texts are cut on a terminal; elsewhere nothing is.
    ranks : mapping or None
        Heads of columns that a narrow terminal may go without, the largest rank first; what went is said. A table
        that is too wide even so has its columns one below the other.
    """
    from rich.box import SIMPLE_HEAD
    from rich.cells import cell_len
    from rich.console import Console
    from rich.table import Table
    from rich.text import Text

    console = Console(highlight=False)
    if not console.is_terminal:
        plain = [[cell.replace("\t", " ").replace("\n", " ") for cell in line] for line in (heads, *lines)]
        typer.echo("\n".join("\t".join(line) for line in plain))
        return
    if shorten is not None:
        short = [f"{line[shorten][:39]}…" if len(line[shorten]) > 40 else line[shorten] for line in lines]
        lines = [
            [*line[:shorten], cell, *line[shorten + 1 :]] for line, cell in zip(lines, short, strict=True)
        ]
    full = [max([cell_len(line[i]) for line in lines] + _words(heads[i])) for i in range(len(heads))]
    # Numbers never break; texts may between their words, once they are long.
    least = [
        full[i] if i in right else min(full[i], max([_TEXT, *_words(heads[i], *(line[i] for line in lines))]))
        for i in range(len(heads))
    ]
    kept = list(range(len(heads)))
    droppable = sorted((ranks or {}).items(), key=lambda one: -one[1])
    gone = []
    while sum(least[i] + _GAP for i in kept) - _GAP > console.width and droppable:
        head, _ = droppable.pop(0)
        kept = [i for i in kept if heads[i] != head]
        gone += [head] if head in heads else []
    if sum(least[i] + _GAP for i in kept) - _GAP > console.width:
        _print_stacked(console, heads, lines)
        return
    room = console.width - sum(least[i] + _GAP for i in kept) + _GAP
    # The box puts one blank between columns.
    table = Table(box=SIMPLE_HEAD, show_edge=False, pad_edge=False, padding=(0, _GAP - 1, 0, 0))
    for i in kept:
        width = min(full[i], least[i] + room)
        room -= width - least[i]
        side: Literal["left", "right"] = "right" if i in right else "left"
        table.add_column(heads[i], justify=side, width=width, overflow="fold")
    for line in lines:
        table.add_row(*(Text(line[i]) for i in kept))
    console.print(table)
    if gone:
        say(f"Left out for want of room: {', '.join(gone)}.")


_GAP = 2
_TEXT = 16
"""Cells that a column of longer texts keeps."""


def _words(*texts: str) -> list[int]:
    """Lengths of the words of texts."""
    from rich.cells import cell_len

    return [0, *(cell_len(word) for text in texts for word in text.split())]


def _print_stacked(console: Console, heads: list[str], lines: list[list[str]]) -> None:
    """Each line of a table as lines of its own, headed by its first column."""
    from rich.text import Text

    for line in lines:
        console.print(Text(f"{heads[0]} {line[0]}", style="bold"))
        for head, cell in list(zip(heads, line, strict=True))[1:]:
            if cell not in ("", "–"):
                console.print(Text(f"  {head}: {cell}"), soft_wrap=False)
    console.print()


def say(text: str) -> None:
    """Say something to the person (stderr)."""
    from armarc.cli.terminal import error_console

    console = error_console()
    # A terminal would break words where its line ends; a file keeps a sentence on one line.
    console.print(text, markup=False, soft_wrap=not console.is_terminal)


def say_cautions(exercises: Collection[str]) -> None:
    """Say what belongs under numbers of height, hand rotation, moments and loads."""
    from armarc.report.wording import cautions_for

    for line in cautions_for(exercises):
        say(line)


def confirm(question: str, yes: bool) -> None:
    """Ask before something is taken away.

    Raises
    ------
    UsageError
        Without ``--yes`` where nobody can answer.
    """
    import sys

    from armarc.errors import UsageError

    if yes:
        return
    if not sys.stdin.isatty():
        raise UsageError(f"{question} Nobody is there to answer", "add --yes")
    if not typer.confirm(question, err=True):
        raise typer.Exit(1)


def shown(value: float | None, digits: int = 0) -> str:
    """A number for a table; a dash for none."""
    return "–" if value is None else f"{value:.{digits}f}"
