"""What a page is made of, before it is HTML."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from armarc.report.flags import flag_words
from armarc.report.tables import SHOWN

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from armarc.log import Fatigue, LoggedSet

PICTURE_IN = 6.4
"""Width of a picture on a page: its letters stay readable on a phone."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Picture:
    """A picture with its words."""

    figure: Figure
    alt: str
    wide: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class PageTable:
    """A table: heads, rows of texts, and what it holds; on a phone each row is a card, or the table is scrolled."""

    caption: str
    heads: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    cards: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class Section:
    """One part of a page: heading, pictures first, plain words, numbers under them."""

    heading: str
    words: tuple[str, ...] = ()
    pictures: tuple[Picture, ...] = ()
    tables: tuple[PageTable, ...] = ()
    notes: tuple[str, ...] = ()
    quotes: tuple[str, ...] = field(default=())


def plain_words(entry: LoggedSet, fatigue: Fatigue, band: str) -> list[str]:
    """A set in sentences for a lifter."""
    summary = entry.summary
    words = [f"{entry.reps} rep{'s' * (entry.reps != 1)} in {entry.end_s - entry.start_s:.0f} seconds."]
    count = (summary.get("in_band") or {}).get("count")
    if band and count is not None:
        words.append(f"{count} of {entry.reps} starts were inside the {band}.")
    if (rom := summary.get("mean_rom_deg")) is not None:
        words.append(f"You moved through {rom:.0f} degrees on average.")
    if (loss := summary.get("rom_loss_pct")) is not None and loss >= 10:
        words.append(f"The last rep was {loss:.0f} % shorter than the longest.")
    if fatigue.velocity_loss_set_pct is not None:
        words.append(f"The last rep was {fatigue.velocity_loss_set_pct:.0f} % slower than the fastest.")
    if fatigue.stop_after_rep is not None:
        words.append(
            f"Your {fatigue.stop_at_pct:g} % mark for stopping was reached at rep {fatigue.stop_after_rep}."
        )
    if (swing := summary.get("mean_body_swing_cm")) is not None:
        words.append(f"The shoulder moved about {swing:.1f} cm while you raised the arm.")
    return words


def reps_page_table(reps: Sequence[Mapping[str, Any]], fatigue: Fatigue, caption: str) -> PageTable:
    """Reps of a set as a table with uncertainties."""
    number, *shown = (
        c for c in SHOWN if c.kind == "whole" or any(rep.get(c.key) is not None for rep in reps)
    )
    heads = (number.label, *(c.label for c in shown), "Start was", "Velocity loss (%)", "Flags")
    rows = []
    for i, rep in enumerate(reps):
        rows.append(
            (
                str(rep[number.key]),
                *(_with_error(rep, c.key, c.measure.digits) for c in shown),
                rep.get("start_verdict") or "–",
                _number(fatigue.velocity_loss_pct[i], 0),
                ", ".join(flag_words(flag) for flag in rep.get("quality") or ()) or "–",
            )
        )
    return PageTable(caption=caption, heads=heads, rows=tuple(rows), cards=False)


def reps_alt(entry: LoggedSet, reps: Sequence[Mapping[str, Any]]) -> str:
    """What the picture of a set's reps shows."""
    starts = [
        f"{rep['start_velocity_deg_s']:.0f}" for rep in reps if rep.get("start_velocity_deg_s") is not None
    ]
    return (
        f"Set {entry.id}, rep by rep: start velocity {', '.join(starts) or 'unknown'} degrees per second; below it "
        "raising velocity and range of motion. The same numbers stand in the table."
    )


def _number(value: Any, digits: int) -> str:
    return f"{value:.{digits}f}" if isinstance(value, int | float) else "–"


def _with_error(rep: Mapping[str, Any], key: str, digits: int) -> str:
    value, error = rep.get(key), rep.get(f"{key}_se")
    if not isinstance(value, int | float):
        return "–"
    if not isinstance(error, int | float):
        return f"{value:.{digits}f}"
    return f"{value:.{digits}f} ± {error:.{max(digits, 1)}f}"


def list_row(entry: LoggedSet) -> dict[str, str]:
    """A set as a line of a list."""
    summary = entry.summary
    count = (summary.get("in_band") or {}).get("count")
    first_line = (entry.note.splitlines() or [""])[0]
    tags = [f"#{tag}" for tag in entry.tags]
    return {
        "id": str(entry.id),
        "day": entry.day.isoformat(),
        "when": entry.done_at.strftime("%Y-%m-%d %H:%M"),
        "lifter": entry.lifter,
        "exercise": f"{entry.exercise} ({entry.variant})" if entry.variant else entry.exercise,
        "side": entry.side or "–",
        "load": "–" if entry.load_kg is None else f"{entry.load_kg:.4g}",
        "reps": str(entry.reps),
        "in_band": "–" if count is None else f"{count}/{entry.reps}",
        "start": _number(summary.get("mean_start_velocity_deg_s"), 0),
        "rom": _number(summary.get("mean_rom_deg"), 0),
        "loss": _number(summary.get("velocity_loss_pct"), 0),
        "note": " ".join([*tags, first_line if len(first_line) <= 80 else first_line[:79] + "…"]).strip(),
    }
