"""What ``armarc plan`` shows: tables, the answer in words, pictures."""

from __future__ import annotations

import math
from pathlib import Path
from typing import TYPE_CHECKING

from armarc.cli.load_tables import number, print_table, save_picture, say
from armarc.cli.log_options import print_json, say_cautions

if TYPE_CHECKING:
    from armarc.load.paced import PacedPlan
    from armarc.load.plan_report import PlanReport
    from armarc.outputs import Guard


def show_paced(
    plan: PacedPlan, load_assumed: str, *, as_json: bool, plot: Path | None, dark: bool, guard: Guard
) -> None:
    """Print the plan of controlled reps, the answer first, and save its picture."""
    from armarc.load.paced import answer_words, heaviest_words, paced_assumptions, paced_record
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
            "Peak up\nN·m",
            "at °",
            "In all\nN·m",
            "at",
            "Mean up\nN·m",
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
        print_table(f"Paced reps · {describe(plan.resistances)}", heads, rows, left=0, spare=(6, 1, 5, 8, 4))
        say(notes)
        say_cautions(())
    if plot is not None:
        _draw_paced(plan, notes, plot, dark, guard)


def _draw_paced(plan: PacedPlan, notes: list[str], path: Path, dark: bool, guard: Guard) -> None:
    import numpy as np

    from armarc.load.paced import answer_words
    from armarc.load.resistance import describe
    from armarc.report.load_figures import Curve, draw_moments

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
    save_picture(figure, path, guard)


def show_plan(report: PlanReport) -> None:
    """Print the suggestion, the lanes, the loads, what was found and what was assumed."""
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
        "Peak\nN·m",
        "at °",
        "Mean\nN·m",
        "In range\ns",
        "In range\nN·m·s",
        "Mean by\nangle N·m",
        "Liftable,\nat least" if report.is_least else "Liftable",
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
        spare=(2, 4, 1),
    )
    say([*findings_words(report), "", *assumptions(report)])
    say_cautions(())


def draw_plan_report(report: PlanReport, path: Path, dark: bool, guard: Guard) -> None:
    """Save the picture of a full-effort plan."""
    from armarc.load.plan_words import assumptions, suggestion_words
    from armarc.report.load_figures import Curve, SpeedCurve, draw_plan

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
    save_picture(figure, path, guard)
