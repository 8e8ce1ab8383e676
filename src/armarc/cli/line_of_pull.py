"""``armarc line-of-pull``: geometry of the deltoid and the supraspinatus by plane and hand rotation."""

from __future__ import annotations

import math
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from armarc.cli.load_tables import OfRecording, degrees_option, measured_sets, print_table, save_picture, say
from armarc.cli.log_options import AsJson, print_json, say_cautions
from armarc.cli.outputs import Dark, Force, Plot, check_picture, guard_for
from armarc.outputs import Guard

if TYPE_CHECKING:
    from armarc.load.moment_arms import LineOfPull

HANDS = {"thumb-up": 45.0, "level": 0.0, "little-finger-up": -45.0}
NEUTRAL = "neutral"
"""The hand as it comes when nothing turns on the way up: in plane γ the thumb ends γ above level."""
SHOWN = ("thumb-up", NEUTRAL, "little-finger-up")
TABLE_DEG = (15, 30, 45, 60, 75, 90, 105, 120)


def line_of_pull(
    recording: Annotated[
        Path | None,
        typer.Argument(metavar="FILE", help="Take plane and hand rotation from this recording."),
    ] = None,
    plane: Annotated[
        list[str] | None,
        typer.Option(
            help="Plane of the raise, degrees: 0 frontal, 30 scapular, 90 forward; may be repeated."
        ),
    ] = None,
    hand: Annotated[
        list[str] | None,
        typer.Option(
            help="Hand with the arm level: neutral (nothing turned on the way up), thumb-up (thumb 45° up), level, "
            "little-finger-up (45° down) or the thumb's elevation in degrees; may be repeated."
        ),
    ] = None,
    shoulder_share: Annotated[
        float,
        typer.Option(
            help="Share of the hand's turn made by the shoulder, 0 to 1; the forearm does the rest."
        ),
    ] = 1.0,
    elevation: Annotated[str | None, typer.Option(help="Only this elevation, degrees (10 to 120).")] = None,
    exercise: OfRecording = None,
    as_json: AsJson = False,
    plot: Plot = None,
    dark: Dark = False,
    force: Force = False,
) -> None:
    """Show by how much each part of the deltoid and the supraspinatus could lift, as geometry.

    Moment arms from a published model, not from cadavers, and not muscle activity.
    """
    import numpy as np

    from armarc.load.moment_arms import DISAGREEMENTS, LIMITS, SOURCE, axial_rotation, lines_of_pull

    guard = guard_for([recording], force=force)
    check_picture(plot, guard)
    notes: list[str] = []
    if recording is not None:
        cases = _measured(recording, exercise, plane, hand)
    else:
        cases = [
            (plane_rad, *_hand(h, plane_rad))
            for plane_rad in (degrees_option(p, "a plane", 0, 90) or 0.0 for p in (plane or ["0"]))
            for h in (hand or SHOWN)
        ]
    at = degrees_option(elevation, "an elevation", 10, 120)
    shown = np.radians(np.array(TABLE_DEG, float)) if at is None else np.array([at])
    found = []
    for plane_rad, name, hand_rad in cases:
        rotation = axial_rotation(plane_rad, hand_rad, shoulder_share)
        lines, said = lines_of_pull(plane_rad, rotation, shown)
        label = f"plane {math.degrees(plane_rad):.0f}°, {name}"
        found.append((label, plane_rad, hand_rad, rotation, lines))
        notes += [f"{label}: {line}." for line in said]
    share = (
        "The tables know the upper arm's own rotation. "
        f"{'All' if shoulder_share == 1 else f'{100 * shoulder_share:.0f} %'} of the hand's turn was put down to "
        "the shoulder; what the forearm does changes nothing here (--shoulder-share)."
    )
    words = [*notes, share, SOURCE, LIMITS, *DISAGREEMENTS]
    if as_json:
        print_json(_record(found, shown, words))
    else:
        heads = ("Position", "Muscle", *(f"{math.degrees(a):.0f}°" for a in shown))
        rows = [
            (label, line.muscle, *(_mm(v) for v in line.moment_arm_m))
            for label, _, _, _, lines in found
            for line in lines
        ]
        spare = (2, 9, 4, 6, 8) if len(shown) > 1 else ()
        title = "Moment arm for raising, mm by elevation (above zero lifts)"
        print_table(title, heads, rows, left=2, spare=spare)
        say(words)
        say_cautions(())
    if plot is not None:
        _draw(found, shoulder_share, [*notes, share, SOURCE, LIMITS], plot, dark, guard)


def _hand(text: str, plane_rad: float) -> tuple[str, float]:
    from armarc.errors import UsageError

    word = text.strip().casefold()
    if word == NEUTRAL:
        return word, plane_rad
    if word in HANDS:
        degrees = HANDS[word]
        return word.replace("-", " "), math.radians(degrees)
    try:
        value = degrees_option(text, "a hand rotation", -90, 90)
    except UsageError:
        raise UsageError(
            f"expected a hand position, got {text!r}",
            f"one of {NEUTRAL}, {', '.join(HANDS)}, or the thumb's elevation in degrees (-90 to 90)",
        ) from None
    assert value is not None
    return _thumb(value), value


def _thumb(angle_rad: float) -> str:
    return f"thumb {round(math.degrees(angle_rad)):+d}°"


def _measured(
    path: Path, exercise: str | None, plane: list[str] | None, hand: list[str] | None
) -> list[tuple[float, str, float]]:
    from armarc.errors import UsageError

    session = measured_sets(path, exercise)
    out = []
    for measured in session.sets:
        planes = [r.plane_rad for r in measured.reps if r.plane_rad is not None]
        hands = [r.hand_rotation_rad for r in measured.reps if r.hand_rotation_rad is not None]
        if not planes and not plane:
            raise UsageError(
                "the recording does not tell the plane of the raise",
                "it needs a reference (armarc process --help, --reference and --strap), or give --plane",
            )
        if not hands and not hand:
            raise UsageError(
                "the recording does not tell the hand's rotation",
                "it needs a reference (armarc process --help, --reference and --strap), or give --hand",
            )
        stated = degrees_option(plane[0], "a plane", 0, 90) if plane else sum(planes) / len(planes)
        clipped = min(max(stated or 0.0, 0.0), math.pi / 2)
        name, hand_rad = _hand(hand[0], clipped) if hand else ("", sum(hands) / len(hands))
        words = name or _thumb(hand_rad)
        out.append((clipped, f"set {measured.set}, {words}", hand_rad))
    return out


def _mm(value_m: float) -> str:
    return "–" if math.isnan(value_m) else f"{1000 * value_m:+.0f}"


def _record(
    found: list[tuple[str, float, float, float, tuple[LineOfPull, ...]]], shown: Any, words: list[str]
) -> dict[str, object]:
    positions = []
    for label, plane_rad, hand_rad, rotation, lines in found:
        positions.append(
            {
                "position": label,
                "plane_deg": round(math.degrees(plane_rad), 3),
                "hand_rotation_deg": round(math.degrees(hand_rad), 3),
                "axial_rotation_deg": round(math.degrees(rotation), 3),
                "moment_arm_mm": {
                    line.muscle.replace(" ", "_"): [
                        None if math.isnan(v) else round(1000 * float(v), 2) for v in line.moment_arm_m
                    ]
                    for line in lines
                },
            }
        )
    return {
        "schema": "armarc.line_of_pull/1",
        "elevation_deg": [round(math.degrees(float(a)), 3) for a in shown],
        "positions": positions,
        "notes": words,
    }


def _draw(
    found: list[tuple[str, float, float, float, tuple[LineOfPull, ...]]],
    shoulder_share: float,
    notes: list[str],
    path: Path,
    dark: bool,
    guard: Guard,
) -> None:
    import numpy as np

    from armarc.load.moment_arms import MUSCLES, lines_of_pull
    from armarc.report.load_figures import Curve, draw_lines_of_pull

    fine = np.radians(np.arange(10.0, 120.5, 1.0))
    panels = []
    for i, muscle in enumerate(MUSCLES):
        curves = []
        for label, plane_rad, _, rotation, _ in found:
            lines, _ = lines_of_pull(plane_rad, rotation, fine)
            curves.append(Curve(label=label, x=np.degrees(fine), y=1000 * lines[i].moment_arm_m))
        panels.append((muscle.capitalize(), curves))
    figure = draw_lines_of_pull(
        panels,
        title="Line of pull: how well each muscle could lift",
        facts="moment arm in mm by elevation in degrees; above zero lifts, below zero lowers",
        notes=notes,
        dark=dark,
    )
    save_picture(figure, path, guard)
