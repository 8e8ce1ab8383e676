"""The empty sheet that pictures of the log are drawn on."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from matplotlib.figure import Figure

from armarc.report import furniture, style
from armarc.report.furniture import SIDE_IN, KeyItem
from armarc.report.style import Palette

if TYPE_CHECKING:
    from matplotlib.axes import Axes

WIDTH_IN = 9.0
LEFT_IN, RIGHT_IN = 1.05, 0.55
HEAD_IN = 1.25


def sheet(
    palette: Palette,
    width_in: float,
    title: str,
    facts: str,
    key: Sequence[KeyItem],
    body_in: float,
    notes: Sequence[str],
) -> tuple[Figure, Axes, float]:
    """Empty picture with headline, notes and key; gives the distance of the first panel from the top."""
    rows = furniture.key_rows(key, width_in - 2 * SIDE_IN) if key else []
    said = [line for note in notes for line in style.wrapped(note, style.SIZE_TEXT, width_in - 2 * SIDE_IN)]
    head = HEAD_IN + 0.28 * len(said) + (0.1 if said else 0.0) - (0.0 if facts else 0.3)
    top = head + 0.3 * len(rows) + 0.55
    height = top + body_in + 0.75
    figure = Figure(figsize=(width_in, height), facecolor=palette.paper)
    page = furniture.canvas(figure)
    furniture.headline(page, palette, title=title, facts=facts, score="", score_words="", all_inside=False)
    if rows:
        furniture.draw_key(page, palette, rows, height - head - 0.14)
    for i, line in enumerate(said):
        page.text(SIDE_IN, height - HEAD_IN - 0.2 - 0.28 * i, line, size=style.SIZE_TEXT, va="baseline")
    return figure, page, top
