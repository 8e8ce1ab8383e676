"""Pictures of the log: a measure over sessions, weeks, curves side by side, differences, a set rep by rep."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import TYPE_CHECKING, Any

import matplotlib.dates as mdates
import numpy as np
from matplotlib.figure import Figure
from matplotlib.ticker import MaxNLocator

from armarc.report import furniture, style
from armarc.report.furniture import SIDE_IN, KeyItem
from armarc.report.style import Palette

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from armarc.log.comparing import Row
    from armarc.log.curves import SetCurves
    from armarc.log.fatigue import Fatigue
    from armarc.log.trend import Trend
    from armarc.log.volume import Week

WIDTH_IN = 9.0
_LEFT_IN, _RIGHT_IN = 1.05, 0.55
_HEAD_IN = 1.25

_EPOCH = date(1970, 1, 1).toordinal()  # the plotting library counts days from here
_date_locator: Any = mdates.AutoDateLocator
_date_formatter: Any = mdates.ConciseDateFormatter

LINE_STYLES = ("-", (0, (5, 2)), (0, (1.5, 1.5)), (0, (6, 2, 1.5, 2)))
"""Groups differ by the kind of line first, by colour second."""


def draw_trend(
    trend: Trend,
    *,
    title: str,
    facts: str = "",
    width_in: float = WIDTH_IN,
    verdict: bool = True,
    dark: bool = False,
) -> Figure:
    """Draw one measure over sessions with its error, its smooth course and what is worth anything.

    Parameters
    ----------
    trend : Trend
        One session or more.
    title, facts : str
        Two lines above the picture.
    width_in : float, inch
    verdict : bool
        Write below the title whether anything really changed.
    dark : bool

    Raises
    ------
    ValueError
        Without a session.
    """
    if not trend.points:
        raise ValueError("expected at least one session, got none")
    palette = style.palette_for(dark)
    with style.look(palette):
        items = [KeyItem(words="session (mean of its sets)", marker="o", colour=palette.ink)]
        items.append(KeyItem(words="robust course", fill=palette.inside))
        if trend.typical_error is not None:
            items.append(KeyItem(words="± typical error of a session", fill=palette.raising))
        if trend.worthwhile is not None:
            items.append(
                KeyItem(words="smallest worthwhile change (dashed)", edge=palette.above, fill="none")
            )
        if trend.measure.better == "higher":
            items.append(KeyItem(words="best session", marker="*", colour=palette.above))
        figure, page, top = _page(
            palette, width_in, title, facts, items, 3.9, [trend.words()] if verdict else []
        )
        axes = style.inch_axes(figure, _LEFT_IN, top, width_in - _LEFT_IN - _RIGHT_IN, 3.9)
        furniture.panel_title(
            page,
            trend.measure.title,
            unit_words(trend.measure.unit),
            float(figure.get_size_inches()[1]) - top + 0.16,
        )
        _trend_panel(axes, trend, palette)
    return figure


def _trend_panel(axes: Axes, trend: Trend, palette: Palette) -> None:
    style.plain_axes(axes, palette)
    x = _dates([point.day for point in trend.points])
    values = np.array([point.value for point in trend.points])
    smooth = np.array(trend.smooth)
    if trend.typical_error is not None:
        error = trend.typical_error
        axes.fill_between(x, smooth - error, smooth + error, color=palette.raising, alpha=0.55, linewidth=0)
    axes.plot(x, smooth, color=palette.inside, linewidth=3)
    axes.plot(x, values, linestyle="none", marker="o", markersize=7, color=palette.ink, zorder=5)
    if trend.worthwhile is not None:
        start = float(values[: max(1, min(3, len(values) // 2))].mean())
        for level in (start - trend.worthwhile, start + trend.worthwhile):
            axes.axhline(level, color=palette.above, linewidth=1.6, linestyle=(0, (4, 3)))
    if trend.measure.better == "higher":
        best = int(np.argmax(values))
        axes.plot(x[best], values[best], marker="*", markersize=19, color=palette.above, zorder=6)
    # A flat course must look flat: never show less than a few errors of height.
    error = trend.typical_error or 0.02 * max(abs(float(values.mean())), 1e-9)
    middle = (float(values.max()) + float(values.min())) / 2
    half = max((float(values.max()) - float(values.min())) / 2 * 1.25, 4 * error)
    axes.set_ylim(middle - half, middle + half)
    axes.yaxis.set_major_locator(MaxNLocator(5))
    if len(x) == 1:
        axes.set_xlim(x[0] - 3, x[0] + 3)
    else:
        room = 0.03 * (x[-1] - x[0])
        axes.set_xlim(x[0] - room, x[-1] + room)
    _date_axis(axes)


def draw_weeks(
    weeks: Sequence[Week], *, title: str, facts: str = "", width_in: float = WIDTH_IN, dark: bool = False
) -> Figure:
    """Draw sets, reps and time under tension per week, one row each.

    Raises
    ------
    ValueError
        Without a week.
    """
    if not weeks:
        raise ValueError("expected at least one week, got none")
    rows: list[tuple[str, str, list[float]]] = [
        ("Sets", "per week", [week.sets for week in weeks]),
        ("Reps", "per week", [week.reps for week in weeks]),
        ("Time under tension", "seconds per week", [week.time_under_tension_s for week in weeks]),
    ]
    if any(week.impulse_n_m_s is not None for week in weeks):
        impulse = [week.impulse_n_m_s or 0.0 for week in weeks]
        rows.append(("Impulse in the loaded range", "N·m·s per week", impulse))
    palette = style.palette_for(dark)
    with style.look(palette):
        step = 1.75
        figure, page, top = _page(palette, width_in, title, facts, [], step * len(rows) - 0.5, [])
        height = float(figure.get_size_inches()[1])
        x = _dates([week.monday for week in weeks])
        for i, (name, unit, values) in enumerate(rows):
            at = top + i * step
            furniture.panel_title(page, name, unit, height - at + 0.14)
            axes = style.inch_axes(figure, _LEFT_IN, at, width_in - _LEFT_IN - _RIGHT_IN, step - 0.75)
            style.plain_axes(axes, palette)
            axes.bar(x, values, width=5.2, color=palette.inside, align="edge")
            axes.set_xlim(x[0] - 1.5, x[-1] + 8.5)
            axes.set_ylim(0, max(max(values), 1e-9) * 1.15)
            axes.yaxis.set_major_locator(MaxNLocator(3, integer=True))
            if len(weeks) <= 16:
                for left, value in zip(x, values, strict=True):
                    axes.text(
                        left + 2.6, value, f"{value:.0f}", ha="center", va="bottom", size=style.SIZE_SMALL
                    )
            if i == len(rows) - 1:
                step_weeks = -(-len(weeks) // 6)
                shown = range(0, len(weeks), step_weeks)
                axes.set_xticks([x[k] + 2.6 for k in shown], [_monday(weeks, k, step_weeks) for k in shown])
            else:
                axes.set_xticks([])
    return figure


def draw_overlay(
    curves: Sequence[SetCurves],
    names: Sequence[str],
    *,
    title: str,
    facts: str = "",
    width_in: float = WIDTH_IN,
    dark: bool = False,
) -> Figure:
    """Lay the mean curves of sets over each other: angle along the rep, velocity and moment by angle.

    Parameters
    ----------
    curves : sequence of SetCurves
        Two to four.
    names : sequence of str
        What each is called.
    """
    palette = style.palette_for(dark)
    with style.look(palette):
        colours = [palette.inside, palette.above, palette.ink, palette.hold]
        with_moment = [c for c in curves if c.moment_n_m is not None]
        heights = [2.7, 2.5, 2.3] if with_moment else [2.7, 2.5]
        gap = 1.15
        total = sum(heights) + gap * (len(heights) - 1)
        figure, page, top = _page(palette, width_in, title, facts, [], total + 0.45 + 0.32 * len(curves), [])
        height = float(figure.get_size_inches()[1])
        inner = width_in - _LEFT_IN - _RIGHT_IN
        top += 0.32 * len(curves)
        titles = [
            ("Angle along the rep", "degrees, mean ± SD of the reps"),
            ("Velocity while raising", "degrees per second, by angle"),
            ("Shoulder moment while raising", "N·m, by angle, estimated"),
        ]
        panels = []
        for i, panel_height in enumerate(heights):
            furniture.panel_title(page, *titles[i], height - top + 0.16)
            panel = style.inch_axes(figure, _LEFT_IN, top, inner, panel_height)
            style.plain_axes(panel, palette)
            panel.yaxis.set_major_locator(MaxNLocator(5))
            panels.append(panel)
            top += panel_height + gap
        for i, curve in enumerate(curves):
            colour, dash = colours[i % len(colours)], LINE_STYLES[i % len(LINE_STYLES)]
            at = height - _HEAD_IN - 0.1 - 0.32 * i + (0.0 if facts else 0.3)
            page.plot([SIDE_IN, SIDE_IN + 0.7], [at, at], color=colour, linestyle=dash, linewidth=2.6)
            room = width_in - 2 * SIDE_IN - 0.85
            size = style.fitting_size(names[i], style.SIZE_TEXT, room)
            page.text(SIDE_IN + 0.85, at, names[i], size=size, va="center")
            low, high = curve.angle_deg - curve.angle_sd_deg, curve.angle_deg + curve.angle_sd_deg
            panels[0].fill_between(curve.progress, low, high, color=colour, alpha=0.16, linewidth=0)
            panels[0].plot(curve.progress, curve.angle_deg, color=colour, linestyle=dash, linewidth=2.6)
            panels[1].plot(
                curve.speed_angle_deg, curve.speed_deg_s, color=colour, linestyle=dash, linewidth=2.6
            )
            if curve.moment_n_m is not None and curve.moment_angle_deg is not None:
                panels[2].plot(
                    curve.moment_angle_deg, curve.moment_n_m, color=colour, linestyle=dash, linewidth=2.6
                )
        panels[0].set_xticks([0, 1, 2], ["start", "top", "end"])
        panels[0].set_xlim(-0.02, 2.02)
        for panel in panels[1:]:
            panel.set_xlabel("angle, degrees", size=style.SIZE_TEXT)
            panel.set_ylim(bottom=min(0.0, panel.get_ylim()[0]))
    return figure


def draw_differences(
    rows: Sequence[Row], *, title: str, facts: str = "", width_in: float = WIDTH_IN, dark: bool = False
) -> Figure:
    """Draw standardised differences with their 95 % intervals, one row per measure.

    Raises
    ------
    ValueError
        When no row has a size.
    """
    shown = [row for row in rows if row.effect is not None and row.effect.size is not None]
    if not shown:
        raise ValueError("expected at least one difference with a size, got none")
    palette = style.palette_for(dark)
    with style.look(palette):
        items = [
            KeyItem(words="clear: interval leaves out zero", marker="o", colour=palette.inside),
            KeyItem(words="not clear", marker="o", filled=False, colour=palette.ink),
        ]
        tall = 0.48 * len(shown) + 0.2
        figure, _, top = _page(palette, width_in, title, facts, items, tall + 0.3, [])
        left = 3.6
        axes = style.inch_axes(figure, left, top, width_in - left - _RIGHT_IN, tall)
        for side in ("top", "right", "left"):
            axes.spines[side].set_visible(False)
        axes.axvline(0, color=palette.ink, linewidth=1.2)
        reach = 1.0
        for i, row in enumerate(shown):
            e = row.effect
            assert e is not None
            assert e.size is not None
            assert e.size_low is not None
            assert e.size_high is not None
            colour = palette.inside if e.is_clear else palette.ink
            axes.plot([e.size_low, e.size_high], [i, i], color=colour, linewidth=2.4)
            face = colour if e.is_clear else palette.paper
            axes.plot(
                e.size, i, marker="o", markersize=9, markerfacecolor=face, markeredgecolor=colour, mew=2
            )
            reach = max(reach, abs(e.size_low), abs(e.size_high))
        axes.set_yticks(range(len(shown)), [row.measure.title for row in shown])
        axes.tick_params(axis="y", length=0, pad=10)
        reach = min(reach, 8.0) * 1.08
        axes.set_xlim(-reach, reach)
        axes.set_ylim(len(shown) - 0.5, -0.5)
        first, second = shown[0].first, shown[0].second
        axes.set_xlabel(f"{second} against {first}, in standard deviations", size=style.SIZE_TEXT)
    return figure


def draw_reps(
    reps: Sequence[dict[str, Any]],
    fatigue: Fatigue,
    band_deg_s: tuple[float, float] | None,
    *,
    title: str,
    facts: str = "",
    width_in: float = WIDTH_IN,
    dark: bool = False,
) -> Figure:
    """Draw a set from its rep records: start velocity against the band, raising velocity and range along the set.

    Raises
    ------
    ValueError
        Without a rep.
    """
    if not reps:
        raise ValueError("expected at least one rep, got none")
    palette = style.palette_for(dark)
    numbers = np.array([rep["rep"] for rep in reps], float)
    with style.look(palette):
        words = {rep["start_verdict"] for rep in reps}
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
        figure, page, top = _page(palette, width_in, title, facts, items, 7.15, [])
        height = float(figure.get_size_inches()[1])
        inner = width_in - _LEFT_IN - _RIGHT_IN
        panels = []
        for name, unit in (
            ("Start velocity", "degrees per second"),
            ("Raising velocity", "degrees per second"),
            ("Range of motion", "degrees"),
        ):
            furniture.panel_title(page, name, unit, height - top + 0.16)
            panel = style.inch_axes(figure, _LEFT_IN, top, inner, 1.65)
            style.plain_axes(panel, palette)
            panel.set_xlim(numbers[0] - 0.6, numbers[-1] + 0.6)
            panel.xaxis.set_major_locator(MaxNLocator(min(len(reps), 20), integer=True))
            panel.yaxis.set_major_locator(MaxNLocator(4))
            panels.append(panel)
            top += 2.55
        panels[-1].set_xlabel("rep", size=style.SIZE_TEXT)
        _start_panel(panels[0], reps, band_deg_s, palette)
        for panel, key in ((panels[1], "mean_concentric_deg_s"), (panels[2], "rom_deg")):
            values = np.array([np.nan if rep[key] is None else rep[key] for rep in reps], float)
            panel.plot(numbers, values, color=palette.ink, linewidth=1.6, marker="o", markersize=7)
            known = values[np.isfinite(values)]
            panel.set_ylim(0, (float(known.max()) if len(known) else 1.0) * 1.2)
        speeds = [rep["mean_concentric_deg_s"] for rep in reps if rep["mean_concentric_deg_s"]]
        if speeds:
            level = max(speeds) * (1 - fatigue.stop_at_pct / 100)
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


def _start_panel(
    axes: Axes, reps: Sequence[dict[str, Any]], band: tuple[float, float] | None, palette: Palette
) -> None:
    known = [rep for rep in reps if rep["start_velocity_deg_s"] is not None]
    values = [rep["start_velocity_deg_s"] for rep in known]
    if band:
        axes.axhspan(band[0], band[1], color=palette.inside, alpha=0.16, linewidth=0)
        axes.text(
            axes.get_xlim()[1], band[1], f"band {band[0]:g}–{band[1]:g}", ha="right", va="bottom",
            size=style.SIZE_SMALL, color=palette.inside,
        )  # fmt: skip
    furniture.draw_marks(
        axes, palette, [r["rep"] for r in known], values, [r["start_verdict"] for r in known], 11
    )
    top = max([*values, band[1] if band else 0.0, 1.0])
    axes.set_ylim(0, top * 1.2)


def _page(
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
    head = _HEAD_IN + 0.28 * len(said) + (0.1 if said else 0.0) - (0.0 if facts else 0.3)
    top = head + 0.3 * len(rows) + 0.55
    height = top + body_in + 0.75
    figure = Figure(figsize=(width_in, height), facecolor=palette.paper)
    page = furniture.canvas(figure)
    furniture.headline(page, palette, title=title, facts=facts, score="", score_words="", all_inside=False)
    if rows:
        furniture.draw_key(page, palette, rows, height - head - 0.14)
    for i, line in enumerate(said):
        page.text(SIDE_IN, height - _HEAD_IN - 0.2 - 0.28 * i, line, size=style.SIZE_TEXT, va="baseline")
    return figure, page, top


def _monday(weeks: Sequence[Week], k: int, step: int) -> str:
    """Monday of a week, with the year where it is the first one shown of it."""
    day = weeks[k].monday
    text = f"{day.day} {day:%b}"
    return f"{text}\n{day.year}" if k == 0 or weeks[k - step].monday.year != day.year else text


def unit_words(unit: str) -> str:
    """A unit in words for the head of a panel."""
    return {"°": "degrees", "°/s": "degrees per second", "s": "seconds", "%": "per cent"}.get(unit, unit)


def _dates(days: Sequence[date]) -> Any:
    return np.array([day.toordinal() for day in days], float) - _EPOCH


def _date_axis(axes: Axes) -> None:
    locator: Any = _date_locator(minticks=2, maxticks=7)
    axes.xaxis_date()
    axes.xaxis.set_major_locator(locator)
    axes.xaxis.set_major_formatter(_date_formatter(locator))
