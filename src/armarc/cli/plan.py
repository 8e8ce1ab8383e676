"""``armarc plan``: simulate the raise for start velocities and loads, under stated assumptions."""

from __future__ import annotations

import math
import statistics
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from armarc.cli.outputs import Force, check_picture, guard_for
from armarc.outputs import Guard

if TYPE_CHECKING:
    from armarc.load.paced import PacedPlan
    from armarc.load.plan_report import PlanReport


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
    exercise: Annotated[
        str | None, typer.Option("--exercise", "-e", help="Of the recording; see `armarc exercises`.")
    ] = None,
    lifter: Annotated[
        str | None, typer.Option(metavar="NAME", help="Whose body; see `armarc lifter`.")
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print JSON.")] = False,
    plot: Annotated[
        Path | None, typer.Option(metavar="OUT.png", help="Picture (.png, .svg or .pdf).")
    ] = None,
    dark: Annotated[bool, typer.Option("--dark", help="Picture light on dark.")] = False,
    force: Force = False,
) -> None:
    """Plan a raise: a full effort over start velocities and loads, or controlled reps at a pace (--pace).

    The shoulder is scaled from your heaviest strict single, from measured reps, from a measured moment, or, with
    nothing given, from a published group mean. Full effort: does it reach the top, and what does the shoulder do.
    With --pace: the moment of a rep of that start velocity, tempo and swing by angle, what the body supplies, and the
    heaviest load that stays within the shoulder's capacity at every angle. A description of a model, not advice to
    swing a load.
    """
    from armarc.cli.load_tables import degrees_option, print_json, range_option
    from armarc.errors import UsageError
    from armarc.load.capacity import capacity_curve
    from armarc.load.grammar import parse_all
    from armarc.load.lifter_file import load_lifters
    from armarc.load.plan_report import PlanQuestion, make_report
    from armarc.load.plan_words import plan_record
    from armarc.load.planning import AIMS
    from armarc.load.resistance import Dumbbell
    from armarc.load.strength import StrengthSource
    from armarc.quantities import parse_load

    guard = guard_for([recording, *map(Path, resistance or [])], force=force)
    if plot is not None:
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
        bottom_rad = min(
            max(statistics.median(r.bottom_rad for r in measured[1].reps), 0.0), math.radians(120)
        )
        top_rad = statistics.median(r.top_rad for r in measured[1].reps)
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
            source=StrengthSource(
                lifter=load_lifters().find(lifter),
                resistances=resistances,
                heaviest_kg=parse_load(heaviest) if heaviest else None,
                capacity_n_m=capacity_nm,
                measured=measured,
                plane_rad=degrees_option(plane, "a plane", -90, 180) or 0.0,
                elbow_rad=degrees_option(elbow, "an elbow bend", 0, 120) or 0.0,
            ),
            resistances=resistances,
            shape=ShoulderCapacity(peak_n_m=1.0, curve=capacity_curve(capacity)),
            effort=effort,
            loaded_range_rad=range_option(loaded_range, "the loaded range"),
        )
        _show_paced(paced, load_assumed, as_json=as_json, plot=plot, dark=dark, guard=guard)
        return
    source = StrengthSource(
        lifter=load_lifters().find(lifter),
        resistances=resistances,
        heaviest_kg=parse_load(heaviest) if heaviest else None,
        capacity_n_m=capacity_nm,
        measured=measured,
        plane_rad=degrees_option(plane, "a plane", -90, 180) or 0.0,
        elbow_rad=degrees_option(elbow, "an elbow bend", 0, 120) or 0.0,
    )
    question = PlanQuestion(
        curve=capacity_curve(capacity),
        load_assumed=load_assumed,
        by_shoulder=speed_from == "shoulder",
        aim=aim,
        effort=effort,
        start_rad=bottom_rad,
        top_rad=top_rad,
        loaded_range_rad=range_option(loaded_range, "the loaded range"),
        fastest_start_deg_s=fastest_start,
        with_exploration=explore,
    )
    report = make_report(source, question)
    if as_json:
        print_json(plan_record(report))
    else:
        _print(report)
    if plot is not None:
        _draw(report, plot, dark, guard)


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


def _show_paced(
    plan: PacedPlan, load_assumed: str, *, as_json: bool, plot: Path | None, dark: bool, guard: Guard
) -> None:
    from armarc.cli.load_tables import number, print_json, print_table, say
    from armarc.load.paced_words import answer_words, heaviest_words, paced_assumptions, paced_record
    from armarc.load.resistance import describe

    notes = paced_assumptions(plan)
    if load_assumed:
        notes.insert(0, f"Assumed: load {describe(plan.resistances)} ({load_assumed}).")
    if as_json:
        print_json(paced_record(plan))
    else:
        heads = (
            "Gate\n°/s",
            "Start\nratio",
            "Peak up\nN m",
            "at °",
            "In all\nN m",
            "at",
            "Mean up\nN m",
            "Work in\nrange %",
            "Body, % of\nthe drive",
            "Heaviest",
            "limited\nat °",
            "by",
        )
        rows = []
        for lane in plan.lanes:
            m = lane.measures
            body = None if m.drive_swing_work_share is None else 100 * m.drive_swing_work_share
            rows.append(
                (
                    number(math.degrees(lane.gate_rad_s), 0),
                    number(lane.start_ratio, 2),
                    number(m.peak_concentric_moment_n_m),
                    number(math.degrees(m.peak_concentric_moment_at_rad), 0),
                    number(m.peak_moment_n_m),
                    f"{math.degrees(m.peak_moment_at_rad):.0f}° {m.peak_moment_phase}",
                    number(m.mean_moment_over_angle_n_m),
                    number(None if m.loaded_work_share is None else 100 * m.loaded_work_share, 0),
                    number(body, 0),
                    heaviest_words(plan, lane),
                    number(math.degrees(lane.limited_at_rad), 0),
                    lane.limited_by,
                )
            )
        say([*answer_words(plan), ""])
        print_table(f"Paced reps · {describe(plan.resistances)}", heads, rows, left=0, spare=(6, 1, 5))
        say(notes)
    if plot is not None:
        _draw_paced(plan, notes, plot, dark, guard)


def _draw_paced(plan: PacedPlan, notes: list[str], path: Path, dark: bool, guard: Guard) -> None:
    import numpy as np

    from armarc.cli.terminal import error_console
    from armarc.load.paced_words import answer_words
    from armarc.load.resistance import describe
    from armarc.report.load_figures import Curve, draw_moments
    from armarc.report.saving import save_figure

    curves = [
        Curve(
            label=f"raising, {math.degrees(lane.gate_rad_s):.0f} °/s through the gate",
            x=np.degrees(lane.angle_rad),
            y=lane.concentric_n_m,
        )
        for lane in plan.lanes
    ]
    first = plan.lanes[0]
    degrees = np.degrees(first.angle_rad)
    curves.append(Curve(label="lowering", x=degrees, y=first.eccentric_n_m))
    still = plan.capacity.full_n_m(first.angle_rad, np.zeros(len(degrees)))
    curves.append(Curve(label="isometric capacity (assumed)", x=degrees, y=still))
    low, high = plan.loaded_range_rad
    figure = draw_moments(
        curves,
        title="What a controlled rep asks of the shoulder",
        facts=describe(plan.resistances),
        loaded_deg=(math.degrees(low), math.degrees(high)),
        notes=[*answer_words(plan), *notes],
        panel="Moment about the shoulder",
        dark=dark,
    )
    save_figure(figure, path, guard)
    error_console().print(f"Picture written to {path}", markup=False, soft_wrap=True)


def _or(value: float | None, otherwise: float) -> float:
    return otherwise if value is None else value


def _measured(path: Path, exercise: str | None) -> Any:
    from armarc.api import process, read_csv
    from armarc.errors import NothingToMeasure

    session = process(read_csv(path), exercise=exercise)
    if not session.sets:
        raise NothingToMeasure(f"{path}: no rep was found", "is it the right file and exercise?")
    return session.motions[session.motion_of_set[0]], session.sets[0]


def _print(report: PlanReport) -> None:
    from armarc.cli.load_tables import number, print_table, say
    from armarc.load.plan_words import (
        assumptions,
        findings_words,
        gate_words,
        suggestion_words,
        verdict_words,
    )

    heads = (
        "Begun at\n°/s",
        "Gate\n°/s",
        "Reaches",
        "Peak\nN m",
        "at °",
        "Mean\nN m",
        "In range\ns",
        "In range\nN m s",
        "Mean by\nangle N m",
        "Liftable",
    )
    rows = []
    for row in report.rows():
        reached = "top" if row["reached"] else "cannot start" if not row["possible"] else "stalls at "
        if reached == "stalls at ":
            reached += f"{row['highest_deg']:.0f}°"
        liftable = row["liftable"]
        rows.append(
            (
                number(row["start_deg_s"], 0),
                number(row["gate_deg_s"], 0),
                reached,
                number(row["peak_n_m"]),
                number(row["peak_at_deg"], 0),
                number(row["mean_n_m"]),
                number(row["loaded_s"], 2),
                number(row["loaded_impulse_n_m_s"]),
                number(row["mean_over_angle_n_m"]),
                number(liftable, 2 if report.unit_of_scale == "×" else 1) + " " + report.unit_of_scale,
            )
        )
    say([suggestion_words(report), gate_words(report), ""])
    print_table(f"Simulated raise · {report.label}", heads, rows, left=0, spare=(6, 4, 8, 7))
    loads = [
        (
            each["load"],
            "top" if each["reached_from_rest"] else f"stalls at {each['highest_deg']:.0f}°",
            number(each["least_start_deg_s"], 0),
            number(each["best_deg_s"], 0),
            number(each["best_gate_deg_s"], 0),
            verdict_words(found, report.base),
        )
        for each, (_, _, found) in zip(report.load_rows(), report.by_load, strict=True)
    ]
    print_table(
        f"By load · aim: {report.aim_words}",
        ("Load", "From rest", "Least\nbegun °/s", "Best\nbegun °/s", "Gate\n°/s", "Best start against rest"),
        loads,
        left=1,
        spare=(2,),
    )
    say([*findings_words(report), "", *assumptions(report)])


def _draw(report: PlanReport, path: Path, dark: bool, guard: Guard) -> None:
    from armarc.cli.terminal import error_console
    from armarc.load.plan_words import assumptions, suggestion_words
    from armarc.report.load_figures import Curve, SpeedCurve, draw_plan
    from armarc.report.saving import save_figure

    courses = [Curve(label=label, x=x, y=y) for label, x, y in report.courses()]
    x, y = report.capacity_line()
    band, gate = report.begun_deg_s, report.suggested_deg_s
    words = "within 2 % of the best"
    if gate is not None:
        words += f": {gate[0]:.0f}–{gate[1]:.0f} °/s through the gate"
    figure = draw_plan(
        courses,
        [SpeedCurve(label=label, x=x_, y=y_) for label, x_, y_ in report.by_speed()],
        capacity=Curve(label="isometric capacity (assumed)", x=x, y=y),
        title="What a start velocity would change",
        facts=report.label,
        loaded_deg=report.loaded_deg,
        band=None if band is None else (*band, words),
        base_words=report.base_words,
        notes=[suggestion_words(report), *assumptions(report)],
        dark=dark,
    )
    save_figure(figure, path, guard)
    error_console().print(f"Picture written to {path}", markup=False, soft_wrap=True)
