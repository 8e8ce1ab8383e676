"""Tables of a set for the terminal, made from the published records (degrees, seconds, centimetres)."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from statistics import median
from types import MappingProxyType
from typing import TYPE_CHECKING

from rich.box import Box
from rich.cells import cell_len
from rich.console import Console, Group, RenderableType
from rich.table import Table
from rich.text import Text

from armarc.measures import Column, column, columns, number_of
from armarc.report.answers import flag_letters, flag_words, letters_of, set_answer
from armarc.reps.summary import SetSummary, last_rep
from armarc.reps.types import Rep

if TYPE_CHECKING:
    from armarc.results import SetResult


Record = Mapping[str, object]

_BOX = Box("    \n    \n ── \n    \n    \n    \n    \n    \n")
_ASCII_BOX = Box("    \n    \n -- \n    \n    \n    \n    \n    \n", ascii=True)
_GAP = 2
_MARKS = {"below": "▽", "inside": "●", "above": "▲"}
_ASCII_MARKS = {"below": "v", "inside": "o", "above": "^"}
_STYLES = {"below": "bold", "inside": "bold cyan", "above": "bold yellow"}

SHOWN = tuple(c for c in columns(Rep) if c.measure.head and not c.is_error)
"""Columns of a rep that tables show."""


@dataclass(frozen=True, slots=True)
class _Column:
    head: str
    unit: str
    cell: Callable[[Rep], str]
    importance: int
    """Columns with the largest value go first when the terminal is narrow; 0 always stays."""
    right: bool = True


def set_table(
    reps: Sequence[Rep],
    *,
    losses: Mapping[int, float | None] = MappingProxyType({}),
    width: int = 100,
    ascii_only: bool = False,
) -> Table:
    """Table of a set's reps that fits a terminal; columns are left out before a number is cut.

    Parameters
    ----------
    reps : sequence of Rep
    losses : mapping of int to float or None, %
        Velocity lost up to a rep, by its number, where it is known.
    width : int
        Width of the terminal, characters.
    ascii_only : bool
        Plain letters instead of symbols.
    """
    marks = _ASCII_MARKS if ascii_only else _MARKS
    none = "-" if ascii_only else "–"
    letters = flag_letters([rep.quality for rep in reps])
    columns = [
        column
        for column in _columns(marks, none, letters, ascii_only, losses)
        if _has_any(column, reps, none)
    ]
    rows = [[column.cell(rep) for column in columns] for rep in reps]
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
    for rep, row in zip(reps, rows, strict=True):
        verdict_style = _STYLES.get(rep.start_verdict or "", "")
        table.add_row(
            *(Text(row[i], style=verdict_style if columns[i].head == "start" else "") for i in kept)
        )
    return table


def summary_block(
    reps: Sequence[Rep],
    summary: SetSummary,
    *,
    band: str = "",
    width: int = 100,
    ascii_only: bool = False,
) -> RenderableType:
    """What the set comes to, with short notes underneath.

    Parameters
    ----------
    reps : sequence of Rep
    summary : SetSummary
    band : str
        Target band of the start velocity and what it rests on (`armarc.exercises.band_words`).
    """
    grid = Table.grid(padding=(0, 2, 0, 0))
    label_width = 18 if width >= 50 else None
    grid.add_column(no_wrap=True, width=label_width, style="bold")
    grid.add_column(overflow="fold")
    for name, said in _summary_lines(reps, summary, band, ascii_only):
        grid.add_row(name, said)
    return Group(grid, *(Text(note, style="dim") for note in _notes(reps, ascii_only)))


def plain_set(records: Sequence[Record]) -> str:
    """Tab-separated reps for a pipe: every published key, nothing cut, empty where not measured."""
    if not records:
        return ""
    keys = list(records[0])
    lines = ["\t".join(keys), *("\t".join(_plain(record.get(key)) for key in keys) for record in records)]
    return "\n".join(lines) + "\n"


def print_set(console: Console, one: SetResult, *, title: str = "", band: str = "") -> None:
    """Print a set on a terminal: a title, what it comes to, its reps, its summary."""
    ascii_only = not console.encoding.lower().startswith("utf")
    if title:
        console.print(Text(title, style="bold"), soft_wrap=True)
    console.print(Text(set_answer(one.reps, one.summary)))
    console.print()
    console.print(set_table(one.reps, width=console.width, ascii_only=ascii_only))
    console.print()
    console.print(summary_block(one.reps, one.summary, band=band, width=console.width, ascii_only=ascii_only))


def print_logged(
    console: Console, records: Sequence[Record], losses: Mapping[str, Sequence[float | None]]
) -> None:
    """Print a logged set's reps: the table, or tab-separated lines into a pipe, the losses behind each."""
    if not console.is_terminal:
        rounded = [[None if one is None else round(one, 2) for one in each] for each in losses.values()]
        lost = [dict(zip(losses, each, strict=True)) for each in zip(*rounded, strict=True)]
        console.file.write(plain_set([{**rep, **more} for rep, more in zip(records, lost, strict=True)]))
        return
    from armarc.log.rows import rep_of

    ascii_only = not console.encoding.lower().startswith("utf")
    reps = [rep_of(record) for record in records]
    lost_pct = dict(zip((rep.rep for rep in reps), losses["velocity_loss_pct"], strict=True))
    console.print(set_table(reps, losses=lost_pct, width=console.width, ascii_only=ascii_only))
    for note in _notes(reps, ascii_only):
        console.print(Text(note, style="dim"))


def _columns(
    marks: Mapping[str, str],
    none: str,
    letters: Mapping[str, str],
    ascii_only: bool,
    losses: Mapping[int, float | None],
) -> list[_Column]:
    def number(value: float | None, digits: int) -> str:
        # Adding zero turns a minus zero into a plain one.
        return none if value is None else f"{round(value, digits) + 0.0:.{digits}f}"

    def value(c: Column) -> Callable[[Rep], str]:
        return lambda rep: number(c.published(rep), c.measure.digits)

    def start(rep: Rep) -> str:
        verdict = rep.start_verdict
        if rep.start_velocity_rad_s is None:
            return none
        said = number(number_of(rep, "start_velocity_deg_s"), 0)
        return f"{said} {marks[verdict]} {verdict:<6}" if verdict else said

    def start_error(rep: Rep) -> str:
        error = rep.start_velocity_se_rad_s
        return none if error is None else f"{math.degrees(error):.1f}"

    def tempo(rep: Rep) -> str:
        parts = (rep.eccentric_s, rep.pause_s, rep.concentric_s, rep.hold_s)
        return "/".join(none if part is None or math.isnan(part) else f"{part:.1f}" for part in parts)

    def flags(rep: Rep) -> str:
        return " ".join(rep.quality) if ascii_only else letters_of(rep.quality, letters)

    degree = "deg" if ascii_only else "°"
    speed = f"{degree}/s"
    measured = [
        _Column(c.measure.head, c.unit.sign.replace("°", degree), value(c), c.measure.rank)
        for c in SHOWN
        if c.measure.rank
    ]
    told = [
        *measured,
        _Column("tempo", "e/p/c/h s", tempo, 3),
        _Column("loss", "%", lambda rep: number(losses.get(rep.rep), 0), 6),
    ]
    return [
        _Column("rep", "", lambda rep: str(rep.rep), 0),
        _Column("start", speed, start, 0),
        _Column("se" if ascii_only else "±", speed, start_error, 7),
        *sorted(told, key=lambda column: column.importance),
        _Column("flags", "", flags, 0, right=False),
    ]


def _has_any(column: _Column, reps: Sequence[Rep], none: str) -> bool:
    return column.head in ("rep", "start") or any(column.cell(rep) not in ("", none) for rep in reps)


def _fitting(importances: Sequence[int], widths: Sequence[int], width: int) -> list[int]:
    kept = list(range(len(widths)))

    def needed() -> int:
        return sum(widths[i] for i in kept) + _GAP * (len(kept) - 1)

    while needed() > width and any(importances[i] for i in kept):
        kept.remove(max(kept, key=lambda i: importances[i]))
    return kept


def _summary_lines(
    reps: Sequence[Rep], summary: SetSummary, band: str, ascii_only: bool
) -> list[tuple[str, Text]]:
    marks = _ASCII_MARKS if ascii_only else _MARKS
    degree = " deg" if ascii_only else "°"
    speed = "deg/s" if ascii_only else "°/s"
    lines: list[tuple[str, Text]] = []
    in_band = summary.in_band
    if in_band:
        judged = [rep.start_verdict for rep in reps if rep.start_verdict]
        share = "" if in_band.share is None else f" ({100 * in_band.share:.0f} %)"
        said = Text(f"{marks['inside']} {in_band.count} of {len(judged)}{share}", style=_STYLES["inside"])
        for verdict in ("below", "above"):
            count = judged.count(verdict)
            if count:
                said.append(f"   {marks[verdict]} {count} {verdict}", style=_STYLES[verdict])
        if band:
            said.append(f"   {band.replace('°/s', speed)}", style="not bold default")
        lines.append(("In the band", said))
    start = _mean(summary, "start_velocity_deg_s", f" {speed}")
    rom = _mean(summary, "rom_deg", degree)
    lines += [
        (name, Text(said))
        for name, said in (
            ("Start velocity", start),
            ("Range of motion", _with_loss(rom, summary, reps)),
            ("Velocity loss", _velocity_loss(summary, reps)),
            ("Clean reps", _clean(summary)),
            ("Tempo", f"{summary.tempo}  (eccentric / pause / concentric / hold, s)"),
            ("Under tension", _under_tension(summary)),
            ("Body swing", _body_swing(reps, summary, ascii_only)),
            ("Trunk", trunk_line(summary).replace("°", degree)),
            ("Standard errors", _standard_errors(reps, degree, ascii_only)),
        )
        if said
    ]  # fmt: skip
    return lines


def _mean(summary: SetSummary, key: str, unit: str, digits: int = 0) -> str:
    mean = column(Rep, key).in_published_unit(summary.means[key])
    if mean is None:
        return ""
    spread = summary.spreads.get(key)
    varies = "" if spread is None else f", varies by {100 * spread:.0f} %"
    return f"{mean:.{digits}f}{unit} on average{varies}"


def trunk_line(summary: SetSummary) -> str:
    """Lean, travel and the parts of the swing; empty without a chest sensor."""
    means = summary.means
    lean, travel = means["trunk_lean_deg"], means["trunk_travel_deg"]
    if lean is None or travel is None:
        return ""
    said = f"leans {math.degrees(lean):.0f}° at the start, moves by {math.degrees(travel):.0f}° while raising"
    tipping, shifting = means["swing_tipping_cm"], means["swing_shifting_cm"]
    if tipping is not None and shifting is not None:
        said += f"; swing by tipping {100 * tipping:.1f} cm, by shifting {100 * shifting:.1f} cm"
    arm = means["elevation_to_trunk_deg"]
    return said if arm is None else f"{said}; arm against it {math.degrees(arm):.0f}° at the top"


def _body_swing(reps: Sequence[Rep], summary: SetSummary, ascii_only: bool) -> str:
    """The mean, and in how many reps it cannot be told and why (the commonest reason, without its figures)."""
    mean = _mean(summary, "body_swing_cm", " cm", digits=1)
    reasons = [rep.body_swing_reason.split(":")[0] for rep in reps if rep.body_swing_reason]
    if not reasons:
        return mean
    why = max(reasons, key=reasons.count)
    if not mean:
        return f"{'-' if ascii_only else '–'}  {why}"
    return f"{mean}; {len(reasons)} of {len(reps)} reps without: {why}"


def _with_loss(said: str, summary: SetSummary, reps: Sequence[Rep]) -> str:
    share = summary.rom_loss_share
    return f"{said}, {100 * share:.0f} % lost by the {last_rep(reps)}" if said and share is not None else said


_TEMPO_HEADS = ("raise", "hold", "lower")


def _standard_errors(reps: Sequence[Rep], degree: str, ascii_only: bool) -> str:
    """How sure one rep's figures are: the median over the reps, of those that are not in the table.

    Those of the tempo's phases are told where they reach the tenths of a second it is written in.
    """
    told = []
    for c in columns(Rep):
        of_tempo = c.measure.head in _TEMPO_HEADS
        if not (c.is_error and c.measure.head and (c.measure.rank or of_tempo)):
            continue
        known = [error for rep in reps if (error := c.published(rep)) is not None]
        said = f"{median(known):.{1 if of_tempo else c.measure.digits}f}" if known else ""
        if said.strip("0."):
            unit = degree if c.unit.sign == "°" else f" {c.unit.sign}".replace("°", degree).rstrip()
            name = c.measure.title.lower() if of_tempo else c.measure.head
            told.append(f"{name} {'+/-' if ascii_only else '±'}{said}{unit}")
    return ", ".join(told)


def _velocity_loss(summary: SetSummary, reps: Sequence[Rep]) -> str:
    share = summary.velocity_loss_share
    return (
        ""
        if share is None
        else f"{100 * share:.0f} % of the best mean raising velocity, at the {last_rep(reps)}"
    )


def _clean(summary: SetSummary) -> str:
    """How many reps were clean, and over which the means go where that is not all."""
    said = f"{summary.clean_reps} of {summary.reps}"
    return f"{said}; means and losses over {summary.means_over}" if ";" in summary.means_over else said


def _under_tension(summary: SetSummary) -> str:
    loaded = summary.loaded_range_s
    more = f", {loaded:.0f} s of it in the loaded range" if loaded else ""
    return f"{summary.time_under_tension_s:.0f} s{more}"


def _notes(reps: Sequence[Rep], ascii_only: bool) -> list[str]:
    letters = flag_letters([rep.quality for rep in reps])
    told = {flag if ascii_only else letter: flag_words(flag) for flag, letter in letters.items()}
    said = "; ".join(f"{mark}{':' if ascii_only else ''} {words}" for mark, words in told.items())
    return [said] if said else []


def _plain(value: object) -> str:
    if value is None:
        return ""
    if isinstance(value, list | tuple):
        return " ".join(str(part) for part in value)
    return " ".join(str(value).split())
