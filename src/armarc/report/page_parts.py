"""What a page is made of, before it is HTML, and what a task is called on it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from statistics import median
from typing import TYPE_CHECKING

from armarc.errors import ArmarcError
from armarc.log import LoggedSet
from armarc.log.records import starts_words, when_words
from armarc.log.table import SetLabels
from armarc.log.volume import ranges
from armarc.measures import columns
from armarc.report.answers import flag_words
from armarc.report.tables import SHOWN
from armarc.reps.types import Rep

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from armarc.log import Fatigue


PICTURE_IN = 6.4
"""Width of a picture on a page: its letters stay readable on a phone."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Picture:
    """A picture with its words."""

    figure: Figure
    alt: str


@dataclass(frozen=True, slots=True, kw_only=True)
class PageTable:
    """A table: heads, rows of texts, and what it holds. On a phone each row is a card.

    With `across` the cells of a row are one measure's values in order, which go on in another line where the page is
    too narrow.
    """

    caption: str
    heads: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    across: bool = False

    @property
    def wordy(self) -> tuple[bool, ...]:
        """Which columns hold words in some row: those stand left, with their heads."""
        cells = list(zip(*self.rows, strict=True)) or [()] * len(self.heads)
        words = [any(len(cell) > 14 or cell[:1].isalpha() for cell in column) for column in cells]
        return tuple(words if not self.across else [False] * len(words))


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
    if band and (starts := starts_words(entry, " of ")):
        words.append(f"{starts} starts were inside the {band}.")
    if (rom := summary.get("mean_rom_deg")) is not None:
        words.append(f"You moved through {rom:.0f} degrees on average.")
    if (loss := summary.get("rom_loss_pct")) is not None and loss >= 10:
        words.append(f"The {fatigue.last_rep} was {loss:.0f} % shorter than the longest.")
    if fatigue.velocity_loss_set_pct is not None:
        words.append(
            f"The {fatigue.last_rep} was {fatigue.velocity_loss_set_pct:.0f} % slower than the fastest."
        )
    if (swing := summary.get("mean_body_swing_cm")) is not None:
        words.append(f"The shoulder moved about {swing:.1f} cm while you raised the arm.")
    return words


def reps_page_table(reps: Sequence[Rep], fatigue: Fatigue, caption: str) -> PageTable:
    """Reps of a set beside each other, a measure in each row with the middle of its standard errors."""
    rows, errors = [], {each.measure.title: each for each in columns(Rep) if each.is_error}
    for each in SHOWN:
        values = [each.published(rep) for rep in reps]
        if each.kind == "whole" or all(value is None for value in values):
            continue
        digits = each.measure.digits
        error = errors.get(each.measure.title)
        known = [] if error is None else [e for rep in reps if (e := error.published(rep)) is not None]
        told = f" ± {_error(median(known), max(digits, 1))}" if known else ""
        rows.append((each.label + told, *(_number(value, digits) for value in values)))
    rows.append(("Start was", *(rep.start_verdict or "–" for rep in reps)))
    rows.append(("Velocity loss (%)", *(_number(loss, 0) for loss in fatigue.velocity_loss_pct)))
    heads = ("Rep", *(str(rep.rep) for rep in reps))
    return PageTable(caption=caption, heads=heads, rows=tuple(rows), across=True)


def _error(value: float, digits: int) -> str:
    """A standard error; never as nothing at all."""
    return f"<{10**-digits:.{digits}f}" if round(value, digits) == 0 else f"{value:.{digits}f}"


def flag_notes(reps: Sequence[Rep]) -> list[str]:
    """What is flagged, with the reps it holds for."""
    seen = dict.fromkeys(flag for rep in reps for flag in rep.quality)
    out = []
    for flag in seen:
        flagged = [rep.rep for rep in reps if flag in rep.quality]
        out.append(
            f"{'Reps' if len(flagged) > 1 else 'Rep'} {ranges(flagged).replace('-', '–')}: {flag_words(flag)}."
        )
    return out


def reps_alt(entry: LoggedSet, reps: Sequence[Rep]) -> str:
    """What the picture of a set's reps shows."""
    speeds = [rep.start_velocity_rad_s for rep in reps if rep.start_velocity_rad_s is not None]
    starts = [f"{math.degrees(speed):.0f}" for speed in speeds]
    return (
        f"Set {entry.id}, rep by rep: start velocity {', '.join(starts) or 'unknown'} degrees per second; below it "
        "raising velocity and range of motion. The same numbers stand in the table."
    )


def _number(value: object, digits: int) -> str:
    return f"{round(value, digits) + 0.0:.{digits}f}" if isinstance(value, int | float) else "–"


def list_row(entry: LoggedSet) -> dict[str, str]:
    """A set as a line of a list."""
    summary = entry.summary
    first_line = (entry.note.splitlines() or [""])[0]
    tags = [f"#{tag}" for tag in entry.tags]
    return {
        "id": str(entry.id),
        "day": entry.day.isoformat(),
        "when": when_words(entry),
        "lifter": entry.lifter,
        "exercise": f"{entry.exercise} ({entry.variant})" if entry.variant else entry.exercise,
        "side": entry.side or "–",
        "load": "–" if entry.load_kg is None else f"{entry.load_kg:.4g}",
        "reps": str(entry.reps),
        "in_band": starts_words(entry) or "–",
        "start": _number(summary.get("mean_start_velocity_deg_s"), 0),
        "rom": _number(summary.get("mean_rom_deg"), 0),
        "loss": _number(summary.get("velocity_loss_pct"), 0),
        "note": " ".join([*tags, first_line if len(first_line) <= 80 else first_line[:79] + "…"]).strip(),
    }


def exercise_name(entry: LoggedSet | SetLabels) -> str:
    """Name of the exercise with its variant; the key where the catalogue does not know it."""
    from armarc.exercises import find_exercise

    try:
        name = find_exercise(entry.exercise).name
    except ArmarcError:
        name = entry.exercise
    return f"{name} ({entry.variant})" if entry.variant else name


def task_name(entry: LoggedSet | SetLabels, *, load: bool = True) -> str:
    """Exercise, arm and load."""
    parts = [exercise_name(entry)]
    parts += [f"{entry.side} arm"] if entry.side else []
    parts += [f"{entry.load_kg:.4g} kg"] if load and entry.load_kg is not None else []
    return ", ".join(parts)
