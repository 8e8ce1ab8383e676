"""Tables of a set for the terminal, made from the published records (degrees, seconds, centimetres)."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from statistics import median
from typing import Any

from rich.box import Box
from rich.cells import cell_len
from rich.console import Console, Group, RenderableType
from rich.table import Table
from rich.text import Text

from armarc.measures import columns
from armarc.report.answers import set_answer
from armarc.report.flags import flag_letters, flag_words
from armarc.report.trunk_words import trunk_line
from armarc.reps.types import Rep

Record = Mapping[str, Any]

_BOX = Box("    \n    \n ── \n    \n    \n    \n    \n    \n")
_ASCII_BOX = Box("    \n    \n -- \n    \n    \n    \n    \n    \n", ascii=True)
_GAP = 2
_MARKS = {"below": "▽", "inside": "●", "above": "▲"}
_ASCII_MARKS = {"below": "v", "inside": "o", "above": "^"}
_STYLES = {"below": "bold", "inside": "bold cyan", "above": "bold yellow"}

SHOWN = tuple(c for c in columns(Rep) if c.measure.head and not c.is_error)
"""Columns of a rep that tables show."""

PLAIN_FIRST = ("set", "rep")
"""First columns of the tab-separated table; the other keys follow in the records' order."""


@dataclass(frozen=True, slots=True)
class _Column:
    head: str
    unit: str
    cell: Callable[[Record], str]
    importance: int
    """Columns with the largest value go first when the terminal is narrow; 0 always stays."""
    right: bool = True


def set_table(records: Sequence[Record], *, width: int = 100, ascii_only: bool = False) -> Table:
    """Table of a set's reps that fits a terminal; columns are left out before a number is cut.

    Parameters
    ----------
    records : sequence of mapping
        Rep records with the published keys.
    width : int
        Width of the terminal, characters.
    ascii_only : bool
        Plain letters instead of symbols.
    """
    marks = _ASCII_MARKS if ascii_only else _MARKS
    none = "-" if ascii_only else "–"
    letters = flag_letters([tuple(record.get("quality") or ()) for record in records])
    columns = [
        column for column in _columns(marks, none, letters, ascii_only) if _has_any(column, records, none)
    ]
    rows = [[column.cell(record) for column in columns] for record in records]
    widths = [
        max([cell_len(c.head), cell_len(c.unit), *(cell_len(row[i]) for row in rows)])
        for i, c in enumerate(columns)
    ]
    kept = _fitting([column.importance for column in columns], widths, width)
    table = Table(
        box=_ASCII_BOX if ascii_only else _BOX,
        padding=(0, 0, 0, _GAP - 1),
        pad_edge=False,
        show_edge=False,
        header_style="bold",
    )
    for i in kept:
        head = Text(f"{columns[i].head}\n{columns[i].unit}", justify="right" if columns[i].right else "left")
        table.add_column(
            head, justify="right" if columns[i].right else "left", no_wrap=True, min_width=widths[i]
        )
    for record, row in zip(records, rows, strict=True):
        verdict_style = _STYLES.get(record.get("start_verdict") or "", "")
        table.add_row(
            *(Text(row[i], style=verdict_style if columns[i].head == "start" else "") for i in kept)
        )
    return table


def summary_block(
    records: Sequence[Record],
    summary: Record,
    *,
    band: str = "",
    width: int = 100,
    ascii_only: bool = False,
) -> RenderableType:
    """What the set comes to, with short notes underneath.

    Parameters
    ----------
    records, summary
        As in the published set record.
    band : str
        Target band of the start velocity and what it rests on (`armarc.exercises.band_words`).
    """
    grid = Table.grid(padding=(0, 2, 0, 0))
    label_width = 18 if width >= 50 else None
    grid.add_column(no_wrap=True, width=label_width, style="bold")
    grid.add_column(overflow="fold")
    for name, said in _summary_lines(records, summary, band, ascii_only):
        grid.add_row(name, said)
    return Group(grid, *(Text(note, style="dim") for note in _notes(records, ascii_only)))


def plain_set(records: Sequence[Record], *, set_number: int | None = None, header: bool = True) -> str:
    """Tab-separated reps for a file or a pipe: every published key, nothing cut, empty where not measured.

    Parameters
    ----------
    set_number : int or None
        Adds a first column ``set``, so that several sets make one table.
    header : bool
        Whether the first line names the columns.
    """
    if not records:
        return ""
    keys = list(records[0])
    lines = ["\t".join((["set"] if set_number is not None else []) + keys)] if header else []
    for record in records:
        cells = [] if set_number is None else [str(set_number)]
        lines.append("\t".join(cells + [_plain(record.get(key)) for key in keys]))
    return "\n".join(lines) + "\n"


def print_set(
    console: Console,
    records: Sequence[Record],
    summary: Record,
    *,
    title: str = "",
    band: str = "",
    set_number: int | None = None,
    header: bool = True,
) -> None:
    """Print a set as suits the console: a table with its summary, or tab-separated lines into a pipe.

    Parameters
    ----------
    title : str
        Line above the table, only on a terminal.
    set_number, header
        For the tab-separated lines, see `plain_set`.
    """
    if not console.is_terminal:
        console.file.write(plain_set(records, set_number=set_number, header=header))
        return
    ascii_only = not console.encoding.lower().startswith("utf")
    if title:
        console.print(Text(title, style="bold"), soft_wrap=True)
    console.print(Text(set_answer(records, summary)))
    console.print()
    print_reps(console, records)
    console.print()
    console.print(summary_block(records, summary, band=band, width=console.width, ascii_only=ascii_only))


def print_reps(console: Console, records: Sequence[Record]) -> None:
    """Print a set's reps as suits the console: the table, or tab-separated lines into a pipe."""
    if not console.is_terminal:
        console.file.write(plain_set(records))
        return
    ascii_only = not console.encoding.lower().startswith("utf")
    console.print(set_table(records, width=console.width, ascii_only=ascii_only))


def _columns(
    marks: Mapping[str, str], none: str, letters: Mapping[str, str], ascii_only: bool
) -> list[_Column]:
    def value(key: str, digits: int) -> Callable[[Record], str]:
        # Adding zero turns a minus zero into a plain one.
        return lambda record: (
            none if record.get(key) is None else f"{round(record[key], digits) + 0.0:.{digits}f}"
        )

    def start(record: Record) -> str:
        if record.get("start_velocity_deg_s") is None:
            return none
        said = f"{record['start_velocity_deg_s']:.0f}"
        verdict = record.get("start_verdict")
        return f"{said} {marks[verdict]} {verdict:<6}" if verdict else said

    def start_error(record: Record) -> str:
        error = record.get("start_velocity_deg_s_se")
        return none if error is None else f"{error:.1f}"

    def tempo(record: Record) -> str:
        keys = ("eccentric_s", "pause_s", "concentric_s", "hold_s")
        return "/".join(none if record.get(key) is None else f"{record[key]:.1f}" for key in keys)

    def flags(record: Record) -> str:
        quality = record.get("quality") or ()
        return " ".join(quality) if ascii_only else "".join(letters[flag] for flag in quality)

    degree = "deg" if ascii_only else "°"
    speed = f"{degree}/s"
    measured = [
        _Column(
            c.measure.head, c.unit.sign.replace("°", degree), value(c.key, c.measure.digits), c.measure.rank
        )
        for c in SHOWN
        if c.measure.rank
    ]
    told = [
        *measured,
        _Column("tempo", "e/p/c/h s", tempo, 3),
        # Only the log's records have it.
        _Column("loss", "%", value("velocity_loss_pct", 0), 6),
    ]
    return [
        _Column("rep", "", value("rep", 0), 0),
        _Column("start", speed, start, 0),
        _Column("se" if ascii_only else "±", speed, start_error, 7),
        *sorted(told, key=lambda column: column.importance),
        _Column("flags", "", flags, 0, right=False),
    ]


def _has_any(column: _Column, records: Sequence[Record], none: str) -> bool:
    return column.head in ("rep", "start") or any(column.cell(record) not in ("", none) for record in records)


def _fitting(importances: Sequence[int], widths: Sequence[int], width: int) -> list[int]:
    kept = list(range(len(widths)))

    def needed() -> int:
        return sum(widths[i] for i in kept) + _GAP * (len(kept) - 1)

    while needed() > width and any(importances[i] for i in kept):
        kept.remove(max(kept, key=lambda i: importances[i]))
    return kept


def _summary_lines(
    records: Sequence[Record], summary: Record, band: str, ascii_only: bool
) -> list[tuple[str, Text]]:
    marks = _ASCII_MARKS if ascii_only else _MARKS
    degree = " deg" if ascii_only else "°"
    speed = "deg/s" if ascii_only else "°/s"
    lines: list[tuple[str, Text]] = []
    in_band = summary.get("in_band")
    if in_band:
        judged = [record["start_verdict"] for record in records if record.get("start_verdict")]
        share = f" ({100 * in_band['share']:.0f} %)" if in_band.get("share") is not None else ""
        said = Text(f"{marks['inside']} {in_band['count']} of {len(judged)}{share}", style=_STYLES["inside"])
        for verdict in ("below", "above"):
            count = judged.count(verdict)
            if count:
                said.append(f"   {marks[verdict]} {count} {verdict}", style=_STYLES[verdict])
        if band:
            said.append(f"   {band.replace('°/s', speed)}", style="not bold default")
        lines.append(("In the band", said))
    start = _mean(summary, "mean_start_velocity_deg_s", "start_velocity_deg_s", f" {speed}")
    rom = _mean(summary, "mean_rom_deg", "rom_deg", degree)
    lines += [
        (name, Text(said))
        for name, said in (
            ("Start velocity", start),
            ("Range of motion", _with_loss(rom, summary, "rom_loss_pct")),
            ("Velocity loss", _velocity_loss(summary)),
            ("Clean reps", _clean(summary)),
            ("Tempo", _tempo(summary)),
            ("Under tension", _under_tension(summary)),
            ("Body swing", _body_swing(records, summary, ascii_only)),
            ("Trunk", trunk_line(summary).replace("°", degree)),
            ("Standard errors", _standard_errors(records, degree, ascii_only)),
        )
        if said
    ]  # fmt: skip
    return lines


def _mean(summary: Record, mean_key: str, key: str, unit: str, digits: int = 0) -> str:
    mean = summary.get(mean_key)
    if mean is None:
        return ""
    said = f"{mean:.{digits}f}{unit} on average"
    spread = summary.get(f"cv_{key}_pct")
    return said if spread is None else f"{said}, varies by {spread:.0f} %"


def _body_swing(records: Sequence[Record], summary: Record, ascii_only: bool) -> str:
    """The mean, and in how many reps it cannot be told and why (the commonest reason, without its figures)."""
    mean = _mean(summary, "mean_body_swing_cm", "body_swing_cm", " cm", digits=1)
    reasons = [
        str(record["body_swing_reason"]).split(":")[0]
        for record in records
        if record.get("body_swing_reason")
    ]
    if not reasons:
        return mean
    why = max(reasons, key=reasons.count)
    if not mean:
        return f"{'-' if ascii_only else '–'}  {why}"
    return f"{mean}; {len(reasons)} of {len(records)} reps without: {why}"


def _with_loss(said: str, summary: Record, key: str) -> str:
    loss = summary.get(key)
    return f"{said}, {loss:.0f} % lost by the last rep" if said and loss is not None else said


def _standard_errors(records: Sequence[Record], degree: str, ascii_only: bool) -> str:
    """How sure one rep's figures are: the median over the reps, of those that are not in the table."""
    told = []
    for c in SHOWN:
        known = [record[f"{c.key}_se"] for record in records if record.get(f"{c.key}_se") is not None]
        said = f"{median(known):.{c.measure.digits}f}" if known and c.measure.rank else ""
        if said.strip("0."):
            unit = degree if c.unit.sign == "°" else f" {c.unit.sign}".replace("°", degree).rstrip()
            told.append(f"{c.measure.head} {'+/-' if ascii_only else '±'}{said}{unit}")
    return ", ".join(told)


def _velocity_loss(summary: Record) -> str:
    loss = summary.get("velocity_loss_pct")
    return "" if loss is None else f"{loss:.0f} % of the best mean raising velocity, at the last rep"


def _clean(summary: Record) -> str:
    """How many reps were clean, and over which the means go where that is not all."""
    clean, count, over = summary.get("clean_reps"), summary.get("reps"), summary.get("means_over")
    if clean is None or over is None:
        return ""
    said = f"{clean} of {count}"
    return said if ";" not in over else f"{said}; means and losses over {over}"


def _tempo(summary: Record) -> str:
    tempo = summary.get("tempo")
    return f"{tempo}  (eccentric / pause / concentric / hold, s)" if tempo else ""


def _under_tension(summary: Record) -> str:
    total = summary.get("time_under_tension_s")
    if total is None:
        return ""
    loaded = summary.get("loaded_range_s")
    return f"{total:.0f} s" + (f", {loaded:.0f} s of it in the loaded range" if loaded else "")


def _notes(records: Sequence[Record], ascii_only: bool) -> list[str]:
    notes = []
    letters = flag_letters([tuple(record.get("quality") or ()) for record in records])
    if letters:
        told = {flag if ascii_only else letter: flag_words(flag) for flag, letter in letters.items()}
        notes.append("; ".join(f"{mark}{':' if ascii_only else ''} {said}" for mark, said in told.items()))
    return notes


def _plain(value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, list | tuple):
        return " ".join(str(part) for part in value)
    return " ".join(str(value).split())
