"""The picture of a whole recording: where the sets lie and how their reps were started."""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np
from matplotlib.collections import LineCollection
from matplotlib.figure import Figure
from matplotlib.patches import Rectangle
from matplotlib.ticker import FuncFormatter, MaxNLocator, MultipleLocator

from armarc.exercises import Exercise
from armarc.motion import ArmMotion
from armarc.quantities import counted
from armarc.report import picture_parts, style
from armarc.report import wording as words
from armarc.report.picture_parts import SIDE_IN, KeyItem
from armarc.report.style import Palette
from armarc.reps.summary import ANOTHER_EXERCISE
from armarc.reps.types import MeasuredSet

if TYPE_CHECKING:
    from matplotlib.axes import Axes

_LEFT_IN = 1.2
_RIGHT_IN = 0.55
_HEAD_IN = 1.3
_NAMES_IN = 1.25
_ANGLE_IN = 2.6
_START_IN = 2.6
_TITLE_IN = 0.66
_COLUMNS = 2400


def draw_session(
    motion: ArmMotion | Sequence[ArmMotion],
    sets: Sequence[MeasuredSet],
    *,
    exercise: Exercise | None = None,
    width_in: float = 14.0,
    dark: bool = False,
) -> Figure:
    """Draw a whole recording with its sets marked.

    Parameters
    ----------
    motion : ArmMotion or sequence of ArmMotion
        The pieces of the recording, in order of time.
    sets : sequence of MeasuredSet
        May be empty: then only the motion is drawn.
    exercise : Exercise or None
        The entry that was in effect; None for the catalogue's.
    width_in : float, inch
    dark : bool
        Light on dark.

    Raises
    ------
    ValueError
        No motion at all.
    """
    motions = [motion] if isinstance(motion, ArmMotion) else list(motion)
    if not motions or not any(len(m.time_s) for m in motions):
        raise ValueError("expected a motion with samples, got none")
    palette = style.palette_for(dark)
    with style.look(palette):
        entry = exercise or (words.exercise_of(sets[0]) if sets else Exercise(key="unknown", name="Unknown"))
        return _draw(motions, sets, entry.sensor_place, palette, width_in)


def _draw(
    motions: list[ArmMotion], sets: Sequence[MeasuredSet], place: str, palette: Palette, width: float
) -> Figure:
    key = picture_parts.key_rows(_key(sets, palette), width - 2 * SIDE_IN)
    foot = picture_parts.foot_lines(_notes(motions, sets, place), width)
    names_in = _NAMES_IN + (0.24 if _several(sets) else 0.0)
    key_in = 0.2 + 0.3 * len(key)
    height = (
        _HEAD_IN
        + key_in
        + names_in
        + _ANGLE_IN
        + _TITLE_IN
        + _START_IN
        + 1.0
        + picture_parts.foot_height_in(foot)
    )
    figure = Figure(figsize=(width, height), facecolor=palette.paper)
    page = picture_parts.canvas(figure)
    _headline(page, palette, motions, sets)
    picture_parts.draw_key(page, palette, key, height - _HEAD_IN - 0.14)

    inner = width - _LEFT_IN - _RIGHT_IN
    start_s, end_s = float(motions[0].time_s[0]), float(motions[-1].time_s[-1])
    end_s = max(end_s, start_s + 1.0)
    top = _HEAD_IN + key_in + names_in
    said = words.COORDINATES.get(motions[0].coordinate, "Angle")
    upper = style.inch_axes(figure, _LEFT_IN, top, inner, _ANGLE_IN)
    picture_parts.panel_title(page, said, "degrees", height - top + names_in - 0.5)
    _angle_panel(upper, motions, palette)
    top += _ANGLE_IN + _TITLE_IN
    picture_parts.panel_title(page, "Start velocity", "degrees per second", height - top + 0.16)
    lower = style.inch_axes(figure, _LEFT_IN, top, inner, _START_IN)
    _start_panel(lower, _judged(sets), palette)
    for axes in (upper, lower):
        axes.set_xlim(start_s, end_s)
        _minutes(axes, end_s - start_s)
        for measured in sets:
            axes.axvspan(
                measured.start_s, measured.end_s, facecolor=palette.lowering, linewidth=0, zorder=0.5
            )
    upper.tick_params(axis="x", labelbottom=False)
    unit = "min:s" if end_s - start_s > 90 else "s"
    lower.set_xlabel(f"time in the recording, {unit}", size=style.SIZE_TEXT, labelpad=6)
    _set_names(
        page, palette, sets, start_s, inner / (end_s - start_s), height - (_HEAD_IN + key_in + names_in)
    )
    picture_parts.draw_foot(page, palette, foot)
    return figure


def _key(sets: Sequence[MeasuredSet], p: Palette) -> list[KeyItem]:
    items = [KeyItem(words="set", fill=p.lowering, edge=p.hold)]
    if any(measured.band for measured in sets):
        for verdict, said in (("below", "start below the band"), ("inside", "inside"), ("above", "above")):
            mark = style.verdict_mark(verdict, p)
            items.append(KeyItem(words=said, marker=mark.marker, filled=mark.filled, colour=mark.colour))
    else:
        items.append(KeyItem(words="start velocity", marker="s", filled=False, colour=p.ink))
    return items


def _notes(motions: list[ArmMotion], sets: Sequence[MeasuredSet], place: str) -> list[str]:
    notes = [words.measured_how(motions[0], place)]
    bands = dict.fromkeys(measured.band.picture_words for measured in sets if measured.band)
    if bands:
        said = "; ".join(bands)
        notes.append(f"{said[0].upper()}{said[1:]}.")
    return [*notes, words.CAUTION]


def _headline(page: Axes, palette: Palette, motions: list[ArmMotion], sets: Sequence[MeasuredSet]) -> None:
    raises = _judged(sets)
    reps = [rep for measured in raises for rep in measured.reps]
    judged = [rep for rep in reps if rep.start_verdict is not None]
    inside = sum(rep.start_verdict == "inside" for rep in judged)
    names = list(dict.fromkeys(words.exercise_of(measured).name for measured in sets))
    title = names[0] if len(names) == 1 else "Session" if names else "No set found"
    length_s = motions[-1].time_s[-1] - motions[0].time_s[0]
    facts = [counted(len(raises), "set"), counted(len(reps), "rep"), _clock(float(length_s), True)]
    if len(raises) < len(sets):
        facts.insert(2, f"{counted(len(sets) - len(raises), 'set')} of something else")
    sides = {measured.side for measured in sets if measured.side}
    if len(sides) == 1:
        facts.insert(0, f"{sides.pop()} arm")
    picture_parts.headline(
        page, palette, title=title, facts="  ·  ".join(facts),
        score=f"{inside} of {len(judged)}" if judged else "", score_words="reps started in the band",
        all_inside=bool(judged) and inside == len(judged),
    )  # fmt: skip


def _angle_panel(axes: Axes, motions: list[ArmMotion], p: Palette) -> None:
    style.plain_axes(axes, p)
    lows, highs = [], []
    for motion in motions:
        angle = np.where(motion.missing, np.nan, np.degrees(motion.angle_rad))
        for first, stop in picture_parts.stretches(motion.missing):
            axes.axvspan(
                motion.time_s[first], motion.time_s[min(stop, len(angle) - 1)], facecolor=p.paper,
                edgecolor=p.faint, hatch="////", linewidth=0, zorder=2,
            )  # fmt: skip
        if not np.isfinite(angle).any():
            continue
        lows.append(float(np.nanmin(angle)))
        highs.append(float(np.nanmax(angle)))
        x, y = picture_parts.thinned(motion.time_s, angle, max(200, _COLUMNS // len(motions)))
        axes.plot(
            x, y, color=p.ink, linewidth=1.1 if len(motion.time_s) < 600 * motion.rate_hz else 0.6, zorder=4
        )
    low, high = (min(lows), max(highs)) if lows else (0.0, 90.0)
    if motions[0].coordinate == "elevation":
        low = min(0.0, low)
    axes.set_ylim(low - 2, high + 6)
    reach = high - low
    axes.yaxis.set_major_locator(MultipleLocator(60 if reach > 150 else 30 if reach > 60 else 10))
    axes.yaxis.set_major_formatter(FuncFormatter(lambda value, _: style.degrees_text(value)))


def _start_panel(axes: Axes, sets: Sequence[MeasuredSet], p: Palette) -> None:
    style.plain_axes(axes, p)
    levels = []
    for measured in sets:
        if measured.band:
            low, high = math.degrees(measured.band.low_rad_s), math.degrees(measured.band.high_rad_s)
            levels += [low, high]
            axes.add_patch(
                Rectangle(
                    (measured.start_s, low), measured.end_s - measured.start_s, high - low,
                    facecolor=p.inside, alpha=0.3, linewidth=0, zorder=1,
                )
            )  # fmt: skip
            edges = [[(measured.start_s, v), (measured.end_s, v)] for v in (low, high)]
            axes.add_collection(
                LineCollection(edges, colors=p.inside, linewidths=1.4, linestyles=[(0, (4, 3))]),
                autolim=False,
            )
    reps = [rep for measured in sets for rep in measured.reps if rep.start_velocity_rad_s is not None]
    values = [math.degrees(rep.start_velocity_rad_s or 0.0) for rep in reps]
    size = 9.0 if len(reps) <= 120 else 6.0
    picture_parts.draw_marks(
        axes, p, [rep.phases.start_s for rep in reps], values, [rep.start_verdict for rep in reps], size
    )
    if not reps:
        axes.text(
            0.5, 0.5, "no start velocity was measured", transform=axes.transAxes, ha="center", va="center",
            size=style.SIZE_TEXT, color=p.faint,
        )  # fmt: skip
    levels += values
    low, high = (min(levels), max(levels)) if levels else (0.0, 100.0)
    room = max(high - low, 10.0)
    axes.set_ylim(max(0.0, low - 0.15 * room), high + 0.15 * room)
    axes.yaxis.set_major_locator(MaxNLocator(5, steps=[1, 2, 5, 10]))


def _set_names(
    page: Axes, p: Palette, sets: Sequence[MeasuredSet], start_s: float, second_in: float, floor_in: float
) -> None:
    """Name each set above its stretch, as far as there is room."""
    centres = [_LEFT_IN + (0.5 * (m.start_s + m.end_s) - start_s) * second_in for m in sets]
    gaps = [b - a for a, b in pairwise(centres)]
    several, judged_sets = _several(sets), _judged(sets)
    for i, (measured, x) in enumerate(zip(sets, centres, strict=True)):
        room = min([*gaps[max(0, i - 1) : i + 1], 2 * (x - 0.1), 2 * (page.get_xlim()[1] - 0.1 - x)]) - 0.12
        judged = sum(rep.start_verdict is not None for rep in measured.reps)
        inside = sum(rep.start_verdict == "inside" for rep in measured.reps)
        short = counted(len(measured.reps), "rep")
        loaded = short + (f" × {measured.load_kg:g} kg" if measured.load_kg is not None else "")
        facts: list[tuple[str, ...]] = [(f"{loaded}, {inside} in band" if judged else loaded, loaded, short)]
        if measured not in judged_sets:
            facts = [("something else", "other")]
        if several:
            side = f", {measured.side}" if measured.side else ""
            name = words.exercise_of(measured).name
            facts.append((name + side, name))
        y = floor_in + 0.12
        for versions in facts:
            for said in versions:
                size = style.fitting_size(said, style.SIZE_SMALL + 1, room)
                if size >= 8.5:
                    page.text(x, y, said, size=size, ha="center", va="baseline")
                    y += 0.24
                    break
        number = f"set {measured.set}"
        size = style.fitting_size(number, style.SIZE_HEAD, room, bold=True)
        if size < 9.0:
            number = f"{measured.set}"
            size = style.fitting_size(number, style.SIZE_HEAD, room, bold=True)
        page.text(x, y, number, size=max(size, 6.0), ha="center", va="baseline", weight="bold", color=p.ink)


def _several(sets: Sequence[MeasuredSet]) -> bool:
    """Whether the sets differ in exercise or side, so that each must be named."""
    return len({(measured.exercise, measured.side) for measured in sets}) > 1


def _judged(sets: Sequence[MeasuredSet]) -> list[MeasuredSet]:
    """Those with a rep that may be one of the exercise they are called; all of them where there is none."""
    return [one for one in sets if any(ANOTHER_EXERCISE not in rep.quality for rep in one.reps)] or list(sets)


def _minutes(axes: Axes, length_s: float) -> None:
    steps = (5, 10, 15, 30, 60, 120, 300, 600, 900, 1800, 3600)
    axes.xaxis.set_major_locator(MultipleLocator(next((s for s in steps if length_s / s <= 10), 7200)))
    if length_s > 90:
        axes.xaxis.set_major_formatter(FuncFormatter(lambda value, _: _clock(value, False)))


def _clock(seconds: float, words_too: bool) -> str:
    if words_too and seconds < 90:
        return f"{seconds:.0f} s"
    minutes, rest = divmod(round(seconds), 60)
    return f"{minutes}:{rest:02d}" + (" min" if words_too else "")
