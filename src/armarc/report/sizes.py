"""Pictures written to files; for showing to others square or tall, with one message as the title."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

import matplotlib as mpl
import numpy as np
from matplotlib.colors import to_hex
from matplotlib.patches import Rectangle

from armarc.errors import UsageError
from armarc.outputs import CAREFUL, PICTURE, Guard
from armarc.recording import FloatArray
from armarc.report import picture_parts, style
from armarc.report.picture_parts import SIDE_IN
from armarc.report.style import DOTS_PER_INCH

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure


HEIGHT_BY_WIDTH = {"square": 1.0, "tall": 16 / 9}
"""What pictures can have beside their own, wide form: for a slide and for a phone held upright."""
NARROWEST_IN, WIDEST_IN = 6.4, 16.0
MOST_STRETCH = 1.5
"""Panels are drawn higher by at most this to fill a picture; the rest is left empty."""
_LINE = 1.3


def in_size(draw: Callable[[float | None], Figure], size: str, message: str) -> Figure:
    """Draw a picture in a size.

    Parameters
    ----------
    draw : callable
        Draws it at a width in inches; None for its own.
    size : str
        ``wide`` leaves it as it is; else of `HEIGHT_BY_WIDTH`.
    message : str
        What the picture says, in one sentence: the title of the other sizes.
    """
    if size == "wide":
        return draw(None)
    ratio = HEIGHT_BY_WIDTH[size]
    width = NARROWEST_IN
    for _ in range(3):
        figure = draw(width)
        drawn, tall = map(float, figure.get_size_inches())
        wanted = min(max((tall + _title_in(message, drawn)) / ratio, NARROWEST_IN), WIDEST_IN)
        if abs(wanted - width) < 0.1:
            break
        width = wanted
    _put_title(figure, message)
    _heighten(figure, ratio * float(figure.get_size_inches()[0]))
    width, height = map(float, figure.get_size_inches())
    _pad(figure, max(width, height / ratio), max(height, ratio * width))
    return figure


def _title_lines(message: str, width: float) -> tuple[list[str], float]:
    size = style.SIZE_TITLE * width / 8.0
    # Bold letters are some 15 % wider than those that are measured.
    return style.wrapped(message, size, 0.85 * (width - 2 * SIDE_IN)), size


def _title_in(message: str, width: float) -> float:
    lines, size = _title_lines(message, width)
    return 0.45 + len(lines) * _LINE * size / 72


def _put_title(figure: Figure, message: str) -> None:
    """Room above everything, and the message in it."""
    width, height = map(float, figure.get_size_inches())
    lines, size = _title_lines(message, width)
    more = _title_in(message, width)
    _move(figure, width, height + more, 0.0, 0.0)
    page = picture_parts.canvas(figure)
    dark = to_hex(figure.get_facecolor()) == style.DARK.paper.lower()
    colour = style.palette_for(dark).ink
    for i, line in enumerate(lines):
        at = height + more - 0.4 - (i + 0.8) * _LINE * size / 72
        page.text(SIDE_IN, at, line, size=size, weight="bold", va="baseline", family=style.FONT, color=colour)


def _heighten(figure: Figure, wanted: float) -> None:
    """Draw the panels higher until a picture is `wanted` inches high; lines of text keep their distance."""
    height = float(figure.get_size_inches()[1])
    panels = [axes for axes in figure.axes if not _is_page(axes)]
    # Heights of the picture now, and where they come to lie.
    old, new = [0.0], [0.0]
    spans = sorted((bounds.y0 * height, bounds.y1 * height) for bounds in (p.get_position() for p in panels))
    rows: list[tuple[float, float]] = []
    for low, high in spans:
        beside = bool(rows) and low < rows[-1][1]
        rows[-1:] = [(rows[-1][0], max(high, rows[-1][1]))] if beside else [*rows[-1:], (low, high)]
    if not rows or wanted <= height:
        return
    factor = min(1 + (wanted - height) / sum(high - low for low, high in rows), MOST_STRETCH)
    for low, high in rows:
        new += [at := new[-1] + low - old[-1], at + factor * (high - low)]
        old += [low, high]
    tall = new[-1] + height - old[-1]

    def place(inches: FloatArray | float) -> FloatArray:
        return np.asarray(np.interp(inches, [*old, height], [*new, tall]))

    figure.set_size_inches(float(figure.get_size_inches()[0]), tall)
    for axes in figure.axes:
        x, _, w, _ = axes.get_position().bounds
        low, high = place(np.array(axes.get_position().intervaly) * height)
        axes.set_position((x, low / tall, w, (high - low) / tall))
        if _is_page(axes):
            axes.set_ylim(0, high)
            for text in axes.texts:
                text.set_y(float(place(text.get_position()[1])))
            for line in axes.lines:
                line.set_ydata(place(np.asarray(line.get_ydata(), dtype=float)))
            for patch in axes.patches:
                assert isinstance(patch, Rectangle)
                patch.set_y(float(place(patch.get_y())))


def _is_page(axes: Axes) -> bool:
    """As `picture_parts.canvas` makes it: as wide as the picture, in inches from its bottom."""
    return bool(axes.get_position().width > 0.999)


def _pad(figure: Figure, width: float, height: float) -> None:
    """Empty paper around a picture, alike left and right, above and below."""
    old_width, old_height = map(float, figure.get_size_inches())
    _move(figure, width, height, (width - old_width) / 2, (height - old_height) / 2)


def _move(figure: Figure, width: float, height: float, left: float, bottom: float) -> None:
    """Give a picture another size, everything in it as large as it was and `left`, `bottom` inches from the corner."""
    old_width, old_height = map(float, figure.get_size_inches())
    figure.set_size_inches(width, height)
    for axes in figure.axes:
        x, y, w, h = axes.get_position().bounds
        axes.set_position(
            (
                (left + x * old_width) / width,
                (bottom + y * old_height) / height,
                w * old_width / width,
                h * old_height / height,
            )
        )


_METADATA: dict[str, dict[str, object]] = {
    ".png": {"Software": "armarc"},
    ".svg": {"Date": None, "Creator": "armarc"},
    ".pdf": {"CreationDate": None, "Creator": "armarc"},
}


def save_figure(figure: Figure, path: str | Path, guard: Guard = CAREFUL) -> None:
    """Write a picture; the ending of the name says which kind. The same picture gives the same bytes.

    Raises
    ------
    UsageError
        Another ending, a place that cannot be written to, or a file there that `guard` keeps.
    """
    path = Path(path)
    suffix = path.suffix.lower()
    if suffix not in _METADATA:
        raise UsageError(
            f"cannot write a picture named {path.name!r}", f"end the name in {', '.join(_METADATA)}"
        )
    with (
        guard.open(path, PICTURE) as stream,
        mpl.rc_context({"svg.hashsalt": "armarc", "pdf.compression": 6}),
    ):
        figure.savefig(
            stream,
            format=suffix[1:],
            dpi=DOTS_PER_INCH,
            facecolor=figure.get_facecolor(),
            metadata=_METADATA[suffix],
        )
