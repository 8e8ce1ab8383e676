"""``armarc plan``: simulate the raise for start velocities and loads, under stated assumptions."""

from __future__ import annotations

import math
import statistics
from pathlib import Path
from typing import Annotated, Any

import typer

from armarc.cli.load_tables import OfRecording, WhoseBody, degrees_option, measured_sets, range_option
from armarc.cli.log_options import AsJson, print_json
from armarc.cli.outputs import Dark, Force, Plot, check_picture, guard_for
from armarc.cli.plan_shown import draw_plan_report, show_paced, show_plan


def plan(
    recording: Annotated[
        Path | None,
        typer.Argument(metavar="FILE", help="Scale the shoulder from the measured reps of this recording."),
    ] = None,
    load: Annotated[str | None, typer.Option(help="Dumbbell to plan for, such as 8kg.")] = None,
    resistance: Annotated[
        list[str] | None,
        typer.Option(
            metavar="RESISTANCE", help="Cable, band or machine instead: see `armarc resist --help`."
        ),
    ] = None,
    heaviest: Annotated[
        str | None, typer.Option(help="Heaviest strict single rep, as a dumbbell: such as 14kg.")
    ] = None,
    capacity: Annotated[
        str,
        typer.Option(
            help="Strength by angle: descending, mid-range, flat, or your own degrees:share table such as "
            "0:1,45:0.9,90:0.5."
        ),
    ] = "descending",
    capacity_nm: Annotated[
        float | None, typer.Option(metavar="N·M", help="Largest isometric raising moment, if measured.")
    ] = None,
    pace: Annotated[
        str | None,
        typer.Option(
            metavar="°/s,…",
            help="Plan controlled reps instead of a full effort: start velocities through the gate, such as 57 or "
            "45,57,70.",
        ),
    ] = None,
    tempo: Annotated[
        str, typer.Option(help="Of paced reps: eccentric/pause/concentric/hold in s, from rest to rest.")
    ] = "2/0/1.6/0",
    swing: Annotated[
        float, typer.Option(metavar="CM", help="Body swing of paced reps: travel of the shoulder.")
    ] = 0.0,
    speed_from: Annotated[
        str, typer.Option(help="Who makes the start velocity: body (for nothing) or shoulder.")
    ] = "body",
    aim: Annotated[
        str, typer.Option(help="peak, loaded-peak, mean, loaded-mean, loaded-impulse or work.")
    ] = "loaded-peak",
    effort: Annotated[
        float, typer.Option(help="Share of full effort, 0.3 to 1: below 1 for a raise that is held back.")
    ] = 1.0,
    start: Annotated[
        str | None, typer.Option(help="Start of the raise, degrees: 5, or the recording's median bottom.")
    ] = None,
    top: Annotated[
        str | None, typer.Option(help="Top of the raise, degrees: 90, or the recording's median top.")
    ] = None,
    loaded_range: Annotated[
        str, typer.Option(metavar="LOW-HIGH", help="Range you want loaded, degrees.")
    ] = "30-60",
    fastest_start: Annotated[
        float, typer.Option(metavar="°/s", help="Largest start velocity to try.")
    ] = 150.0,
    plane: Annotated[str, typer.Option(help="Plane of the raise: 0 to the side, 90 forward.")] = "0",
    elbow: Annotated[str, typer.Option(help="Elbow bend held through the raise, degrees.")] = "0",
    explore: Annotated[
        bool, typer.Option("--explore", help="Also draw other plausible shoulders (takes a few seconds).")
    ] = False,
    exercise: OfRecording = None,
    lifter: WhoseBody = None,
    as_json: AsJson = False,
    plot: Plot = None,
    dark: Dark = False,
    force: Force = False,
) -> None:
    """Plan a raise: a full effort over start velocities and loads, or controlled reps at a pace (--pace).

    The shoulder is scaled from your heaviest strict single, from measured reps, from a measured moment, or, with
    nothing given, from a published group mean. Full effort: does it reach the top, and what does the shoulder do.
    With --pace: the moment of a rep of that start velocity, tempo and swing by angle, what the body supplies, and the
    heaviest load that stays within the shoulder's capacity at every angle. A description of a model, not advice to
    swing a load.
    """
    from armarc.errors import UsageError
    from armarc.load.capacity import capacity_curve
    from armarc.load.grammar import parse_all
    from armarc.load.lifter import load_lifters
    from armarc.load.plan_report import PlanQuestion, make_report
    from armarc.load.plan_words import plan_record
    from armarc.load.planning import AIMS
    from armarc.load.resistance import Dumbbell
    from armarc.load.strength import StrengthSource
    from armarc.quantities import parse_load

    guard = guard_for([recording, *map(Path, resistance or [])], force=force)
    check_picture(plot, guard)
    if aim not in AIMS:
        raise UsageError(f"there is no aim {aim!r}", f"one of {', '.join(AIMS)}")
    if speed_from not in ("body", "shoulder"):
        raise UsageError(f"the start velocity comes from the body or the shoulder, got {speed_from!r}")
    if load and resistance:
        raise UsageError(
            "--load and --resistance exclude each other", "join them: --resistance 8kg+band.toml"
        )
    if sum(v is not None for v in (recording, heaviest, capacity_nm)) > 1:
        raise UsageError(
            "strength comes from one place", "give FILE, --heaviest or --capacity-nm, not several"
        )
    if not 0.3 <= effort <= 1:
        raise UsageError(f"expected an effort from 0.3 to 1, got {effort:g}")
    if not 10 <= fastest_start <= 600:
        raise UsageError(f"expected a largest start velocity from 10 to 600 °/s, got {fastest_start:g}")
    measured: Any = None
    bottom_rad, top_rad = math.radians(5), math.radians(90)
    resistances = parse_all(resistance) if resistance else None
    if load:
        resistances = (Dumbbell(mass_kg=parse_load(load)),)
    if recording is not None:
        measured = _measured(recording, exercise)
        reps = measured[1].reps
        bottoms = [r.bottom_rad for r in reps if r.bottom_rad is not None] or [bottom_rad]
        bottom_rad = min(max(statistics.median(bottoms), 0.0), math.radians(120))
        top_rad = statistics.median([r.top_rad for r in reps if r.top_rad is not None] or [top_rad])
        if resistances is None and measured[1].load_kg:
            resistances = (Dumbbell(mass_kg=measured[1].load_kg),)
    if resistances is None:
        heavy = parse_load(heaviest) if heaviest else None
        resistances = (Dumbbell(mass_kg=round(0.65 * heavy, 1) if heavy else 6.0),)
        load_assumed = "65 % of the heaviest strict rep" if heavy else "an example"
    else:
        load_assumed = ""
    bottom_rad = _or(degrees_option(start, "a start", 0, 120), bottom_rad)
    top_rad = _or(degrees_option(top, "a top", 20, 150), top_rad)
    source = StrengthSource(
        lifter=load_lifters().find(lifter),
        resistances=resistances,
        heaviest_kg=parse_load(heaviest) if heaviest else None,
        capacity_n_m=capacity_nm,
        measured=measured,
        plane_rad=degrees_option(plane, "a plane", -90, 180) or 0.0,
        elbow_rad=degrees_option(elbow, "an elbow bend", 0, 120) or 0.0,
    )
    if pace is not None:
        from armarc.load.capacity import ShoulderCapacity
        from armarc.load.paced import paced_plan
        from armarc.quantities import parse_tempo
        from armarc.simulate import RepPlan

        eccentric_s, _, concentric_s, hold_s = parse_tempo(tempo)
        paced = paced_plan(
            RepPlan(
                bottom_rad=bottom_rad,
                top_rad=top_rad,
                concentric_s=concentric_s,
                hold_s=hold_s,
                eccentric_s=eccentric_s,
                swing_m=swing / 100,
            ),
            _paces(pace),
            source=source,
            resistances=resistances,
            shape=ShoulderCapacity(peak_n_m=1.0, curve=capacity_curve(capacity)),
            effort=effort,
            loaded_range_rad=range_option(loaded_range),
        )
        show_paced(paced, load_assumed, as_json=as_json, plot=plot, dark=dark, guard=guard)
        return
    question = PlanQuestion(
        curve=capacity_curve(capacity),
        load_assumed=load_assumed,
        by_shoulder=speed_from == "shoulder",
        aim=aim,
        effort=effort,
        start_rad=bottom_rad,
        top_rad=top_rad,
        loaded_range_rad=range_option(loaded_range),
        fastest_start_deg_s=fastest_start,
        with_exploration=explore,
    )
    report = make_report(source, question)
    if as_json:
        print_json(plan_record(report))
    else:
        show_plan(report)
    if plot is not None:
        draw_plan_report(report, plot, dark, guard)


def _paces(text: str) -> tuple[float, ...]:
    from armarc.errors import UsageError

    try:
        paces = [float(part) for part in text.split(",")]
    except ValueError:
        paces = []
    if not paces or not all(5 <= pace <= 400 for pace in paces):
        raise UsageError(
            f"expected start velocities from 5 to 400 °/s, got {text!r}", "for example --pace 57"
        )
    return tuple(math.radians(pace) for pace in paces)


def _or(value: float | None, otherwise: float) -> float:
    return otherwise if value is None else value


def _measured(path: Path, exercise: str | None) -> Any:
    session = measured_sets(path, exercise)
    return session.motions[session.motion_of_set[0]], session.sets[0]
