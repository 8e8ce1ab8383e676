"""A plan for controlled reps in words and as a record."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from armarc.load.paced import PacedLane, PacedPlan
from armarc.load.plan_report import single_mass
from armarc.load.records import measures_record, rounded, series
from armarc.load.resistance import describe
from armarc.load.wording import LOAD_CAUTIONS


def heaviest_words(plan: PacedPlan, lane: PacedLane) -> str:
    """Heaviest load of a lane with its unit; "any" where the load never weighs on the shoulder."""
    if not math.isfinite(lane.heaviest):
        return "any"
    mass = single_mass(plan.resistances)
    return f"{lane.heaviest:.2f} ×" if mass is None else f"{lane.heaviest * mass:.1f} kg"


def answer_words(plan: PacedPlan) -> list[str]:
    """The answer, one sentence per lane."""
    out = []
    low, high = (math.degrees(edge) for edge in plan.loaded_range_rad)
    for lane in plan.lanes:
        m = lane.measures
        inside = (
            ""
            if m.loaded_work_share is None
            else f", {100 * m.loaded_work_share:.0f} % of the work within {low:.0f}–{high:.0f}°"
        )
        swing = ""
        if lane.rep.swing_m and m.drive_swing_work_share is not None:
            swing = f"; the body supplies {100 * m.drive_swing_work_share:.0f} % of the drive"
        overall = ""
        if m.peak_moment_phase != "concentric":
            place = f"{math.degrees(m.peak_moment_at_rad):.0f}°, {m.peak_moment_phase}"
            overall = f" (in all {m.peak_moment_n_m:.0f} at {place})"
        verdict = "within reach" if lane.heaviest >= 1 else "too heavy"
        out.append(
            f"At {math.degrees(lane.gate_rad_s):.0f} °/s through the gate, {describe(plan.resistances)} is {verdict}: "
            f"raising peaks at {m.peak_concentric_moment_n_m:.0f} N·m at "
            f"{math.degrees(m.peak_concentric_moment_at_rad):.0f}°{overall}{inside}{swing}. "
            f"Heaviest {heaviest_words(plan, lane)}, limited at {math.degrees(lane.limited_at_rad):.0f}° by "
            f"{lane.limited_by}."
        )
    return out


def paced_assumptions(plan: PacedPlan) -> list[str]:
    """What the plan rests on, one sentence each, with the cautions."""
    rep = plan.lanes[0].rep
    effort = "all of the capacity" if plan.effort == 1 else f"{100 * plan.effort:.0f} % of the capacity"
    shoulder = (
        f"the shoulder swings {100 * rep.swing_m:.1f} cm up and forward in the concentric"
        if rep.swing_m
        else "the shoulder's centre stays put"
    )
    out = [
        f"Assumed: capacity {plan.capacity.curve.name}, {plan.strength}; {effort} may be used anywhere, less the "
        "faster it shortens (Hill), more while it lengthens.",
        f"Assumed: {math.degrees(rep.bottom_rad):.0f}–{math.degrees(rep.top_rad):.0f}°, {rep.eccentric_s:g} s down, "
        f"{rep.concentric_s:g} s up, {rep.hold_s:g} s held, from rest to rest; {shoulder}.",
    ]
    if plan.lifter.assumed:
        out.append(f"Assumed: {'; '.join(plan.lifter.assumed)}.")
    out.append(
        "Not in the model: the shoulder blade, tendons, fatigue over reps. What can be done once is no working weight."
    )
    return [*out, *LOAD_CAUTIONS]


def paced_record(plan: PacedPlan) -> dict[str, Any]:
    """The plan for JSON, schema ``armarc.paced/1``."""
    mass = single_mass(plan.resistances)
    rep = plan.lanes[0].rep
    return {
        "schema": "armarc.paced/1",
        "answer": answer_words(plan),
        "load": describe(plan.resistances),
        "bottom_deg": rounded(math.degrees(rep.bottom_rad)),
        "top_deg": rounded(math.degrees(rep.top_rad)),
        "eccentric_s": rep.eccentric_s,
        "concentric_s": rep.concentric_s,
        "hold_s": rep.hold_s,
        "swing_cm": rounded(100 * rep.swing_m),
        "loaded_range_deg": [rounded(math.degrees(edge)) for edge in plan.loaded_range_rad],
        "capacity": {
            "curve": plan.capacity.curve.name,
            "peak_n_m": rounded(plan.capacity.peak_n_m),
            "strength_from": plan.strength,
            "effort": plan.effort,
        },
        "heaviest_unit": "multiple" if mass is None else "kg",
        "lanes": [_lane_record(plan, lane, mass) for lane in plan.lanes],
        "assumptions": paced_assumptions(plan),
    }


def _lane_record(plan: PacedPlan, lane: PacedLane, mass: float | None) -> dict[str, Any]:
    m = lane.measures
    still = plan.capacity.full_n_m(lane.angle_rad, np.zeros(len(lane.angle_rad)))
    return {
        "start_velocity_deg_s": rounded(math.degrees(lane.gate_rad_s)),
        "start_ratio": rounded(lane.start_ratio),
        **measures_record(m),
        "peak_moment_phase": m.peak_moment_phase,
        "body_swing_work_j": rounded(m.swing_work_j),
        "drive_swing_work_j": rounded(m.drive_swing_work_j),
        "drive_swing_work_pct": None
        if m.drive_swing_work_share is None
        else rounded(100 * m.drive_swing_work_share),
        "within_reach": lane.heaviest >= 1,
        "heaviest": rounded(lane.heaviest * (mass or 1.0)),
        "limited_at_deg": rounded(math.degrees(lane.limited_at_rad)),
        "limited_by": lane.limited_by,
        "curve": {
            "angle_deg": [round(float(a), 3) for a in np.degrees(lane.angle_rad)],
            "concentric_n_m": series(lane.concentric_n_m),
            "eccentric_n_m": series(lane.eccentric_n_m),
            "isometric_capacity_n_m": series(still),
        },
    }
