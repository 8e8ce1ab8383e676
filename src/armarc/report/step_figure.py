"""One rep step by step, for explaining: hanging, through the gate, fastest, top, lowering, back."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from matplotlib.figure import Figure
from matplotlib.patches import Wedge

from armarc.exercises import Exercise
from armarc.motion import ArmMotion
from armarc.report import picture_parts, style
from armarc.report import wording as words
from armarc.report.answers import flag_words
from armarc.report.picture_parts import SIDE_IN
from armarc.report.style import Palette
from armarc.reps.types import MeasuredSet, Rep

if TYPE_CHECKING:
    from matplotlib.axes import Axes

_HEAD_IN, _TEXT_IN, _GAP_IN = 1.3, 1.0, 0.15
_NARROW_IN = 10.0
_ARM, _TRUNK = 1.0, 1.15
"""Lengths in the drawing, in arms."""


@dataclass(frozen=True, slots=True)
class _Step:
    name: str
    angle_rad: float
    swept_rad: tuple[float, float]
    lines: tuple[str, ...]
    fill: str
    colour: str


def draw_steps(
    motion: ArmMotion,
    measured: MeasuredSet,
    number: int,
    *,
    exercise: Exercise | None = None,
    width_in: float | None = None,
    dark: bool = False,
) -> Figure:
    """Draw a rep in six steps, each with what was measured there.

    Parameters
    ----------
    motion : ArmMotion
        The motion the set was measured on.
    measured : MeasuredSet
    number : int
        Of the rep in its set, from 1.
    exercise : Exercise or None
        The entry with the gate that was in effect; None for the catalogue's.
    width_in : float or None, inch
    dark : bool
        Light on dark.

    Raises
    ------
    ValueError
        The set has no such rep.
    """
    rep = next((one for one in measured.reps if one.rep == number), None)
    if rep is None:
        raise ValueError(f"expected a rep from 1 to {len(measured.reps)}, got {number}")
    entry = words.exercise_of(measured) if exercise is None else exercise
    palette = style.palette_for(dark)
    with style.look(palette):
        return _draw(motion, measured, rep, entry, palette, 12.0 if width_in is None else width_in)


def _draw(
    motion: ArmMotion, measured: MeasuredSet, rep: Rep, entry: Exercise, palette: Palette, width: float
) -> Figure:
    steps = _steps(rep, _low(rep, motion), entry, palette, float(motion.angle_rad[rep.top_sample]))
    columns = 2 if width < _NARROW_IN else 3
    rows = math.ceil(len(steps) / columns)
    cell = (width - 2 * SIDE_IN - (columns - 1) * _GAP_IN) / columns
    tall = cell * 0.95
    notes = [words.measured_how(motion, entry.sensor_place), *words.cautions_for((measured.exercise,))]
    is_raise = motion.coordinate == "elevation"
    # Other movements have no zero that can be drawn: they are turned so that the arm begins downward.
    zero_rad = 0.0 if is_raise else _low(rep, motion)
    # A right arm is drawn on the right, as who stands behind the lifter sees it.
    seen = "Seen from behind, as if every rep went straight to the side."
    notes.insert(
        0, seen if is_raise else "Drawn from where the rep begins; the angles are the movement's own."
    )
    if measured.band is not None:
        band = measured.band.picture_words
        notes.insert(0, f"{band[0].upper()}{band[1:]}.")
    if rep.quality:
        notes.insert(0, f"This rep: {'; '.join(flag_words(flag) for flag in rep.quality)}.")
    foot = picture_parts.foot_lines(notes, width)
    height = _HEAD_IN + rows * (tall + _TEXT_IN) + picture_parts.foot_height_in(foot)
    figure = Figure(figsize=(width, height), facecolor=palette.paper)
    page = picture_parts.canvas(figure)
    title, facts = f"Rep {rep.rep}, step by step", f"{entry.name}  ·  {words.set_facts(measured)}"
    picture_parts.headline(
        page, palette, title=title, facts=facts, score="", score_words="", all_inside=False
    )
    for k, step in enumerate(steps):
        left = SIDE_IN + (k % columns) * (cell + _GAP_IN)
        top = _HEAD_IN + (k // columns) * (tall + _TEXT_IN)
        axes = style.inch_axes(figure, left, top, cell, tall)
        if is_raise:
            _draw_body(axes, palette, -1 if measured.side == "left" else 1)
        _draw_arm(axes, step, palette, -1 if measured.side == "left" else 1, zero_rad)
        y = height - top - tall
        name = f"{k + 1}  {step.name}"
        size = style.fitting_size(name, style.SIZE_HEAD, cell, bold=True)
        page.text(left, y - 0.22, name, size=size, weight="bold", va="baseline")
        for i, line in enumerate(step.lines):
            size = style.fitting_size(line, style.SIZE_TEXT, cell)
            page.text(left, y - 0.48 - 0.24 * i, line, size=size, va="baseline", color=step.colour)
    picture_parts.draw_foot(page, palette, foot)
    return figure


def _low(rep: Rep, motion: ArmMotion) -> float:
    """Where a rep begins; where it ends, if the recording lacks its beginning."""
    return float(motion.angle_rad[rep.stop_sample - 1]) if rep.bottom_rad is None else rep.bottom_rad


def _steps(rep: Rep, low: float, entry: Exercise, palette: Palette, top: float) -> list[_Step]:
    """What happens in a rep, in order, with what was measured there; what the recording does not hold is left out."""
    ink = palette.ink
    steps = []
    if rep.bottom_rad is not None:
        bottom = rep.bottom_rad
        near, far = (bottom + edge for edge in entry.gate_above(bottom))
        mark = style.verdict_mark(rep.start_verdict, palette)
        if rep.start_velocity_rad_s is None:
            start: tuple[str, ...] = ("the gate was not passed",)
        else:
            start = (
                f"start velocity {_sure(rep.start_velocity_rad_s, rep.start_velocity_se_rad_s, ' °/s')}",
            )
            if rep.start_verdict is not None:
                start += (f"{rep.start_verdict} the band",)
        steps += [
            _Step(
                "At the bottom",
                bottom,
                (bottom, bottom),
                (_sure(bottom, rep.bottom_se_rad, "°"),),
                palette.paper,
                ink,
            ),
            _Step("Through the start gate", far, (max(near, bottom), far), start, mark.colour, mark.colour),
        ]
    if rep.bottom_rad is not None and rep.peak_concentric_at_rad is not None:
        at = rep.peak_concentric_at_rad
        peak = _sure(rep.peak_concentric_rad_s, rep.peak_concentric_se_rad_s, " °/s")
        raised = f"raised in {_seconds(rep.concentric_s)}"
        steps.append(
            _Step(
                "Fastest",
                at,
                (rep.bottom_rad, at),
                (f"{peak} at {_degrees(at)}", raised),
                palette.raising,
                ink,
            )
        )
    if rep.top_rad is not None:
        ranged = f"range {_sure(rep.rom_rad, rep.rom_se_rad, '°')}, held {_seconds(rep.hold_s)}"
        reached = (_sure(rep.top_rad, rep.top_se_rad, "°"), ranged)
        steps.append(_Step("At the top", rep.top_rad, (low, rep.top_rad), reached, palette.raising, ink))
    if "top_end" not in rep.unseen or "end" not in rep.unseen:
        held = rep.least_held_share
        lowered: tuple[str, ...] = (f"takes {_seconds(rep.eccentric_s)}",)
        lowered += () if held is None else (f"at least {100 * held:.0f} % held (100 is as if still)",)
        middle = 0.5 * (low + top)
        steps.append(_Step("Lowering", middle, (middle, top), lowered, palette.lowering, ink))
    if "end" not in rep.unseen:
        tension = f"{_seconds(rep.time_under_tension_s)} under tension"
        steps.append(_Step("Back", low, (low, top), (tension,), palette.lowering, ink))
    return steps


def _seconds(value_s: float | None) -> str:
    return "–" if value_s is None else f"{value_s:.1f} s"


def _degrees(angle_rad: float) -> str:
    return style.degrees_text(math.degrees(angle_rad))


def _sure(value_rad: float | None, se_rad: float | None, unit: str) -> str:
    """An angle or a rate in degrees with its standard error, where it has one."""
    if value_rad is None:
        return "–"
    off = "" if se_rad is None else f" ± {math.degrees(se_rad):.1f}"
    return f"{math.degrees(value_rad):.0f}".replace("-", "−") + off + unit


def _draw_body(axes: Axes, palette: Palette, side: int) -> None:
    """Trunk, head and the other arm."""
    middle = -0.22 * side
    for start, stop, width in (
        ((middle, 0.02), (middle, -_TRUNK), 9),
        ((0, 0), (2 * middle, 0), 9),
        ((2 * middle, 0), (2 * middle, -0.95), 7),
    ):
        axes.plot(*zip(start, stop, strict=True), color=palette.rule, lw=width, solid_capstyle="round")
    axes.plot(middle, 0.3, "o", ms=26, color=palette.rule)


def _draw_arm(axes: Axes, step: _Step, palette: Palette, side: int, zero_rad: float) -> None:
    """The arm at an angle, which points downward at `zero_rad`, and what it went through."""
    axes.set_xlim(*sorted((-0.55 * side, 1.25 * side)))
    axes.set_ylim(-1.3, 1.25)
    axes.set_aspect("equal")
    axes.set_axis_off()

    def along(length: float) -> tuple[float, float]:
        drawn_rad = step.angle_rad - zero_rad
        return side * length * math.sin(drawn_rad), -length * math.cos(drawn_rad)

    low, high = (math.degrees(one - zero_rad) for one in step.swept_rad)
    ends = (low - 90, high - 90) if side > 0 else (-90 - high, -90 - low)
    if high > low:
        axes.add_patch(Wedge((0, 0), 0.92 * _ARM, *ends, facecolor=step.fill, edgecolor="none", alpha=0.8))
    axes.plot(*zip((0, 0), along(_ARM), strict=True), color=palette.ink, lw=8, solid_capstyle="round")
    axes.plot(0, 0, "o", ms=9, color=palette.ink)
    x, y = along(1.2)
    axes.text(
        x, y, _degrees(step.angle_rad), size=style.SIZE_TEXT, ha="center", va="center", weight="bold",
        color=palette.ink,
    )  # fmt: skip
