"""Options that the commands over the log share."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING, Annotated, Any

import typer

from armarc.cli.completion import exercise_keys, lifters, sides
from armarc.cli.json_text import indented_json

if TYPE_CHECKING:
    from armarc.log.reading import Filter

LogFile = Annotated[
    str | None,
    typer.Option(
        "--log-file",
        metavar="FILE",
        help="Log to use: a file, or postgresql+psycopg://… (or set ARMARC_LOG; else your data folder).",
        show_default=False,
    ),
]
Lifter = Annotated[
    str | None,
    typer.Option(
        "--lifter",
        help="Only this lifter.",
        show_default=False,
        autocompletion=lifters,
    ),
]
ExerciseName = Annotated[
    str | None,
    typer.Option(
        "--exercise", "-e", help="Only this exercise.", show_default=False, autocompletion=exercise_keys
    ),
]
Variant = Annotated[
    str | None,
    typer.Option("--variant", help="Only this variant, e.g. cable; '' for none.", show_default=False),
]
Side = Annotated[
    str | None,
    typer.Option(
        "--side",
        help="Only left or right.",
        show_default=False,
        autocompletion=sides,
    ),
]
Load = Annotated[
    str | None, typer.Option("--load", help="Only this load, e.g. 8kg or 17.5lb.", show_default=False)
]
Tag = Annotated[str | None, typer.Option("--tag", help="Only sets with this tag.", show_default=False)]
SessionName = Annotated[
    str | None, typer.Option("--session", help="Only sessions of this name.", show_default=False)
]
Since = Annotated[str | None, typer.Option("--since", help="First day, e.g. 2026-03-01.", show_default=False)]
Until = Annotated[str | None, typer.Option("--until", help="Last day.", show_default=False)]
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
    removed: bool = False,
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
        removed=removed,
    )


def exercise_key(name: str) -> str:
    """Key of an exercise from a forgiving name; a name outside the catalogue stays as it is."""
    from armarc.errors import UsageError
    from armarc.exercises import find_exercise

    try:
        return find_exercise(name).key
    except UsageError:
        return name.strip()


def print_json(document: dict[str, Any]) -> None:
    """Print one JSON document on stdout."""
    typer.echo(indented_json(document))


def print_json_list(head: dict[str, Any], name: str, records: Iterable[dict[str, Any]]) -> None:
    """Print one JSON document on stdout whose last key `name` holds a list too long to be kept: as it comes."""
    import sys

    typer.echo(indented_json(head).removesuffix("\n}") + f',\n  "{name}": [', nl=False)
    comma = ""
    for record in records:
        sys.stdout.write(f"{comma}\n    {indented_json(record, 4)}")
        comma = ","
    typer.echo("\n  ]\n}" if comma else "]\n}")


def print_table(
    heads: list[str],
    lines: list[list[str]],
    *,
    right: frozenset[int] = frozenset(),
    shorten: int | None = None,
) -> None:
    """Print a table: drawn on a terminal, tab-separated lines elsewhere.

    Parameters
    ----------
    heads, lines : list
    right : frozenset of int
        Columns set to the right.
    shorten : int or None
        Column whose long texts are cut on a terminal; elsewhere nothing is.
    """
    from rich.box import SIMPLE_HEAD
    from rich.table import Table
    from rich.text import Text

    from armarc.cli.terminal import out_console

    console = out_console()
    if not console.is_terminal:
        plain = [[cell.replace("\t", " ").replace("\n", " ") for cell in line] for line in (heads, *lines)]
        typer.echo("\n".join("\t".join(line) for line in plain))
        return
    table = Table(box=SIMPLE_HEAD, pad_edge=False, padding=(0, 2, 0, 0))
    for index, head in enumerate(heads):
        table.add_column(head, justify="right" if index in right else "left", overflow="fold")
    for line in lines:
        cells = [
            f"{cell[:39]}…" if index == shorten and len(cell) > 40 else cell
            for index, cell in enumerate(line)
        ]
        table.add_row(*map(Text, cells))
    console.print(table)


def say(text: str) -> None:
    """Say something to the person (stderr)."""
    from armarc.cli.terminal import error_console

    error_console().print(text, markup=False, soft_wrap=True)


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
