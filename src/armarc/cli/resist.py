"""``armarc resist``: which resistance loads which part of the range."""

from __future__ import annotations

import re
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from armarc.cli.load_tables import (
    WhoseBody,
    degrees_option,
    measured_sets,
    number,
    print_table,
    range_option,
    save_picture,
    say,
)
from armarc.cli.log_options import AsJson, print_json, say_cautions
from armarc.cli.outputs import Dark, Force, Plot, check_picture, guard_for
from armarc.outputs import Guard

if TYPE_CHECKING:
    from armarc.load.comparison import Compared, TemplateRep
    from armarc.load.resistance import Resistance

EXAMPLES = (
    "dumbbell:8kg",
    "cable:8kg,pulley=-0.5/-1.2/0",
    "cable:8kg,pulley=-0.5/-0.6/0",
    "cable:8kg,pulley=-0.5/0/0.1",
    "band:60N/m,length=0.7,anchor=0/-1.4/0",
    "machine:30Nm",
)


def resist(
    variants: Annotated[
        list[str] | None,
        typer.Argument(
            metavar="RESISTANCE…",
            help='Such as 8kg, "cable:20kg,pulley=-0.6/-0.9/0,ratio=2" (pulley: out/up/forward of the shoulder '
            "in m; out is negative on the far side of the body, where a raise is resisted), "
            '"band:120N/m,length=0.9,anchor=0.1/-1.3/0", machine:30Nm, or a .toml file; join with + '
            "what pulls at once.",
        ),
    ] = None,
    recording: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Use a measured rep of this recording.")
    ] = None,
    set_number: Annotated[int, typer.Option("--set", help="Which set of the recording.")] = 1,
    rep_number: Annotated[
        int | None, typer.Option("--rep", help="Which rep; the most typical one otherwise.")
    ] = None,
    exercise: Annotated[str | None, typer.Option("--exercise", "-e", help="See `armarc exercises`.")] = None,
    side: Annotated[str | None, typer.Option(help="right or left arm.")] = None,
    heights: Annotated[
        str | None,
        typer.Option(
            metavar="M,M,…",
            help="Show every cable from these pulley heights, m above (-) the shoulder: such as=-1.2,-0.6,0.",
        ),
    ] = None,
    match: Annotated[
        bool, typer.Option("--match", help="Scale all to the first one's work on the way up.")
    ] = False,
    bottom: Annotated[str, typer.Option(help="Bottom of the idealised rep, degrees.")] = "5",
    top: Annotated[str, typer.Option(help="Top of the idealised rep, degrees.")] = "90",
    up: Annotated[float, typer.Option(help="Seconds up.")] = 1.5,
    hold: Annotated[float, typer.Option(help="Seconds at the top.")] = 0.0,
    down: Annotated[float, typer.Option(help="Seconds down.")] = 2.0,
    plane: Annotated[
        str, typer.Option(help="Plane of the raise where it is not measured: 0 to the side, 90 forward.")
    ] = "0",
    loaded_range: Annotated[
        str | None, typer.Option(metavar="LOW-HIGH", help="Range you want loaded, degrees.")
    ] = None,
    elbow: Annotated[str, typer.Option(help="Elbow bend held through the rep, degrees.")] = "0",
    lifter: WhoseBody = None,
    as_json: AsJson = False,
    plot: Plot = None,
    dark: Dark = False,
    force: Force = False,
) -> None:
    """Compare resistances on the same rep: where each peaks and how much falls inside the loaded range.

    Without a resistance a few examples are shown, scaled to the same work.
    """
    from armarc.errors import UsageError
    from armarc.exercises import find_exercise
    from armarc.load.comparison import compare, ideal_template, matched
    from armarc.load.grammar import parse_resistances
    from armarc.load.lifter import load_lifters

    guard = guard_for([recording, *map(Path, variants or [])], force=force)
    check_picture(plot, guard)
    if side is not None and side not in ("right", "left"):
        raise UsageError(f"{side!r} is not a side", "say right or left")
    examples = not variants
    resistances = [parse_resistances(text) for text in (variants or list(EXAMPLES))]
    if heights is not None:
        resistances = _at_heights(resistances, heights)
    body = load_lifters().find(lifter)
    plane_rad = degrees_option(plane, "a plane", -90, 180) or 0.0
    elbow_rad = degrees_option(elbow, "an elbow bend", 0, 120) or 0.0
    loaded = range_option(loaded_range) if loaded_range else None
    if recording is None:
        template = ideal_template(
            bottom_rad=degrees_option(bottom, "a bottom", 0, 170) or 0.0,
            top_rad=degrees_option(top, "a top", 1, 180) or 0.0,
            concentric_s=up,
            hold_s=hold,
            eccentric_s=down,
            plane_rad=plane_rad,
            side=side or "right",
        )
        loaded = loaded or find_exercise(exercise or "lateral-raise").loaded_range_rad
    else:
        template, from_exercise = _measured(
            recording, set_number, rep_number, exercise=exercise, side=side, plane_rad=plane_rad
        )
        loaded = loaded or from_exercise
    if match or examples:
        resistances = matched(template, resistances, body, elbow_rad=elbow_rad)
    found = compare(template, resistances, body, loaded_range_rad=loaded, elbow_rad=elbow_rad)
    notes = [f"{line}." for line in template.notes]
    if body.assumed:
        notes.append(f"Assumed: {'; '.join(body.assumed)}.")
    if examples:
        notes.insert(0, "No resistance was named: these are examples, scaled to the same work on the way up.")
    elif match:
        notes.insert(0, "All scaled to the first one's work on the way up.")
    if as_json:
        _print_json(found, template, loaded, notes)
    else:
        _print(found, template, loaded, notes)
    if plot is not None:
        _draw(found, template, loaded, notes, plot, dark, guard)


def _at_heights(resistances: list[tuple[Resistance, ...]], text: str) -> list[tuple[Resistance, ...]]:
    from armarc.errors import UsageError
    from armarc.load.comparison import at_heights
    from armarc.load.resistance import Cable

    try:
        heights = tuple(float(part) for part in text.split(","))
    except ValueError:
        raise UsageError(f"expected pulley heights in m, got {text!r}", "for example -1.2,-0.6,0") from None
    out: list[tuple[Resistance, ...]] = []
    for variant in resistances:
        if len(variant) == 1 and isinstance(variant[0], Cable):
            out.extend(at_heights(variant[0], heights))
        else:
            out.append(variant)
    return out


def _measured(
    path: Path,
    set_number: int,
    rep_number: int | None,
    *,
    exercise: str | None,
    side: str | None,
    plane_rad: float,
) -> tuple[TemplateRep, tuple[float, float] | None]:
    from armarc.errors import UsageError
    from armarc.load.comparison import measured_template, middle_rep

    session = measured_sets(path, exercise, side)
    if not 1 <= set_number <= len(session.sets):
        raise UsageError(f"there is no set {set_number}", f"the recording has {len(session.sets)}")
    measured = session.sets[set_number - 1]
    if rep_number is None:
        rep = middle_rep(measured.reps)
    elif 1 <= rep_number <= len(measured.reps):
        rep = measured.reps[rep_number - 1]
    else:
        raise UsageError(f"there is no rep {rep_number}", f"set {set_number} has {len(measured.reps)}")
    motion = session.motions[session.motion_of_set[set_number - 1]]
    return measured_template(motion, rep, plane_rad), session.choices.exercise.loaded_range_rad


def _range_words(loaded: tuple[float, float] | None) -> str:
    import math

    return f"{math.degrees(loaded[0]):.0f}–{math.degrees(loaded[1]):.0f}°" if loaded else "–"


def _print(
    found: list[Compared], template: TemplateRep, loaded: tuple[float, float] | None, notes: list[str]
) -> None:
    import math

    from armarc.load.table import LOAD_CAUTIONS

    inside = _range_words(loaded)
    heads = (
        "Resistance",
        "Peak up\nN·m",
        "at °",
        "Mean\nN·m",
        f"Work in\n{inside} %",
        f"Impulse in\n{inside} %",
        "Work up\nJ",
    )
    rows = []
    for each in found:
        m = each.measures
        rows.append(
            (
                each.label + _marks(each),
                number(m.peak_concentric_moment_n_m),
                number(math.degrees(m.peak_concentric_moment_at_rad), 0),
                number(m.mean_moment_over_angle_n_m),
                number(_percent(None if each.helps else m.loaded_work_share), 0),
                number(_percent(None if each.helps else m.loaded_impulse_share), 0),
                number(m.concentric_work_j),
            )
        )
    print_table(f"Shoulder moment · {template.name}", heads, rows, spare=(6, 5, 3))
    said = []
    best = _best(found)
    if best is not None and len(found) > 1:
        share = best.measures.loaded_work_share or 0.0
        near = [
            e.label
            for e in found
            if e is not best and not e.helps and (e.measures.loaded_work_share or 0) > share - 0.02
        ]
        level = f"; within 2 %: {', '.join(near)}" if near else ""
        said.append(
            f"Most inside {inside}: {best.label} ({100 * share:.0f} % of the work on the way up{level})."
        )
    helping = [each.label for each in found if each.helps]
    if helping:
        said.append(
            f"Lifts the arm itself in part of the way up (negative moment), so it is not ranked: "
            f"{'; '.join(helping)}. Is the pulley or anchor on the far side of the body?"
        )
    said += ["Mean and work: over the angle on the way up, the arm's own weight included.", *notes]
    say([*said, *LOAD_CAUTIONS])
    say_cautions(())


def _percent(share: float | None) -> float | None:
    return None if share is None else 100 * share


def _marks(each: Compared) -> str:
    return (" (slack in part)" if each.slack else "") + (" (helps in part)" if each.helps else "")


def _best(found: list[Compared]) -> Compared | None:
    with_share = [each for each in found if each.measures.loaded_work_share is not None and not each.helps]
    return max(with_share, key=lambda each: each.measures.loaded_work_share or 0.0, default=None)


def _print_json(
    found: list[Compared], template: TemplateRep, loaded: tuple[float, float] | None, notes: list[str]
) -> None:
    import math

    import numpy as np

    from armarc.load.records import measures_record, series
    from armarc.load.table import LOAD_CAUTIONS

    best = _best(found)
    variants: list[dict[str, object]] = []
    for each in found:
        variants.append(
            {
                "resistance": each.label,
                **measures_record(each.measures),
                "peak_moment_phase": each.measures.peak_moment_phase,
                "slack_in_part": each.slack,
                "helps_in_part": each.helps,
                "curve": {
                    "angle_deg": [round(float(a), 3) for a in np.degrees(each.angle_rad)],
                    "concentric_n_m": series(each.concentric_n_m),
                    "eccentric_n_m": series(each.eccentric_n_m),
                },
            }
        )
    print_json(
        {
            "schema": "armarc.resist/1",
            "rep": template.name,
            "loaded_range_deg": [round(math.degrees(a), 3) for a in loaded] if loaded else None,
            "variants": variants,
            "most_inside_loaded_range": best.label if best else None,
            "assumptions": notes,
            "cautions": list(LOAD_CAUTIONS),
        }
    )


def _draw(
    found: list[Compared],
    template: TemplateRep,
    loaded: tuple[float, float] | None,
    notes: list[str],
    path: Path,
    dark: bool,
    guard: Guard,
) -> None:
    import numpy as np

    from armarc.load.table import LOAD_CAUTIONS
    from armarc.report.load_figures import Curve, draw_moments

    curves = [
        Curve(
            label=each.label + _marks(each),
            x=np.degrees(each.angle_rad),
            y=each.concentric_n_m,
            value=None if each.helps else each.measures.loaded_work_share,
        )
        for each in found
    ]
    figure = draw_moments(
        curves,
        title="Where each resistance loads the shoulder",
        facts=re.sub(r"(\d)-(\d+°)", r"\1–\2", template.name),
        loaded_deg=(float(np.degrees(loaded[0])), float(np.degrees(loaded[1]))) if loaded else None,
        notes=[*notes, *LOAD_CAUTIONS],
        dark=dark,
    )
    save_picture(figure, path, guard)
