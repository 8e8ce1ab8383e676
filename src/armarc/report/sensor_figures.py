"""Pictures of the sensor itself: its Allan deviation."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
from matplotlib.figure import Figure
from matplotlib.ticker import FuncFormatter, LogLocator, NullFormatter

from armarc.recording import STANDARD_GRAVITY_M_S2
from armarc.report import picture_parts, style
from armarc.report.picture_parts import SIDE_IN, KeyItem
from armarc.report.style import Palette
from armarc.sensor.bench.allan import FLOOR, LEAST_FREEDOM

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from armarc.sensor.bench.allan import Deviation
    from armarc.sensor.bench.types import AxisCheck, SensorCheck, StillFacts

WIDTH_IN = 9.0
_LEFT_IN, _RIGHT_IN = 1.25, 0.75
_HEAD_IN, _PANEL_IN, _TITLE_IN, _TIME_IN = 1.3, 3.1, 0.62, 0.75
NARROW_DECADES = 2.2
"""Axes that span less are labelled at 2 and 5 as well."""
_LINES = ("-", (0, (5, 2)), (0, (1.5, 1.5)))
"""Axes x, y and z differ by the kind of line, then by colour."""


def draw_allan(check: SensorCheck, *, dark: bool = False) -> Figure:
    """Draw the Allan deviations of gyroscope and accelerometer.

    Parameters
    ----------
    check : SensorCheck
        With a still stretch.
    dark : bool
        Light on dark.

    Raises
    ------
    ValueError
        Without a still stretch.
    """
    if check.still is None:
        raise ValueError("expected a check with a still stretch, got none")
    palette = style.palette_for(dark)
    with style.look(palette):
        return _draw(check, check.still, palette)


def _draw(check: SensorCheck, still: StillFacts, palette: Palette) -> Figure:
    items = [KeyItem(words="band: one standard error", fill=palette.lowering)]
    terms = [axis.terms for axis in (*still.gyroscope, *still.accelerometer) if axis.terms is not None]
    if terms and still.gyroscope_curve.tau_s[-1] >= 1.0:
        items.append(KeyItem(words="read at 1 s: random walk N", marker="o", colour=palette.ink))
    if any(one.instability is not None for one in terms):
        items.append(
            KeyItem(words="lowest point: bias instability", marker="v", filled=False, colour=palette.ink)
        )
    key = picture_parts.key_rows(items, WIDTH_IN - 2 * SIDE_IN)
    notes = [
        "Overlapping Allan deviation; terms as in IEEE Std 952, Annex C. Datasheet density is one-sided: √2·N."
    ]
    if any(one.instability is not None for one in terms):
        notes.append(
            "Bias instability is the lowest point over 0.664; an open mark, with no rise after it, is an upper bound."
        )
    if not still.is_quite_still:
        notes.insert(0, "The sensor was not quite still: noise and drift come out too high.")
    foot = picture_parts.foot_lines(notes, WIDTH_IN)
    key_in = 0.2 + 0.3 * len(key)
    height = (
        _HEAD_IN + key_in + 2 * (_TITLE_IN + _PANEL_IN) + _TIME_IN + 0.15 + picture_parts.foot_height_in(foot)
    )
    figure = Figure(figsize=(WIDTH_IN, height), facecolor=palette.paper)
    page = picture_parts.canvas(figure)
    picture_parts.headline(
        page, palette, title=_title(check), facts=_facts(check, still), score="", score_words="", all_inside=False
    )  # fmt: skip
    picture_parts.draw_key(page, palette, key, height - _HEAD_IN - 0.14)
    inner = WIDTH_IN - _LEFT_IN - _RIGHT_IN
    top = _HEAD_IN + key_in + _TITLE_IN
    picture_parts.panel_title(page, "Gyroscope", "degrees per second", height - top + 0.16)
    axes = style.inch_axes(figure, _LEFT_IN, top, inner, _PANEL_IN)
    _panel(axes, palette, still.gyroscope_curve, still.gyroscope, math.degrees(1))
    axes.tick_params(labelbottom=False)
    top += _PANEL_IN + _TITLE_IN
    picture_parts.panel_title(page, "Accelerometer", "millionths of g", height - top + 0.16)
    axes = style.inch_axes(figure, _LEFT_IN, top, inner, _PANEL_IN)
    _panel(axes, palette, still.accelerometer_curve, still.accelerometer, 1e6 / STANDARD_GRAVITY_M_S2)
    axes.set_xlabel("averaging time, seconds", size=style.SIZE_TEXT, labelpad=8)
    picture_parts.draw_foot(page, palette, foot)
    return figure


def _title(check: SensorCheck) -> str:
    name = f": {check.sensor}" if check.sensor else ""
    return f"Sensor at rest{name}"


def _facts(check: SensorCheck, still: StillFacts) -> str:
    facts = [f"{_length(still.duration_s)} still", f"{check.stream.rate_hz:.4g} Hz"]
    terms = [axis.terms for axis in still.gyroscope if axis.terms is not None]
    if terms and still.is_quite_still:
        facts.append(f"{1000 * math.degrees(max(one.density for one in terms)):.2g} mdps/√Hz")
    terms = [axis.terms for axis in still.accelerometer if axis.terms is not None]
    if terms and still.is_quite_still:
        worst = max(one.density for one in terms) * 1e6 / STANDARD_GRAVITY_M_S2
        facts.append(f"{worst:.0f} µg/√Hz")
    facts.append(f"bias up to {math.degrees(max(abs(axis.mean) for axis in still.gyroscope)):.2g} °/s")
    return " · ".join(facts)


def _length(seconds: float) -> str:
    return f"{seconds:.0f} s" if seconds < 120 else f"{seconds / 60:.0f} min"


def _panel(
    axes: Axes, palette: Palette, curve: Deviation, checks: tuple[AxisCheck, ...], factor: float
) -> None:
    style.plain_axes(axes, palette)
    colours = (palette.inside, palette.above, palette.ink)
    keep = curve.degrees_of_freedom >= LEAST_FREEDOM
    if int(keep.sum()) < 2:
        keep = np.ones_like(keep)
    tau, wide = curve.tau_s[keep], curve.relative_se[keep]
    ends = []
    for k, colour in enumerate(colours):
        value = factor * curve.value[keep, k]
        if not (value > 0).all():
            continue
        axes.fill_between(
            tau, value * (1 - np.minimum(wide, 0.9)), value * (1 + wide), color=palette.lowering, alpha=0.55,
            linewidth=0,
        )  # fmt: skip
        axes.plot(tau, value, color=colour, linewidth=2.4, linestyle=_LINES[k])
        ends.append((float(value[-1]), "xyz"[k], colour))
        terms = checks[k].terms
        if terms is None:
            continue
        if tau[0] <= 1.0 <= tau[-1]:
            axes.plot(
                1.0, factor * terms.random_walk, marker="o", markersize=8, color=colour,
                markeredgecolor=palette.paper, zorder=5,
            )  # fmt: skip
        if terms.instability is not None and terms.instability_tau_s is not None:
            axes.plot(
                terms.instability_tau_s, factor * FLOOR * terms.instability, marker="v", markersize=9,
                markerfacecolor=colour if terms.floor_seen else palette.paper, markeredgecolor=colour,
                markeredgewidth=1.8, zorder=5,
            )  # fmt: skip
    axes.set_xscale("log")
    axes.set_yscale("log")
    _end_labels(axes, palette, ends, float(tau[-1]))
    for axis, limits in ((axes.xaxis, axes.get_xlim()), (axes.yaxis, axes.get_ylim())):
        if math.log10(limits[1] / limits[0]) < NARROW_DECADES:
            axis.set_major_locator(LogLocator(subs=(1.0, 2.0, 5.0)))
        axis.set_major_formatter(FuncFormatter(_plain))
        axis.set_minor_formatter(NullFormatter())
    axes.tick_params(which="minor", length=0)


def _end_labels(axes: Axes, palette: Palette, ends: list[tuple[float, str, str]], last_tau_s: float) -> None:
    """Name each line at its end, pushed apart so that no two names touch."""
    if not ends:
        return
    low, high = (math.log10(limit) for limit in axes.get_ylim())
    step = 0.075 * (high - low)
    place = -math.inf
    placed = []
    for value, name, colour in sorted(ends):
        place = max(math.log10(value), place + step)
        placed.append((place, name, colour))
    middle = sum(math.log10(value) for value, _, _ in ends) / len(ends)
    shift = min(0.0, middle - sum(one[0] for one in placed) / len(placed))
    for at, name, colour in placed:
        axes.annotate(
            name, (last_tau_s, 10 ** (at + shift)), xytext=(12, 0), textcoords="offset points", va="center",
            size=style.SIZE_TEXT, weight="bold", color=colour, annotation_clip=False,
            path_effects=style.halo(palette),
        )  # fmt: skip


def _plain(value: float, _: object = None) -> str:
    return f"{value:g}" if value >= 1e-4 else f"{value:.0e}"
