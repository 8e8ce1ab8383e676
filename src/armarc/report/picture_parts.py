"""Parts that pictures share: the empty picture, headline, key, foot lines, verdict marks, curves made
ready (thinned without losing a peak, cut at gaps). All placed in inches."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Rectangle

from armarc.recording import BoolArray, FloatArray
from armarc.report import style
from armarc.report.style import Palette

if TYPE_CHECKING:
    from matplotlib.axes import Axes


SIDE_IN = 0.55
"""Margin left and right of texts, inch."""

LINE_IN = 0.235

WIDTH_IN = 9.0
LEFT_IN, RIGHT_IN = 1.05, 0.55
HEAD_IN = 1.25
"""Width, margins of the panels and head of the pictures of the log, inch."""


@dataclass(frozen=True, slots=True, kw_only=True)
class KeyItem:
    """One item of the key: a patch (``fill``) or a mark (``marker``) and its words."""

    words: str
    fill: str | None = None
    edge: str | None = None
    marker: str | None = None
    filled: bool = True
    colour: str | None = None


def canvas(figure: Figure) -> Axes:
    """Axes over the whole picture in inches, the origin at the bottom left."""
    width, height = figure.get_size_inches()
    axes = figure.add_axes((0, 0, 1, 1))
    axes.set_xlim(0, width)
    axes.set_ylim(0, height)
    axes.set_axis_off()
    return axes


def headline(
    page: Axes, palette: Palette, *, title: str, facts: str, score: str, score_words: str, all_inside: bool
) -> None:
    """Title and facts at the left, the in-band count large at the right."""
    width, height = page.get_xlim()[1], page.get_ylim()[1]
    score_in = 0.0
    if score:
        words_in = style.text_width_in(score_words, 12, bold=all_inside)
        score_in = max(style.text_width_in(score, 36, bold=True), words_in) + 0.3
        page.text(
            width - SIDE_IN, height - 0.78, score, size=36, weight="bold", ha="right", va="baseline",
            color=palette.inside,
        )  # fmt: skip
        page.text(
            width - SIDE_IN, height - 1.07, score_words, size=12, ha="right", va="baseline",
            color=palette.ink, weight="bold" if all_inside else "normal",
        )  # fmt: skip
    room = width - 2 * SIDE_IN - score_in
    size = style.fitting_size(title, style.SIZE_TITLE, room, bold=True)
    page.text(SIDE_IN, height - 0.7, title, size=size, weight="bold", va="baseline")
    size = style.fitting_size(facts, style.SIZE_HEAD, room)
    page.text(SIDE_IN, height - 1.07, facts, size=size, va="baseline", color=palette.ink)


def key_rows(items: Sequence[KeyItem], width_in: float) -> list[list[tuple[float, KeyItem]]]:
    """Lay the key out in rows; gives each item's left edge in inches."""
    rows: list[list[tuple[float, KeyItem]]] = [[]]
    x = 0.0
    for item in items:
        length = 0.36 + style.text_width_in(item.words, style.SIZE_SMALL + 1)
        if rows[-1] and x + length > width_in:
            rows.append([])
            x = 0.0
        rows[-1].append((x, item))
        x += length + 0.32
    return rows


def draw_key(page: Axes, palette: Palette, rows: list[list[tuple[float, KeyItem]]], top_in: float) -> None:
    """Draw the key; `top_in` is the height of its first row's middle above the bottom."""
    for i, row in enumerate(rows):
        y = top_in - i * 0.3
        for x, item in row:
            left = SIDE_IN + x
            if item.fill is not None:
                page.add_patch(
                    Rectangle(
                        (left, y - 0.075), 0.25, 0.15, facecolor=item.fill, edgecolor=item.edge or item.fill,
                        linewidth=1.2,
                    )
                )  # fmt: skip
            if item.marker is not None:
                colour = item.colour or palette.ink
                page.add_line(
                    Line2D(
                        [left + 0.13], [y], marker=item.marker, markersize=10, linestyle="none",
                        markerfacecolor=colour if item.filled else palette.paper, markeredgecolor=colour,
                        markeredgewidth=1.8,
                    )
                )  # fmt: skip
            page.text(left + 0.34, y - 0.01, item.words, size=style.SIZE_SMALL + 1, va="center")


def foot_lines(notes: Sequence[str], width_in: float) -> list[str]:
    """Break the notes at the foot into lines that fit."""
    room = width_in - 2 * SIDE_IN
    return [line for note in notes for line in style.wrapped(note, style.SIZE_SMALL, room)]


def draw_foot(page: Axes, palette: Palette, lines: Sequence[str]) -> None:
    """Write the lines at the foot of the picture."""
    for i, line in enumerate(reversed(lines)):
        page.text(SIDE_IN, 0.3 + i * LINE_IN, line, size=style.SIZE_SMALL, va="baseline", color=palette.faint)


def foot_height_in(lines: Sequence[str]) -> float:
    """Height the foot needs, inch."""
    return 0.42 + LINE_IN * len(lines)


def panel_title(page: Axes, text: str, unit: str, y_in: float) -> None:
    """Head of a panel: what it shows and its unit."""
    page.text(SIDE_IN, y_in, text, size=style.SIZE_HEAD, weight="bold", va="baseline")
    left = SIDE_IN + style.text_width_in(text, style.SIZE_HEAD, bold=True) + 0.12
    size = style.fitting_size(unit, style.SIZE_TEXT, page.get_xlim()[1] - 0.2 - left)
    page.text(left, y_in, unit, size=size, va="baseline")


def draw_marks(
    axes: Axes, palette: Palette, xs: Sequence[float], ys: Sequence[float], verdicts: Sequence[str | None],
    size: float,
) -> None:  # fmt: skip
    """Start velocities as marks whose shape says the verdict."""
    for verdict in ("below", "inside", "above", None):
        chosen = [i for i, v in enumerate(verdicts) if v == verdict]
        if not chosen:
            continue
        mark = style.verdict_mark(verdict, palette)
        axes.plot(
            [xs[i] for i in chosen], [ys[i] for i in chosen], linestyle="none", marker=mark.marker,
            markersize=size, markerfacecolor=mark.colour if mark.filled else palette.paper,
            markeredgecolor=mark.colour if not mark.filled else palette.paper,
            markeredgewidth=1.9 if not mark.filled else 1.2, zorder=6, clip_on=False,
        )  # fmt: skip


def empty_picture(
    palette: Palette,
    width_in: float,
    title: str,
    facts: str,
    key: Sequence[KeyItem],
    body_in: float,
    notes: Sequence[str],
) -> tuple[Figure, Axes, float]:
    """Empty picture with headline, notes and key; gives the distance of the first panel from the top."""
    rows = key_rows(key, width_in - 2 * SIDE_IN) if key else []
    said = [line for note in notes for line in style.wrapped(note, style.SIZE_TEXT, width_in - 2 * SIDE_IN)]
    head = HEAD_IN + 0.28 * len(said) + (0.1 if said else 0.0) - (0.0 if facts else 0.3)
    top = head + 0.3 * len(rows) + 0.55
    height = top + body_in + 0.75
    figure = Figure(figsize=(width_in, height), facecolor=palette.paper)
    page = canvas(figure)
    headline(page, palette, title=title, facts=facts, score="", score_words="", all_inside=False)
    if rows:
        draw_key(page, palette, rows, height - head - 0.14)
    for i, line in enumerate(said):
        page.text(SIDE_IN, height - HEAD_IN - 0.2 - 0.28 * i, line, size=style.SIZE_TEXT, va="baseline")
    return figure, page, top


def thinned(x: FloatArray, y: FloatArray, columns: int) -> tuple[FloatArray, FloatArray]:
    """Keep the lowest and the highest point of each of `columns` stretches.

    Parameters
    ----------
    x, y : ndarray, shape (n,)
        NaN in `y` breaks the line.
    columns : int
        About the number of picture columns.

    Returns
    -------
    tuple of ndarray
        About ``2 * columns`` points in order, or the input when it is short already.
    """
    n = len(x)
    if n <= 4 * columns:
        return x, y
    width = n // columns
    columns = n // width
    whole = width * columns
    blocks = y[:whole].reshape(columns, width)
    gaps = np.isnan(blocks)
    low = np.argmin(np.where(gaps, np.inf, blocks), axis=1)
    high = np.argmax(np.where(gaps, -np.inf, blocks), axis=1)
    start = np.arange(columns) * width
    keep = np.sort(np.stack([start + low, start + high], axis=1), axis=1).ravel()
    kept_y = y[keep]
    kept_y[np.repeat(gaps.any(axis=1), 2)] = np.nan
    return np.append(x[keep], x[whole:]), np.append(kept_y, y[whole:])


def stretches(mask: BoolArray) -> list[tuple[int, int]]:
    """Half-open index ranges in which `mask` is true."""
    edges = np.flatnonzero(np.diff(np.concatenate(([False], mask, [False])).astype(np.int8)))
    return [(int(a), int(b)) for a, b in zip(edges[::2], edges[1::2], strict=True)]


def area(x: FloatArray, y: FloatArray, start: float, stop: float, floor: float) -> FloatArray:
    """Outline, shape (m, 2), of the area between `floor` and the curve from `start` to `stop`."""
    first, last = np.searchsorted(x, (start, stop))
    step = max(1, (last - first) // 200)
    inner = slice(first, last, step)
    xs = np.concatenate(([start], x[inner], [stop]))
    ys = np.concatenate(([np.interp(start, x, y)], y[inner], [np.interp(stop, x, y)]))
    outline = np.stack([xs, ys], axis=1)
    return np.concatenate((outline, [[stop, floor], [start, floor]]))
