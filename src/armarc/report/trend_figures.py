"""Pictures over time: a set rep by rep, a measure over sessions with its error, how much was done per week."""

from __future__ import annotations

import math
from collections.abc import Collection, Sequence
from datetime import date, timedelta
from typing import TYPE_CHECKING, Any

import numpy as np
from matplotlib.figure import Figure
from matplotlib.ticker import MaxNLocator, MultipleLocator

from armarc.measures import number_of
from armarc.report import picture_parts, style
from armarc.report.picture_parts import LEFT_IN, RIGHT_IN, WIDTH_IN, KeyItem, empty_picture
from armarc.report.style import Palette

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from armarc.log import Fatigue
    from armarc.log.trend import Trend
    from armarc.log.volume import Week
    from armarc.reps.types import Rep


_EPOCH = date(1970, 1, 1).toordinal()  # the plotting library counts days from here


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
        if _has_best(trend):
            items.append(KeyItem(words="best session", marker="*", colour=palette.above))
        figure, page, top = empty_picture(
            palette, width_in, title, facts, items, 3.9, [trend.words()] if verdict else []
        )
        axes = style.inch_axes(figure, LEFT_IN, top, width_in - LEFT_IN - RIGHT_IN, 3.9)
        picture_parts.panel_title(
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
    if _has_best(trend):
        best = int(np.argmax(values))
        axes.plot(x[best], values[best], marker="*", markersize=19, color=palette.above, zorder=6)
    # A flat course must look flat: never show less than a few errors of height.
    error = trend.typical_error or 0.02 * max(abs(float(values.mean())), 1e-9)
    middle = (float(values.max()) + float(values.min())) / 2
    half = max((float(values.max()) - float(values.min())) / 2 * 1.25, 4 * error)
    low, high = middle - half, middle + half
    if trend.measure.key == "in_band_pct":
        low, high = max(low, -4.0), min(high, 104.0)
    axes.set_ylim(low, high)
    # Nobody does half a rep; sessions of several sets have means between whole numbers all the same.
    count = not trend.measure.unit and trend.measure.digits == 0
    if count:
        axes.set_ylim(math.floor(low) - (low == math.floor(low)), math.ceil(high) + (high == math.ceil(high)))
    axes.yaxis.set_major_locator(MaxNLocator(5, integer=count))
    if len(x) == 1:
        axes.set_xlim(x[0] - 3, x[0] + 3)
    else:
        room = 0.03 * (x[-1] - x[0])
        axes.set_xlim(x[0] - room, x[-1] + room)
    _date_axis(axes, [point.day for point in trend.points])


def _has_best(trend: Trend) -> bool:
    """Whether one session stands out at all."""
    values = [point.value for point in trend.points]
    return trend.measure.better == "higher" and values.count(max(values)) == 1


def draw_weeks(
    weeks: Sequence[Week],
    *,
    title: str,
    facts: str = "",
    width_in: float = WIDTH_IN,
    dark: bool = False,
    lighter: Collection[date] = (),
) -> Figure:
    """Draw sets, reps and time under tension per week, one row each; lighter weeks, by their Mondays, are hollow.

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
        fills = [palette.paper if week.monday in lighter else palette.inside for week in weeks]
        items = [KeyItem(words="lighter week", fill=palette.paper, edge=palette.inside)] if lighter else []
        figure, page, top = empty_picture(palette, width_in, title, facts, items, step * len(rows) - 0.5, [])
        height = float(figure.get_size_inches()[1])
        x = _dates([week.monday for week in weeks])
        for i, (name, unit, values) in enumerate(rows):
            at = top + i * step
            picture_parts.panel_title(page, name, unit, height - at + 0.14)
            axes = style.inch_axes(figure, LEFT_IN, at, width_in - LEFT_IN - RIGHT_IN, step - 0.75)
            style.plain_axes(axes, palette)
            axes.bar(x, values, width=5.2, color=fills, edgecolor=palette.inside, align="edge")
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


def _date_axis(axes: Axes, days: Sequence[date]) -> None:
    """Days that people count from as ticks, at most seven: every so many days, Mondays, or firsts of months."""
    first, last = days[0], days[-1]
    span = (last - first).days
    if span <= 12:
        step = max(1, -(-span // 6))
        shown = [first + timedelta(days=day) for day in range(0, span + 1, step)]
    elif span <= 84:
        monday = first + timedelta(days=-first.weekday() % 7)
        step = 7 * max(1, -(-span // 42))
        shown = [monday + timedelta(days=day) for day in range(0, (last - monday).days + 1, step)]
    else:
        months = range(12 * first.year + first.month, 12 * last.year + last.month)
        shown = [date(month // 12, month % 12 + 1, 1) for month in months][:: max(1, -(-len(months) // 7))]
    names = [f"{day.day} {day:%b}" for day in shown]
    axes.set_xticks([day.toordinal() - _EPOCH for day in shown], names)
    years = sorted({first.year, last.year})
    axes.set_xlabel("–".join(map(str, years)), size=style.SIZE_TEXT)


def draw_reps(
    reps: Sequence[Rep],
    fatigue: Fatigue,
    band_deg_s: tuple[float, float] | None,
    *,
    title: str,
    facts: str,
    width_in: float,
) -> Figure:
    """Draw a set rep by rep: start velocity against the band, raising velocity and range along the set.

    Raises
    ------
    ValueError
        Without a rep.
    """
    if not reps:
        raise ValueError("expected at least one rep, got none")
    palette = style.LIGHT
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
        speeds = np.array([number_of(rep, "mean_concentric_deg_s") for rep in reps])
        ranges = np.array([number_of(rep, "rom_deg") for rep in reps])
        for panel, values in ((panels[1], speeds), (panels[2], ranges)):
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
