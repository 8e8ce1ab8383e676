"""The picture of one set: how high, how fast, and how each rep was started."""

from __future__ import annotations

from typing import TYPE_CHECKING

from matplotlib.figure import Figure

from armarc.exercises import Exercise
from armarc.motion import ArmMotion
from armarc.report import picture_parts, style
from armarc.report import wording as words
from armarc.report.answers import flag_words
from armarc.report.picture_parts import SIDE_IN, KeyItem
from armarc.report.set_panels import Scene, angle_panel, number_size_of, scene_of, speed_panel, start_panel
from armarc.report.style import Palette
from armarc.reps.types import MeasuredSet

if TYPE_CHECKING:
    from matplotlib.axes import Axes

_LEFT_IN = 1.2
_RIGHT_IN = 1.05
_HEAD_IN = 1.3
_ANGLE_IN = 3.2
_SPEED_IN = 2.7
_START_IN = 1.9
_TITLE_IN = 0.66
_TIME_IN = 0.72


def draw_set(
    motion: ArmMotion,
    measured: MeasuredSet,
    *,
    exercise: Exercise | None = None,
    width_in: float | None = None,
    dark: bool = False,
) -> Figure:
    """Draw one set.

    Parameters
    ----------
    motion : ArmMotion
        The motion the set was measured on.
    measured : MeasuredSet
        One rep or more.
    exercise : Exercise or None
        The entry with the gate and the loaded range that were in effect; None for the catalogue's.
    width_in : float or None, inch
        None for one that leaves each rep some room.
    dark : bool
        Light on dark.

    Returns
    -------
    matplotlib.figure.Figure
        Write it with `save_figure`.

    Raises
    ------
    ValueError
        A set without a rep.
    """
    if not measured.reps:
        raise ValueError("expected a set with at least one rep, got none")
    entry = words.exercise_of(measured) if exercise is None else exercise
    palette = style.palette_for(dark)
    with style.look(palette):
        n = len(measured.reps)
        width = min(18.0, max(9.0, 9.0 + 0.28 * (n - 14))) if width_in is None else width_in
        return _draw(motion, measured, entry, palette, width)


def _draw(
    motion: ArmMotion, measured: MeasuredSet, exercise: Exercise, palette: Palette, width: float
) -> Figure:
    scene = scene_of(motion, measured, exercise, palette, width - _LEFT_IN - _RIGHT_IN)
    key = picture_parts.key_rows(_key(scene), width - 2 * SIDE_IN)
    foot = picture_parts.foot_lines(_notes(scene, motion, measured, exercise), width)
    key_in = 0.2 + 0.3 * len(key)
    foot_in = picture_parts.foot_height_in(foot)
    height = _HEAD_IN + key_in + 3 * _TITLE_IN + _ANGLE_IN + _SPEED_IN + _TIME_IN + _START_IN + 0.75 + foot_in
    figure = Figure(figsize=(width, height), facecolor=palette.paper)
    page = picture_parts.canvas(figure)
    _headline(page, scene, measured, exercise)
    picture_parts.draw_key(page, palette, key, height - _HEAD_IN - 0.14)

    inner = width - _LEFT_IN - _RIGHT_IN
    top = _HEAD_IN + key_in + _TITLE_IN
    picture_parts.panel_title(
        page, words.COORDINATES.get(motion.coordinate, "Angle"), "degrees", height - top + 0.16
    )
    angle_panel(style.inch_axes(figure, _LEFT_IN, top, inner, _ANGLE_IN), scene, motion)
    top += _ANGLE_IN + _TITLE_IN
    picture_parts.panel_title(
        page, "Velocity", "degrees per second, lowering below zero", height - top + 0.16
    )
    speed_panel(style.inch_axes(figure, _LEFT_IN, top, inner, _SPEED_IN), scene)
    top += _SPEED_IN + _TIME_IN + _TITLE_IN
    picture_parts.panel_title(
        page, "Start velocity", "degrees per second; bars: ± standard error", height - top + 0.16
    )
    start_panel(style.inch_axes(figure, _LEFT_IN, top, inner, _START_IN), scene)
    picture_parts.draw_foot(page, palette, foot)
    return figure


def _key(scene: Scene) -> list[KeyItem]:
    p = scene.palette
    low, high = scene.gate_deg
    from_where = "above the bottom" if scene.gate_from == "bottom" else "from straight down"
    items = [
        KeyItem(words="raising", fill=p.raising),
        KeyItem(words="held at the top", fill=p.hold),
        KeyItem(words="lowering", fill=p.lowering),
        KeyItem(words=f"start gate, {low:g}–{high:g}° {from_where}", fill=p.paper, edge=p.ink),
    ]
    if scene.band_deg_s:
        for verdict, said in (
            ("below", "start below the band"),
            ("inside", "inside"),
            ("above", "above"),
        ):
            mark = style.verdict_mark(verdict, p)
            items.append(KeyItem(words=said, marker=mark.marker, filled=mark.filled, colour=mark.colour))
    else:
        items.append(KeyItem(words="start velocity", marker="s", filled=False, colour=p.ink))
    return items


def _notes(scene: Scene, motion: ArmMotion, measured: MeasuredSet, exercise: Exercise) -> list[str]:
    notes = []
    if scene.letters and number_size_of(scene):
        told = "; ".join(f"{letter} {flag_words(flag)}" for flag, letter in scene.letters.items())
        notes.append(f"Marked reps: {told}.")
    elif scene.letters:  # no room for marks
        flagged = {flag: sum(flag in rep.quality for rep in scene.reps) for flag in scene.letters}
        told = "; ".join(f"{flag_words(flag)} ({count})" for flag, count in flagged.items())
        notes.append(f"Of {len(scene.reps)} reps: {told}.")
    unknown = [rep for rep in measured.reps if rep.start_velocity_rad_s is None]
    if any("no_gate" not in rep.quality for rep in unknown):
        notes.append("– no start velocity: the gate was not crossed cleanly.")
    notes.append(words.measured_how(motion, exercise.sensor_place))
    ranges = [] if measured.band is None else [measured.band.picture_words]
    ranges += ["working loaded range, no source"] if scene.loaded_deg else []
    if ranges:
        said = "; ".join(ranges)
        notes.append(f"{said[0].upper()}{said[1:]}.")
    notes.append(words.CAUTION)
    return notes


def _headline(page: Axes, scene: Scene, measured: MeasuredSet, exercise: Exercise) -> None:
    score = score_words = ""
    inside = sum(rep.start_verdict == "inside" for rep in measured.reps)
    judged = sum(rep.start_verdict is not None for rep in measured.reps)
    if scene.band_deg_s and judged:
        score = f"{inside} of {judged}"
        score_words = f"started in the band, {scene.band_deg_s[0]:g}–{scene.band_deg_s[1]:g} °/s"
    picture_parts.headline(
        page, scene.palette, title=exercise.name, facts=words.set_facts(measured), score=score,
        score_words=score_words, all_inside=inside == judged,
    )  # fmt: skip
