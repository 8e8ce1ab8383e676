"""One look for every picture: warm paper, dark ink, one hue for what is inside the target band.

The hue for inside is a sea blue, the one for above a rust; below has no hue but an open shape. Blue against
rust stays apart in every common form of colour blindness, and shape and text repeat what colour says.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import TYPE_CHECKING

import matplotlib as mpl
from matplotlib.font_manager import FontProperties
from matplotlib.patheffects import AbstractPathEffect, withStroke
from matplotlib.textpath import TextToPath
from matplotlib.ticker import MultipleLocator

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

FONT = "DejaVu Sans"
"""Comes with matplotlib, so that a picture is the same everywhere."""

SIZE_TITLE = 23.0
SIZE_HEAD = 15.0
SIZE_TEXT = 13.0
SIZE_TICK = 14.0
SIZE_SMALL = 10.5
DOTS_PER_INCH = 150
Dash = str | tuple[float, tuple[float, ...]]
LINE_STYLES: tuple[Dash, ...] = ("-", (0, (5, 2)), (0, (6, 2, 1.5, 2)), (0, (1.5, 1.5)))
"""Lines differ by their kind first, by colour second: two of the colours are one grey on paper."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Palette:
    """Colours of one variant, by what they mean."""

    paper: str
    ink: str
    faint: str
    rule: str
    raising: str
    hold: str
    lowering: str
    inside: str
    above: str
    below: str


LIGHT = Palette(
    paper="#FAF7F1",
    ink="#22262B",
    faint="#62666B",
    rule="#DAD4C8",
    raising="#CFC4B0",
    hold="#9A907D",
    lowering="#E9E2D5",
    inside="#006C8C",
    above="#B4501B",
    below="#22262B",
)

DARK = Palette(
    paper="#15181C",
    ink="#F1EDE5",
    faint="#ABA9A3",
    rule="#3A4048",
    raising="#4B525B",
    hold="#7E858F",
    lowering="#2E343C",
    inside="#55C7E8",
    above="#F29A58",
    below="#F1EDE5",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class VerdictMark:
    """How a verdict is drawn: shape first, colour second."""

    marker: str
    filled: bool
    colour: str


def verdict_mark(verdict: str | None, palette: Palette) -> VerdictMark:
    """Shape and colour of a start verdict; None stands for a rep without one."""
    if verdict == "below":
        return VerdictMark(marker="v", filled=False, colour=palette.below)
    if verdict == "inside":
        return VerdictMark(marker="o", filled=True, colour=palette.inside)
    if verdict == "above":
        return VerdictMark(marker="^", filled=True, colour=palette.above)
    return VerdictMark(marker="s", filled=False, colour=palette.ink)


def palette_for(dark: bool) -> Palette:
    """Palette of the light or the dark variant."""
    return DARK if dark else LIGHT


@contextmanager
def look(palette: Palette) -> Iterator[None]:
    """Settings of the plotting library while a picture is drawn; the caller's own are left alone."""
    with mpl.rc_context(
        {
            "font.family": [FONT],
            "font.size": SIZE_TEXT,
            "text.color": palette.ink,
            "axes.facecolor": "none",
            "axes.edgecolor": palette.rule,
            "axes.labelcolor": palette.ink,
            "axes.unicode_minus": True,
            "xtick.color": palette.rule,
            "ytick.color": palette.rule,
            "xtick.labelcolor": palette.ink,
            "ytick.labelcolor": palette.ink,
            "xtick.labelsize": SIZE_TICK,
            "ytick.labelsize": SIZE_TICK,
            "lines.solid_capstyle": "round",
            "lines.solid_joinstyle": "round",
            "hatch.linewidth": 0.8,
            "path.simplify": True,
            "agg.path.chunksize": 20000,
        }
    ):
        yield


def degrees_text(value: float) -> str:
    """An angle in whole degrees, with a true minus sign as axes have it."""
    return f"{value:.0f}°".replace("-", "−")


def text_width_in(text: str, size: float, *, bold: bool = False) -> float:
    """Width of a line of text, inch."""
    weight = "bold" if bold else "normal"
    font = FontProperties(family=FONT, size=size, weight=weight)
    return float(TextToPath().get_text_width_height_descent(text, font, False)[0]) / 72.0


def fitting_size(text: str, size: float, width_in: float, *, bold: bool = False) -> float:
    """Largest font size up to `size` at which the line fits."""
    needed = text_width_in(text, size, bold=bold)
    return size if needed <= width_in else size * width_in / needed


def wrapped(text: str, size: float, width_in: float) -> list[str]:
    """Break a text into lines that fit; a no-break space stays in its line, and a sign with its number."""
    space = text_width_in("n n", size) - text_width_in("nn", size)
    lines: list[str] = []
    line = ""
    used = 0.0
    for word in re.split(r"(?<!\d) | (?![%°])", text.replace("\n", " ")):
        width = text_width_in(word, size)
        if line and used + space + width > width_in:
            lines.append(line)
            line, used = word, width
        else:
            used += (space if line else 0.0) + width
            line = f"{line} {word}" if line else word
    return [*lines, line] if line else lines


def halo(palette: Palette) -> list[AbstractPathEffect]:
    """Rim of paper around a label, so that it stays readable on a line."""
    return [withStroke(linewidth=3.5, foreground=palette.paper)]


def plain_axes(axes: Axes, palette: Palette) -> None:
    """Take away the frame; leave rules at the ticks of the vertical axis."""
    for side in ("top", "right", "left"):
        axes.spines[side].set_visible(False)
    axes.tick_params(axis="y", length=0, pad=6)
    axes.tick_params(axis="x", length=5, width=1.2)
    axes.grid(axis="y", color=palette.rule, linewidth=0.8)
    axes.set_axisbelow(True)


def angle_axis(axes: Axes) -> None:
    """Let an axis of angles begin at 0 and reach 90 at least, with ticks at both and every 15 or 30 degrees."""
    low, high = axes.get_xlim()
    low, high = min(0.0, low), max(90.0, high)
    axes.set_xlim(low, high)
    axes.xaxis.set_major_locator(MultipleLocator(15 if high - low <= 125 else 30))


def inch_axes(figure: Figure, left: float, top: float, width: float, height: float) -> Axes:
    """Add axes placed in inches from the top left corner of the picture."""
    whole_w, whole_h = figure.get_size_inches()
    return figure.add_axes(
        (left / whole_w, 1.0 - (top + height) / whole_h, width / whole_w, height / whole_h)
    )
