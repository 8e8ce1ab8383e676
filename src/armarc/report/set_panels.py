"""The three panels of a set's picture: angle, velocity, start velocities."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from matplotlib.collections import LineCollection, PolyCollection
from matplotlib.ticker import FuncFormatter, MaxNLocator, MultipleLocator

from armarc.exercises import Exercise
from armarc.measures import number_of
from armarc.motion import ArmMotion
from armarc.recording import FloatArray
from armarc.report import picture_parts, style
from armarc.report.answers import flag_letters, letters_of
from armarc.report.style import Palette
from armarc.reps.types import MeasuredSet, Rep

if TYPE_CHECKING:
    from matplotlib.axes import Axes


_BESIDE_MARK_IN = (8.5 + 5.5) / 72
"""From a number beside a mark to the middle of the mark, and half a mark."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Scene:
    """What the panels draw, in degrees and seconds."""

    time_s: FloatArray
    angle_deg: FloatArray
    rate_deg_s: FloatArray
    reps: tuple[Rep, ...]
    letters: dict[str, str]
    gate_deg: tuple[float, float]
    gate_from: str
    band_deg_s: tuple[float, float] | None
    loaded_deg: tuple[float, float] | None
    palette: Palette
    span_s: tuple[float, float]
    rep_in: float
    """Width of one rep in the strip of start velocities, inch."""
    top_in: float
    """Distance from one top to the next on the time axis, inch."""
    second_in: float


def scene_of(
    motion: ArmMotion, measured: MeasuredSet, exercise: Exercise, palette: Palette, inner_in: float
) -> Scene:
    """Cut the set out of the motion and turn it into degrees; `inner_in` is the width of a panel, inch."""
    reps = measured.reps
    margin = int(0.5 * motion.rate_hz)
    first = max(0, min(reps[0].first_sample, int(np.searchsorted(motion.time_s, reps[0].phases.start_s))))
    last = max(reps[-1].stop_sample, int(np.searchsorted(motion.time_s, reps[-1].phases.end_s)))
    # A long stand before the first or after the last rep says nothing here.
    first = max(first, int(np.searchsorted(motion.time_s, reps[0].phases.start_s - 1.0)))
    last = min(last, int(np.searchsorted(motion.time_s, reps[-1].phases.end_s + 1.0)))
    cut = slice(max(0, first - margin), min(len(motion.time_s), last + margin))
    time_s = motion.time_s[cut]
    missing = motion.missing[cut]
    angle = np.where(missing, np.nan, np.degrees(motion.angle_rad[cut]))
    rate = np.where(missing, np.nan, np.degrees(motion.angle_rate_rad_s[cut]))
    # Room at the left for the number beside the first mark.
    room_s = 0.45 * (time_s[-1] - time_s[0]) / (inner_in - 0.45)
    span_s = (float(time_s[0] - room_s), float(time_s[-1]))
    second_in = inner_in / (span_s[1] - span_s[0])
    apart_s = np.diff([motion.time_s[min(rep.top_sample, len(motion.time_s) - 1)] for rep in reps])
    # One hurried rep must not take the labels from all the others.
    near_s = max(float(apart_s.min()), 0.75 * float(np.median(apart_s))) if len(apart_s) else np.inf
    band = measured.band
    loaded = exercise.loaded_range_rad
    return Scene(
        time_s=time_s,
        angle_deg=angle,
        rate_deg_s=rate,
        reps=reps,
        letters=flag_letters([rep.quality for rep in reps]),
        gate_deg=(math.degrees(exercise.gate_rad[0]), math.degrees(exercise.gate_rad[1])),
        gate_from=exercise.gate_from,
        band_deg_s=(math.degrees(band.low_rad_s), math.degrees(band.high_rad_s)) if band else None,
        loaded_deg=(math.degrees(loaded[0]), math.degrees(loaded[1])) if loaded else None,
        palette=palette,
        span_s=span_s,
        rep_in=inner_in / len(reps),
        top_in=min(near_s * second_in, inner_in / len(reps)),
        second_in=second_in,
    )


def angle_panel(axes: Axes, scene: Scene, motion: ArmMotion) -> None:
    """Angle over time with phases, start gates, the loaded range, rep numbers, bottoms and tops."""
    p = scene.palette
    style.plain_axes(axes, p)
    # Where the recording lacks a top or a bottom, the rep's number stands above what was seen of it.
    tops = [
        math.degrees(motion.angle_rad[rep.top_sample] if rep.top_rad is None else rep.top_rad)
        for rep in scene.reps
    ]
    low = min(0.0, float(np.nanmin(scene.angle_deg)) - 2) if motion.coordinate == "elevation" else (
        float(np.nanmin(scene.angle_deg)) - 4
    )  # fmt: skip
    high = max(*tops, float(np.nanmax(scene.angle_deg)))
    reach = high - low
    # Room for rep numbers and top angles above the highest curve.
    axes.set_ylim(low, high + 0.24 * reach)
    axes.set_xlim(*scene.span_s)
    step = 30 if reach > 75 else 15 if reach > 35 else 10
    axes.yaxis.set_major_locator(MultipleLocator(step))
    axes.yaxis.set_major_formatter(FuncFormatter(lambda value, _: style.degrees_text(value)))
    axes.tick_params(axis="x", labelbottom=False)

    if scene.loaded_deg:
        _level_band(axes, scene, scene.loaded_deg, p.ink, "loaded", "°")
    _phase_areas(axes, scene, low)
    _gaps(axes, scene)
    x, y = picture_parts.thinned(scene.time_s, scene.angle_deg, 2000)
    axes.plot(x, y, color=p.ink, linewidth=2.2, zorder=4)
    _gates(axes, scene)

    halo = style.halo(p)
    number_size = number_size_of(scene)
    with_top = _label_size(_widest(tops) + "°", 11.0, scene.top_in)
    at_s = [float(motion.time_s[min(rep.top_sample, len(motion.time_s) - 1)]) for rep in scene.reps]
    numbers = [str(rep.rep) + letters_of(rep.quality, scene.letters) for rep in scene.reps]
    told_tops = [
        "" if rep.top_rad is None else style.degrees_text(top)
        for rep, top in zip(scene.reps, tops, strict=True)
    ]
    room = _with_room(scene, at_s, told_tops, numbers, (with_top or 0.0, number_size or 0.0))
    for i, (at, top) in enumerate(zip(at_s, tops, strict=True)):
        offset = 5.0
        if with_top and room[i][0]:
            axes.annotate(
                told_tops[i], (at, top), (0, offset), textcoords="offset points", ha="center", va="bottom",
                size=with_top, path_effects=halo,
            )  # fmt: skip
        offset += with_top + 3.0 if with_top else 0.0
        if number_size and room[i][1]:
            axes.annotate(
                numbers[i], (at, top), (0, offset), textcoords="offset points", ha="center", va="bottom",
                size=number_size, weight="bold", path_effects=halo,
            )  # fmt: skip
    half = min(0.09, 0.13 * scene.rep_in) / scene.second_in
    ticks = []
    for rep, at, top in zip(scene.reps, at_s, tops, strict=True):
        if rep.top_rad is not None:
            ticks.append([(at - half, top), (at + half, top)])
        if rep.bottom_rad is not None:
            start_s, bottom = rep.phases.start_s, math.degrees(rep.bottom_rad)
            ticks.append([(start_s - half, bottom), (start_s + half, bottom)])
    axes.add_collection(LineCollection(ticks, colors=p.ink, linewidths=3.4, zorder=5), autolim=False)


def number_size_of(scene: Scene) -> float | None:
    """Size of the reps' numbers with their marks; None where there is no room for them."""
    longest_marks = "ᵃ" * max(len(rep.quality) for rep in scene.reps)
    return _label_size(_widest([scene.reps[-1].rep]) + longest_marks, 15.0, scene.top_in, share=0.8)


def _phase_areas(axes: Axes, scene: Scene, floor: float) -> None:
    """Shade concentric, hold and eccentric under the curve."""
    p = scene.palette
    known = ~np.isnan(scene.angle_deg)
    filled = np.interp(scene.time_s, scene.time_s[known], scene.angle_deg[known])
    for start, stop, colour in (
        ("start_s", "top_start_s", p.raising),
        ("top_start_s", "top_end_s", p.hold),
        ("top_end_s", "end_s", p.lowering),
    ):
        outlines = [
            picture_parts.area(
                scene.time_s,
                filled,
                getattr(rep.phases, start),
                getattr(rep.phases, stop),
                floor,
            )
            for rep in scene.reps
        ]
        axes.add_collection(
            PolyCollection(outlines, facecolors=colour, edgecolors="none", zorder=2), autolim=False
        )


def _gaps(axes: Axes, scene: Scene) -> None:
    """Hatch what was not recorded."""
    for first, stop in picture_parts.stretches(np.isnan(scene.angle_deg)):
        axes.axvspan(
            scene.time_s[first], scene.time_s[min(stop, len(scene.time_s) - 1)],
            facecolor=scene.palette.paper,
            edgecolor=scene.palette.faint, hatch="////", linewidth=0, zorder=3.5,
        )  # fmt: skip


def _gates(axes: Axes, scene: Scene) -> None:
    """Draw each start gate as a small box on the curve, in the colour of its verdict."""
    p = scene.palette
    for rep in scene.reps:
        crossing = gate_times(rep, scene.gate_deg)
        if crossing is None or rep.bottom_rad is None:
            continue
        bottom = math.degrees(rep.bottom_rad) if scene.gate_from == "bottom" else 0.0
        middle = 0.5 * (crossing[0] + crossing[1])
        half = max(0.5 * (crossing[1] - crossing[0]), min(0.045, 0.1 * scene.rep_in) / scene.second_in)
        mark = style.verdict_mark(rep.start_verdict, p)
        box = [
            (middle - half, bottom + scene.gate_deg[0]),
            (middle + half, bottom + scene.gate_deg[0]),
            (middle + half, bottom + scene.gate_deg[1]),
            (middle - half, bottom + scene.gate_deg[1]),
        ]
        axes.add_collection(
            PolyCollection([box], facecolors=p.paper, edgecolors=mark.colour, linewidths=1.8, zorder=4.5),
            autolim=False,
        )


def gate_times(rep: Rep, gate_deg: tuple[float, float]) -> tuple[float, float] | None:
    """When the arm entered and left the start gate of a rep, s; None when it did not."""
    if rep.gate_s is None or not rep.start_velocity_rad_s:
        return None
    took_s = (gate_deg[1] - gate_deg[0]) / math.degrees(rep.start_velocity_rad_s)
    return rep.gate_s - took_s, rep.gate_s


def speed_panel(axes: Axes, scene: Scene) -> None:
    """Velocity over time against the target band, with each start as a mark."""
    p = scene.palette
    style.plain_axes(axes, p)
    axes.set_xlim(*scene.span_s)
    x, y = picture_parts.thinned(scene.time_s, scene.rate_deg_s, 2000)
    low, high = float(np.nanmin(y)), float(np.nanmax(y))
    if scene.band_deg_s:
        high = max(high, scene.band_deg_s[1] * 1.1)
    axes.set_ylim(low - 0.08 * (high - low), high + 0.1 * (high - low))
    if scene.band_deg_s:
        _level_band(axes, scene, scene.band_deg_s, p.inside, "band", "")
    axes.yaxis.set_major_locator(MaxNLocator(5, steps=[1, 2, 5, 10]))
    _gaps(axes, scene)
    axes.axhline(0, color=p.faint, linewidth=1.2, zorder=2)
    axes.plot(x, y, color=p.ink, linewidth=1.8, zorder=4)
    axes.set_xlabel("time in the recording, s", size=style.SIZE_TEXT, labelpad=6)

    halo = style.halo(p)
    xs, ys, verdicts = [], [], []
    for rep in scene.reps:
        crossing = gate_times(rep, scene.gate_deg)
        if rep.start_velocity_rad_s is None or crossing is None:
            continue
        xs.append(0.5 * (crossing[0] + crossing[1]))
        ys.append(number_of(rep, "start_velocity_deg_s"))
        verdicts.append(rep.start_verdict)
    picture_parts.draw_marks(axes, p, xs, ys, verdicts, 11.0 if scene.rep_in > 0.4 else 8.0)
    size = _label_size(_widest(ys), 12.0, scene.top_in, share=0.6, smallest=9.5)
    if size:
        # A number stands left of its mark where the mark before leaves it room; the strip below has them all.
        for at, value, verdict, room_s in zip(xs, ys, verdicts, np.diff(xs, prepend=-np.inf), strict=True):
            needed_in = style.text_width_in(f"{value:.0f}", size, bold=True) + _BESIDE_MARK_IN
            if room_s * scene.second_in < needed_in:
                continue
            axes.annotate(
                f"{value:.0f}", (at, value), (-8.5, 0), textcoords="offset points", ha="right", va="center",
                size=size, weight="bold", color=style.verdict_mark(verdict, p).colour, zorder=7,
                path_effects=halo,
            )  # fmt: skip


def start_panel(axes: Axes, scene: Scene) -> None:
    """Start velocity of each rep with its standard error."""
    p = scene.palette
    style.plain_axes(axes, p)
    numbers = [rep.rep for rep in scene.reps]
    axes.set_xlim(numbers[0] - 0.5, numbers[-1] + 0.5)
    measured = [rep for rep in scene.reps if rep.start_velocity_rad_s is not None]
    values = [number_of(rep, "start_velocity_deg_s") for rep in measured]
    errors = [math.degrees(rep.start_velocity_se_rad_s or 0.0) for rep in measured]
    edges = [v + s * e for v, e in zip(values, errors, strict=True) for s in (-1, 1)]
    edges += list(scene.band_deg_s or ())
    low, high = (min(edges), max(edges)) if edges else (0.0, 100.0)
    room = max(high - low, 10.0)
    axes.set_ylim(max(0.0, low - 0.15 * room), high + 0.34 * room)
    axes.yaxis.set_major_locator(MaxNLocator(4, steps=[1, 2, 5, 10]))
    axes.xaxis.set_major_locator(MaxNLocator(min(len(numbers) + 1, 21), integer=True, steps=[1, 2, 5, 10]))
    if len(numbers) <= 20:
        axes.set_xticks(numbers)
    axes.set_xlabel("rep", size=style.SIZE_TEXT, labelpad=6)
    if scene.band_deg_s:
        _level_band(axes, scene, scene.band_deg_s, p.inside, "band", "")
    xs = [float(rep.rep) for rep in measured]
    _error_bars(axes, scene, measured)
    halo = style.halo(p)
    picture_parts.draw_marks(
        axes, p, xs, values, [r.start_verdict for r in measured], 12.0 if scene.rep_in > 0.4 else 9.0
    )
    size = _label_size(_widest(values), 13.0, scene.rep_in)
    if size:
        for x, value, error, rep in zip(xs, values, errors, measured, strict=True):
            axes.annotate(
                f"{value:.0f}", (x, value + error), (0, 8), textcoords="offset points", ha="center",
                va="bottom", size=size, weight="bold", zorder=7, path_effects=halo,
                color=style.verdict_mark(rep.start_verdict, p).colour,
            )  # fmt: skip
    for rep in scene.reps:
        if rep.start_velocity_rad_s is None:
            axes.annotate(
                "–", (rep.rep, 0), (0, 6), xycoords=("data", "axes fraction"), textcoords="offset points",
                ha="center", va="bottom", size=style.SIZE_TITLE, weight="bold", path_effects=halo, zorder=7,
            )  # fmt: skip


def _error_bars(axes: Axes, scene: Scene, measured: list[Rep]) -> None:
    """Standard errors as upright bars; one that is smaller than its mark is hidden by it."""
    for rep in measured:
        value = math.degrees(rep.start_velocity_rad_s or 0.0)
        error = math.degrees(rep.start_velocity_se_rad_s or 0.0)
        colour = style.verdict_mark(rep.start_verdict, scene.palette).colour
        axes.errorbar(
            rep.rep, value, yerr=error, color=colour, linestyle="none", elinewidth=2.2, capsize=4.5, capthick=1.6,
            zorder=4.5,
        )  # fmt: skip


def _level_band(
    axes: Axes, scene: Scene, levels: tuple[float, float], colour: str, said: str, unit: str
) -> None:
    """A band between two levels with its words at the right edge; call it once the limits stand."""
    dark = scene.palette is style.DARK
    axes.axhspan(*levels, facecolor=colour, alpha=0.2 if dark else 0.13, zorder=1, linewidth=0)
    for level in levels:
        axes.axhline(level, color=colour, linewidth=1.3, linestyle=(0, (4, 3)), zorder=3)
    bottom, top = axes.get_ylim()
    shown = max(levels[0], bottom), min(levels[1], top)
    if shown[0] >= shown[1]:
        return
    axes.annotate(
        f"{said}\n{levels[0]:g}–{levels[1]:g}{unit}", (1.0, 0.5 * sum(shown)), (7, 0),
        xycoords=("axes fraction", "data"), textcoords="offset points", ha="left", va="center",
        size=style.SIZE_SMALL + 0.5, weight="bold", color=colour, annotation_clip=False,
    )  # fmt: skip


def _with_room(
    scene: Scene,
    at_s: Sequence[float],
    tops: Sequence[str],
    numbers: Sequence[str],
    sizes: tuple[float, float],
) -> list[tuple[bool, bool]]:
    """Which tops and numbers of reps stand clear of what is shown before; of a hurried one the number, or none."""
    shown: list[tuple[bool, bool]] = []
    taken = -np.inf
    for at, *labels in zip(at_s, tops, numbers, strict=True):
        top, number = (
            0.5 * style.text_width_in(label, size, bold=True) / scene.second_in if size else 0.0
            for label, size in zip(labels, sizes, strict=True)
        )
        whole = at - max(top, number) > taken
        shown.append((whole, whole or at - number > taken))
        taken = at + 1.1 * (max(top, number) if whole else number) if shown[-1][1] else taken
    return shown


def _widest(values: Sequence[float]) -> str:
    """As many digits as the longest of the rounded values has."""
    return "0" * max((len(f"{value:.0f}") for value in values), default=1)


def _label_size(
    text: str, wanted: float, room_in: float, share: float = 0.86, smallest: float = 6.5
) -> float | None:
    """Size at which a label fits into its room; None when it would be too small to read."""
    size = style.fitting_size(text, wanted, share * room_in, bold=True)
    return size if size >= smallest else None
