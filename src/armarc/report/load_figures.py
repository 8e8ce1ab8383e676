"""Pictures about load: moment by angle, plans, lines of pull. They take plain arrays in degrees and N m."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from matplotlib.figure import Figure
from matplotlib.ticker import MaxNLocator

from armarc.load.set_load import SetLoad
from armarc.load.table import LOAD_CAUTIONS
from armarc.recording import FloatArray
from armarc.report import picture_parts, style
from armarc.report.picture_parts import SIDE_IN
from armarc.report.style import Palette
from armarc.reps.summary import full_reps

if TYPE_CHECKING:
    from matplotlib.axes import Axes

_LEFT_IN = 1.0
_HEAD_IN = 1.35
_LABEL_IN = 3.1


@dataclass(frozen=True, slots=True, kw_only=True)
class Curve:
    """One line.

    Parameters
    ----------
    label : str
    x, y : ndarray, shape (n,)
        NaN breaks the line.
    low, high : ndarray, shape (n,), or None
        Spread around it.
    value : float or None
        A share written behind the label, 0…1.
    """

    label: str
    x: FloatArray
    y: FloatArray
    low: FloatArray | None = None
    high: FloatArray | None = None
    value: float | None = None


def draw_moments(
    curves: Sequence[Curve],
    *,
    title: str,
    facts: str,
    loaded_deg: tuple[float, float] | None,
    notes: Sequence[str],
    panel: str = "Moment while raising",
    dark: bool = False,
) -> Figure:
    """Shoulder moment by angle, one line per curve, labels at the lines' ends.

    Parameters
    ----------
    curves : sequence of Curve
        Degrees against N m.
    title, facts : str
    loaded_deg : tuple of float, °, or None
        Shaded.
    notes : sequence of str
        At the foot.
    panel : str
        Head of the panel.
    dark : bool

    Raises
    ------
    ValueError
        Without a curve.
    """
    if not curves:
        raise ValueError("expected at least one curve, got none")
    palette = style.palette_for(dark)
    with style.look(palette):
        width, plot_in = 11.0, 5.2
        figure, page, top, foot = _page(width, plot_in + 0.55, title, facts, notes, palette)
        picture_parts.panel_title(page, panel, "N·m, by angle in degrees", top + 0.18)
        axes = style.inch_axes(
            figure, _LEFT_IN, page.get_ylim()[1] - top, width - _LEFT_IN - _LABEL_IN - 0.4, plot_in
        )
        style.plain_axes(axes, palette)
        _shade(axes, palette, loaded_deg)
        _lines(axes, palette, curves)
        _finish_angle(axes, curves)
        if loaded_deg:
            _range_label(axes, palette, loaded_deg)
        end_labels(axes, palette, curves, plot_in)
        picture_parts.draw_foot(page, palette, foot)
        return figure


def draw_set_load(load: SetLoad, *, title: str, facts: str, dark: bool = False) -> Figure:
    """Moment by angle of a measured set: mean and spread over its reps, raising and lowering."""
    degrees = np.degrees(load.angle_rad)
    curves = [
        Curve(label=label, x=degrees, y=mean, low=mean - sd, high=mean + sd)
        for label, mean, sd in (
            ("raising, mean of the reps and their spread", load.concentric_mean_n_m, load.concentric_sd_n_m),
            ("lowering", load.eccentric_mean_n_m, load.eccentric_sd_n_m),
        )
    ]
    curves += _hold(load)
    loaded = load.loaded_range_rad
    return draw_moments(
        curves,
        title=title,
        facts=facts,
        loaded_deg=None if loaded is None else (float(np.degrees(loaded[0])), float(np.degrees(loaded[1]))),
        notes=[f"Assumed: {'; '.join(load.notes)}.", *LOAD_CAUTIONS],
        panel="Moment about the shoulder",
        dark=dark,
    )


def _hold(load: SetLoad) -> list[Curve]:
    """The hold has no angle to go along: a mark of its mean and range where the full reps turn round."""
    passed = np.flatnonzero(np.isfinite(load.concentric_mean_n_m))
    if not len(passed):
        return []
    top = int(passed[-1])
    holds = [
        rep.measures.hold_moment_n_m
        for rep in full_reps(load.reps)
        if rep.measures.hold_moment_n_m is not None and np.isfinite(rep.concentric_n_m[top])
    ]
    if not holds:
        return []
    at, mean = float(np.degrees(load.angle_rad[top])), float(np.mean(holds))
    return [
        Curve(
            label=f"hold, {mean:.0f} N·m on average",
            x=np.array([at, at + 1.5]),
            y=np.array([mean, mean]),
            low=np.full(2, min(holds)),
            high=np.full(2, max(holds)),
        )
    ]


@dataclass(frozen=True, slots=True, kw_only=True)
class SpeedCurve:
    """A measure by start velocity, °/s against percent of the start from rest."""

    label: str
    x: FloatArray
    y: FloatArray


def draw_plan(
    courses: Sequence[Curve],
    by_speed: Sequence[SpeedCurve],
    *,
    capacity: Curve | None,
    title: str,
    facts: str,
    loaded_deg: tuple[float, float],
    band: tuple[float, float, str] | None,
    base_words: str,
    notes: Sequence[str],
    dark: bool = False,
) -> Figure:
    """Two panels: the moment of simulated raises by angle, and measures by start velocity.

    Parameters
    ----------
    courses : sequence of Curve
        Degrees against N m, one per start velocity.
    by_speed : sequence of SpeedCurve
    capacity : Curve or None
        Isometric capacity, drawn dashed in the background.
    loaded_deg : tuple of float, °
    band : tuple of low and high, °/s, and what they are, or None
        Shaded in the second panel.
    base_words : str
        What 100 % is.
    """
    palette = style.palette_for(dark)
    with style.look(palette):
        width, plot_in, second_in = 11.0, 4.2, 3.2
        figure, page, top, foot = _page(width, plot_in + second_in + 2.2, title, facts, notes, palette)
        height = page.get_ylim()[1]
        inner = width - _LEFT_IN - _LABEL_IN - 0.4
        picture_parts.panel_title(page, "Simulated moment", "N·m, by angle in degrees", top + 0.18)
        axes = style.inch_axes(figure, _LEFT_IN, height - top, inner, plot_in)
        style.plain_axes(axes, palette)
        _shade(axes, palette, loaded_deg)
        shown = list(courses)
        if capacity is not None:
            axes.plot(capacity.x, capacity.y, color=palette.faint, linewidth=1.6, linestyle=(0, (1.0, 2.0)))
        _lines(axes, palette, shown)
        _finish_angle(axes, [*shown, capacity] if capacity is not None else shown)
        _range_label(axes, palette, loaded_deg)
        end_labels(axes, palette, [*shown, capacity] if capacity is not None else shown, plot_in)
        top -= plot_in + 1.25
        picture_parts.panel_title(page, "What the start velocity changes", base_words, top + 0.18)
        lower = style.inch_axes(figure, _LEFT_IN, height - top, inner, second_in)
        style.plain_axes(lower, palette)
        if band is not None:
            lower.axvspan(*band[:2], color=palette.lowering, zorder=0)
        lower.axhline(100, color=palette.rule, linewidth=1.2)
        curves = [Curve(label=each.label, x=each.x, y=each.y) for each in by_speed]
        _lines(lower, palette, curves)
        values = np.concatenate([c.y[np.isfinite(c.y)] for c in curves])
        low, high = (float(values.min()), float(values.max())) if len(values) else (90.0, 110.0)
        middle, half = 0.5 * (low + high), max(0.5 * (high - low), 5.0)
        lower.set_ylim(middle - 1.15 * half, middle + 1.25 * half)
        lower.set_xlim(float(by_speed[0].x[0]), float(by_speed[0].x[-1]))
        lower.xaxis.set_major_locator(MaxNLocator(6, steps=[1, 2, 3, 5, 10]))
        lower.yaxis.set_major_locator(MaxNLocator(5))
        lower.set_xlabel("speed at the bottom, degrees per second", size=style.SIZE_TEXT)
        if band is not None:
            lower.text(
                band[0] + 2, 0.03, band[2], transform=lower.get_xaxis_transform(),
                size=style.SIZE_SMALL, color=palette.ink, va="bottom", path_effects=style.halo(palette),
            )  # fmt: skip
        end_labels(lower, palette, curves, second_in)
        picture_parts.draw_foot(page, palette, foot)
        return figure


def draw_lines_of_pull(
    panels: Sequence[tuple[str, Sequence[Curve]]],
    *,
    title: str,
    facts: str,
    notes: Sequence[str],
    dark: bool = False,
) -> Figure:
    """Moment arms by elevation, one panel per muscle, the same lines in each.

    Parameters
    ----------
    panels : sequence of (str, sequence of Curve)
        Muscle and its curves, degrees against mm; above zero lifts.
    """
    palette = style.palette_for(dark)
    with style.look(palette):
        width, plot_in, gap_in = 11.0, 2.9, 1.05
        rows = (len(panels) + 1) // 2
        labels = [curve.label for curve in panels[0][1]]
        key_in = 0.34 * len(labels) + 0.25
        figure, page, top, foot = _page(
            width, key_in + rows * (plot_in + gap_in) - 0.45, title, facts, notes, palette
        )
        height = page.get_ylim()[1]
        for i, label in enumerate(labels):
            y = top - 0.1 - 0.34 * i + 0.3
            colour, dash, thick = _line_look(palette, i)
            page.plot([SIDE_IN, SIDE_IN + 0.5], [y, y], color=colour, linestyle=dash, linewidth=thick)
            page.text(SIDE_IN + 0.65, y, label, size=style.SIZE_TEXT, va="center")
        every = [c.y[np.isfinite(c.y)] for _, curves in panels for c in curves]
        values = np.concatenate([*every, np.zeros(1)])
        low, high = float(values.min()) - 4, float(values.max()) + 4
        inner = (width - _LEFT_IN - 0.4 - 0.9) / 2
        for i, (name, curves) in enumerate(panels):
            left = _LEFT_IN + (i % 2) * (inner + 0.9)
            down = height - top + key_in + (i // 2) * (plot_in + gap_in)
            page.text(left - 0.45, height - down + 0.16, name, size=style.SIZE_HEAD, weight="bold")
            axes = style.inch_axes(figure, left, down, inner, plot_in)
            style.plain_axes(axes, palette)
            axes.axhline(0, color=palette.ink, linewidth=1.0)
            _lines(axes, palette, curves)
            axes.set_ylim(low, high)
            axes.set_xlim(10, 120)
            axes.set_xticks([10, 30, 60, 90, 120])
            axes.yaxis.set_major_locator(MaxNLocator(5))
            if not any(np.isfinite(c.y).any() for c in curves):
                axes.text(65, 0.5 * (low + high), "not tabulated", ha="center", color=palette.faint)
        picture_parts.draw_foot(page, palette, foot)
        return figure


def _page(
    width: float, body_in: float, title: str, facts: str, notes: Sequence[str], palette: Palette
) -> tuple[Figure, Axes, float, list[str]]:
    """Figure, page, height of the first panel's top above the bottom, foot lines."""
    foot = picture_parts.foot_lines(notes, width)
    height = _HEAD_IN + 0.55 + body_in + picture_parts.foot_height_in(foot)
    figure = Figure(figsize=(width, height), facecolor=palette.paper)
    page = picture_parts.canvas(figure)
    picture_parts.headline(
        page, palette, title=title, facts=facts, score="", score_words="", all_inside=False
    )
    return figure, page, height - _HEAD_IN - 0.55, foot


def _line_look(palette: Palette, i: int) -> tuple[str, style.Dash, float]:
    colours = (palette.inside, palette.above, palette.ink)
    return colours[i % 3], style.LINE_STYLES[i % len(style.LINE_STYLES)], 2.6


def _lines(axes: Axes, palette: Palette, curves: Sequence[Curve]) -> None:
    for i, curve in enumerate(curves):
        colour, dash, thick = _line_look(palette, i)
        if curve.low is not None and curve.high is not None:
            axes.fill_between(curve.x, curve.low, curve.high, color=colour, alpha=0.16, linewidth=0)
        axes.plot(curve.x, curve.y, color=colour, linestyle=dash, linewidth=thick)


def _shade(axes: Axes, palette: Palette, loaded_deg: tuple[float, float] | None) -> None:
    if loaded_deg:
        axes.axvspan(*loaded_deg, color=palette.lowering, zorder=0, linewidth=0)


def _range_label(axes: Axes, palette: Palette, loaded_deg: tuple[float, float]) -> None:
    axes.text(
        0.5 * (loaded_deg[0] + loaded_deg[1]), 0.015, f"loaded range {loaded_deg[0]:g}–{loaded_deg[1]:g}°",
        transform=axes.get_xaxis_transform(), ha="center", va="bottom", size=style.SIZE_SMALL,
        color=palette.faint,
    )  # fmt: skip


def _finish_angle(axes: Axes, curves: Sequence[Curve]) -> None:
    x = np.concatenate([c.x[np.isfinite(c.y)] for c in curves])
    drawn = [part for c in curves for part in (c.y, c.low, c.high) if part is not None]
    y = np.concatenate([part[np.isfinite(part)] for part in drawn])
    if not len(x):
        return
    axes.set_xlim(float(x.min()), float(x.max()))
    axes.set_ylim(min(0.0, 1.1 * float(y.min())), 1.08 * max(float(y.max()), 1.0))
    style.angle_axis(axes)
    axes.yaxis.set_major_locator(MaxNLocator(6))


def end_labels(axes: Axes, palette: Palette, curves: Sequence[Curve], height_in: float) -> None:
    """Write each label beside its line's end, pushed apart until none overlaps."""
    low, high = axes.get_ylim()
    right = axes.get_xlim()[1]
    texts: list[tuple[float, list[str], int, float]] = []
    for i, curve in enumerate(curves):
        on = np.flatnonzero(np.isfinite(curve.y))
        if not len(on):
            continue
        share = "" if curve.value is None else f": {100 * curve.value:.0f} % in range"
        lines = style.wrapped(curve.label + share, style.SIZE_SMALL + 0.5, _LABEL_IN - 0.35)
        place = (float(curve.y[on[-1]]) - low) / (high - low) * height_in
        texts.append((place, lines, i, float(curve.x[on[-1]])))
    # Lines that end at the same place keep their order from top to bottom.
    texts.sort(key=lambda t: (round(t[0], 1), -t[2]))
    need = [0.2 * len(t[1]) + 0.06 for t in texts]
    spots = [t[0] for t in texts]
    for _ in range(200):
        moved = False
        for a in range(len(spots) - 1):
            gap = 0.5 * (need[a] + need[a + 1]) - (spots[a + 1] - spots[a])
            if gap > 1e-3:
                spots[a] -= gap / 2
                spots[a + 1] += gap / 2
                moved = True
        if not moved:
            break
    span_x = right - axes.get_xlim()[0]
    for (place, lines, i, end), spot in zip(texts, spots, strict=True):
        colour = _line_look(palette, i)[0] if i < len(curves) else palette.faint
        start = (end, low + place / height_in * (high - low))
        stop = (right + 0.022 * span_x, low + spot / height_in * (high - low))
        axes.annotate(
            "", xy=start, xytext=stop, annotation_clip=False,
            arrowprops={"arrowstyle": "-", "color": palette.rule, "linewidth": 1.0, "shrinkA": 0, "shrinkB": 0},
        )  # fmt: skip
        axes.text(
            right + 0.028 * span_x, stop[1], "\n".join(lines), size=style.SIZE_SMALL + 0.5, va="center",
            color=colour, linespacing=1.15,
        )  # fmt: skip
