"""What the commands about load share: options, the recording they start from, tables and pictures.

Tables are boxes on a terminal and tab-separated records into a pipe.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from armarc.outputs import Guard

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from armarc.pipeline import Session

OfRecording = Annotated[
    str | None, typer.Option("--exercise", "-e", help="Of the recording; see `armarc exercises`.")
]
WhoseBody = Annotated[
    str | None, typer.Option("--lifter", metavar="NAME", help="Whose body; see `armarc lifter`.")
]


def measured_sets(path: Path, exercise: str | None, side: str | None = None) -> Session:
    """Measure a recording that must hold a set.

    Raises
    ------
    NothingToMeasure
        No rep was found.
    """
    from armarc.api import process, read_csv
    from armarc.errors import NothingToMeasure

    session = process(read_csv(path), exercise=exercise, side=side)
    if not session.sets:
        raise NothingToMeasure(f"{path}: no rep was found", "is it the right file and exercise?")
    return session


def save_picture(figure: Figure, path: Path, guard: Guard) -> None:
    """Write a picture and say so."""
    from armarc.cli.terminal import error_console
    from armarc.report.sizes import save_figure

    save_figure(figure, path, guard)
    error_console().print(f"Picture written to {path}", markup=False, soft_wrap=True)


def print_table(
    title: str,
    heads: Sequence[str],
    rows: Sequence[Sequence[str]],
    *,
    left: int = 1,
    spare: Sequence[int] = (),
) -> None:
    """Print rows of texts; the first `left` columns lean left, the others right.

    A line break in a head splits it over two lines on a terminal. On a narrow terminal the columns named in
    `spare` are left out in that order before anything is folded. Into a pipe every row is one tab-separated
    line, with the heads first and nothing left out.
    """
    from rich.box import SIMPLE_HEAD
    from rich.table import Table
    from rich.text import Text

    from armarc.cli.terminal import out_console

    console = out_console()
    if not console.is_terminal:
        plain = [head.replace("\n", " ") for head in heads]
        typer.echo("\n".join("\t".join(row) for row in (plain, *rows)))
        return
    widths = [_width([*heads[i].split("\n"), *(row[i] for row in rows)]) for i in range(len(heads))]
    shown = list(range(len(heads)))
    for i in spare:
        if sum(widths[j] + 3 for j in shown) <= console.width:
            break
        shown.remove(i)
    console.print(Text(title, style="bold"))
    table = Table(box=SIMPLE_HEAD, pad_edge=False, padding=(0, 2, 0, 0))
    for i in shown:
        if i < left:
            table.add_column(Text(heads[i]), overflow="fold", vertical="bottom")
        else:
            table.add_column(Text(heads[i]), justify="right", no_wrap=True, vertical="bottom")
    for row in rows:
        table.add_row(*(Text(row[i]) for i in shown))
    console.print(table)
    if gone := [heads[i].replace("\n", " ") for i in spare if i not in shown]:
        console.print(Text(f"Left out for want of room: {', '.join(gone)}."))


def _width(texts: Sequence[str]) -> int:
    from rich.cells import cell_len

    return max(cell_len(text) for text in texts)


def say(lines: Sequence[str]) -> None:
    """Print sentences on stdout, below a table on a terminal; on stderr when stdout is a pipe."""
    from armarc.cli.terminal import out_console

    console = out_console()
    if console.is_terminal:
        for line in lines:
            console.print(line, markup=False)
    else:
        from armarc.cli.terminal import error_console

        for line in lines:
            error_console().print(line, markup=False, soft_wrap=True)


def number(value: float | None, digits: int = 1, none: str = "–") -> str:
    """A number as text; a dash for what is not one."""
    import math

    return none if value is None or not math.isfinite(value) else f"{value:.{digits}f}"


def degrees_option(text: str | None, what: str, low: float, high: float) -> float | None:
    """Read an angle such as ``30`` or ``30°`` and check its range; gives rad.

    Raises
    ------
    UsageError
        Not an angle, or outside the range.
    """
    import math

    from armarc.errors import UsageError

    if text is None:
        return None
    try:
        value = float(text.strip().rstrip("°").replace(",", "."))
    except ValueError:
        value = math.nan
    if not low <= value <= high:
        raise UsageError(f"expected {what} from {low:g} to {high:g}°, got {text!r}")
    return math.radians(value)


def range_option(text: str) -> tuple[float, float]:
    """Read two rising angles such as ``30-60``; gives rad.

    Raises
    ------
    UsageError
        Not a pair of rising angles.
    """
    import math

    from armarc.quantities import parse_pair

    low, high = parse_pair(text, of="the loaded range", example="30-60")
    return math.radians(low), math.radians(high)
