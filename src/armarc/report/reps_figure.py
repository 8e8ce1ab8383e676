"""Picture of a set rep by rep: starts against the band, velocity and range along the set."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np
from matplotlib.figure import Figure
from matplotlib.ticker import MaxNLocator, MultipleLocator

from armarc.report import picture_parts, style
from armarc.report.picture_parts import LEFT_IN, RIGHT_IN, WIDTH_IN, KeyItem, empty_picture
from armarc.report.style import Palette

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from armarc.log import Fatigue
    from armarc.reps.types import Rep


def draw_reps(
    reps: Sequence[Rep],
    fatigue: Fatigue,
    band_deg_s: tuple[float, float] | None,
    *,
    title: str,
    facts: str = "",
    width_in: float = WIDTH_IN,
    dark: bool = False,
) -> Figure:
    """Draw a set rep by rep: start velocity against the band, raising velocity and range along the set.

    Raises
    ------
    ValueError
        Without a rep.
    """
    if not reps:
        raise ValueError("expected at least one rep, got none")
    palette = style.palette_for(dark)
    numbers = np.array([rep.rep for rep in reps], float)
    with style.look(palette):
        words = {rep.start_verdict for rep in reps}
        items = []
        for word in ("below", "inside", "above"):
            if word in words:
                mark = style.verdict_mark(word, palette)
                items.append(
                    KeyItem(
                        words=f"start {word} the band",
                        marker=mark.marker,
                        filled=mark.filled,
                        colour=mark.colour,
                    )
                )
        figure, page, top = empty_picture(palette, width_in, title, facts, items, 7.15, [])
        height = float(figure.get_size_inches()[1])
        inner = width_in - LEFT_IN - RIGHT_IN
        panels = []
        band = f"; band {band_deg_s[0]:g}–{band_deg_s[1]:g}" if band_deg_s else ""
        for name, unit in (
            ("Start velocity", f"degrees per second{band}"),
            ("Mean raising velocity", "degrees per second"),
            ("Range of motion", "degrees"),
        ):
            picture_parts.panel_title(page, name, unit, height - top + 0.16)
            panel = style.inch_axes(figure, LEFT_IN, top, inner, 1.65)
            style.plain_axes(panel, palette)
            panel.set_xlim(numbers[0] - 0.6, numbers[-1] + 0.6)
            panel.xaxis.set_major_locator(MultipleLocator(1 + len(reps) // 20))
            panel.yaxis.set_major_locator(MaxNLocator(4))
            panels.append(panel)
            top += 2.55
        panels[-1].set_xlabel("rep", size=style.SIZE_TEXT)
        _start_panel(panels[0], reps, band_deg_s, palette)
        speeds = np.degrees([rep.mean_concentric_rad_s for rep in reps])
        for panel, values in ((panels[1], speeds), (panels[2], np.degrees([rep.rom_rad for rep in reps]))):
            panel.plot(numbers, values, color=palette.ink, linewidth=1.6, marker="o", markersize=7)
            known = values[np.isfinite(values)]
            panel.set_ylim(0, (float(known.max()) if len(known) else 1.0) * 1.2)
        if np.isfinite(speeds).any() and fatigue.stop_at_pct is not None:
            level = float(np.nanmax(speeds)) * (1 - fatigue.stop_at_pct / 100)
            panels[1].axhline(level, color=palette.above, linewidth=1.6, linestyle=(0, (4, 3)))
            panels[1].text(
                numbers[0] - 0.55,
                level,
                f"{fatigue.stop_at_pct:g} % loss",
                va="bottom",
                size=style.SIZE_SMALL,
                color=palette.above,
            )
    return figure


def _start_panel(axes: Axes, reps: Sequence[Rep], band: tuple[float, float] | None, palette: Palette) -> None:
    starts = [(rep, rep.start_velocity_rad_s) for rep in reps if rep.start_velocity_rad_s is not None]
    values = [math.degrees(speed) for _, speed in starts]
    if band:
        axes.axhspan(band[0], band[1], color=palette.inside, alpha=0.16, linewidth=0)
    picture_parts.draw_marks(
        axes, palette, [rep.rep for rep, _ in starts], values, [rep.start_verdict for rep, _ in starts], 11
    )
    top = max([*values, band[1] if band else 0.0, 1.0])
    axes.set_ylim(0, top * 1.2)
