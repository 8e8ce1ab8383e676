"""A plan in words and as a record: findings, suggestion, assumptions."""

from __future__ import annotations

import math

from armarc.load.plan_report import PlanReport
from armarc.load.planning import AIMS, RUN_UP_RAD, Finding
from armarc.load.records import rounded, series
from armarc.load.resistance import describe
from armarc.load.strength import EXAMPLE_SHOULDER
from armarc.load.table import LOAD_CAUTIONS


def verdict_words(found: Finding, base: str) -> str:
    """Say what a finding means, against `base`."""
    if found.verdict == "unreachable":
        return "not reached from any start velocity tried"
    if found.verdict == "needed":
        return "not reached from rest: only with help"
    if found.verdict == "rest":
        return f"no better than {base} (less than 1 %)"
    gain = f"+{100 * (found.gain or 0):.1f} %"
    return f"{gain}, too shallow to matter" if found.verdict == "shallow" else gain


def findings_words(report: PlanReport) -> list[str]:
    """One sentence per aim, and how the chosen one fares under other assumptions."""
    base = report.base
    out = []
    for found in report.findings:
        at = _best_words(report, found)
        out.append(f"{AIMS[found.aim].capitalize()}: {at}; {verdict_words(found, base)}.")
    for name, found in report.other_curves.items():
        at = _best_words(report, found)
        out.append(f"With a {name} capacity, {report.aim_words}: {at}; {verdict_words(found, base)}.")
    e = report.exploration
    if e is not None:
        share = f"{e.with_optimum} of {e.draws} plausible shoulders"
        detail = ""
        if e.quartiles_rad_s is not None:
            low, mid, high = (math.degrees(q) for q in e.quartiles_rad_s)
            detail = (
                f": at {mid:.0f} °/s (quartiles {low:.0f}–{high:.0f}), median gain "
                f"{100 * (e.median_gain or 0):.1f} %"
            )
        out.append(f"For {report.aim_words}, {share} do better than {base} by more than 1 %{detail}.")
    return out


def _best_words(report: PlanReport, found: Finding) -> str:
    if found.best_rad_s is None:
        return "–"
    return f"best begun at {math.degrees(found.best_rad_s):.0f} °/s"


def gate_words(report: PlanReport) -> str:
    """What a full effort reads at the start gate, and what can be held."""
    gates = [report.through_gate_deg_s(float(start)) for start in report.starts_rad_s[[0, -1]]]
    held, at = report.held
    unit, least = report.unit_of_scale, "at least " if report.is_least else ""
    still = (
        f" What can be held still all the way is {least}{held:.1f} {unit}, least at {at:.0f}°."
        if held < 1e3
        else ""
    )
    if gates[0] is None:
        return "From rest a full effort does not pass the start gate with this load." + still
    return (
        f"A full effort from rest passes the start gate (10–20° above the bottom) at {gates[0]:.0f} °/s"
        + (
            f", begun at {math.degrees(report.starts_rad_s[-1]):.0f} °/s at {gates[1]:.0f} °/s"
            if gates[1]
            else ""
        )
        + ": that is how a measured rep would read. For a controlled rep see --pace."
        + still
    )


def suggestion_words(report: PlanReport) -> str:
    """The personal band, or why there is none."""
    found, band = report.finding, report.suggested_deg_s
    base = report.base
    # What a published group could do, or reps that were not all-out, is no reason to tell anybody to take less.
    is_own = not (report.is_example or report.is_least)
    no_band = f"No band for {EXAMPLE_SHOULDER}" if report.is_example else "No band"
    whose = f"Band of {EXAMPLE_SHOULDER}" if report.is_example else "Personal band"
    if found.verdict == "unreachable":
        take_less = "; take less" if is_own else ""
        return f"{no_band}: this load does not reach the top from any start velocity tried{take_less}."
    if found.verdict == "needed":
        take_less = " Take less load to train the shoulder through the range." if is_own else ""
        return (
            f"{no_band}: from rest this load does not reach the top, so every start velocity here is help from the "
            f"body.{take_less}"
        )
    if band is None:
        return (
            f"{no_band}: for {report.aim_words} {base} is best in this model, and any start velocity tried costs "
            "more than 2 %. Choose by control."
        )
    if found.verdict == "rest":
        return (
            f"{whose} for {report.aim_words}: up to {band[1]:.0f} °/s through the gate nothing worth speaking of is "
            "lost (within 2 %), and nothing is gained: no optimum in this model. Choose by control."
        )
    through = f"{band[0]:.0f}–{band[1]:.0f} °/s through the gate"
    words = f"{whose} for {report.aim_words}: {through} (within 2 % of the best)"
    if found.verdict == "shallow":
        return (
            f"{words}, but the optimum is too shallow to matter: {100 * (found.gain or 0):.1f} % over {base}, "
            "less than strength differs from day to day."
        )
    return f"{words}, {100 * (found.gain or 0):.1f} % over {base} in this model."


def assumptions(report: PlanReport) -> list[str]:
    """What the plan rests on, one sentence each, with the cautions."""
    p, c = report.plan, report.plan.capacity
    who = (
        f"the shoulder itself, evenly over the first {math.degrees(RUN_UP_RAD):.0f}°"
        if p.by_shoulder
        else "the body, for nothing; the shoulder's centre stays put afterwards"
    )
    rise = f"effort rising with a time constant of {1000 * c.activation_s:.0f} ms"
    effort = "full effort" if report.effort == 1 else f"{100 * report.effort:.0f} % effort"
    out = [
        f"Assumed: capacity {c.curve.name}, {report.strength}.",
        f"Assumed: {effort} from {math.degrees(p.start_rad):.0f}° to {math.degrees(p.top_rad):.0f}°, {rise}; "
        f"Hill curve a/F0 {c.hill_shape:g}, no load at {math.degrees(c.fastest_rad_s):.0f} °/s.",
        f"Assumed: the start velocity comes from {who}.",
    ]
    if report.load_assumed:
        out.append(f"Assumed: load {describe(report.resistances)} ({report.load_assumed}).")
    if report.lifter.assumed:
        out.append(f"Assumed: {'; '.join(report.lifter.assumed)}.")
    out.append(
        "Not in the model: the shoulder blade, tendons, fatigue, pacing below full effort, lowering. Start "
        "velocity alone cannot tell shoulder effort from swing."
    )
    return [*out, *LOAD_CAUTIONS]


def plan_record(report: PlanReport) -> dict[str, object]:
    """The plan for JSON, schema ``armarc.plan/1``."""

    def finding(found: Finding) -> dict[str, object]:
        band, gates = found.band_rad_s, report.gate_band_deg_s(found)
        return {
            "aim": found.aim,
            "best_deg_s": None if found.best_rad_s is None else rounded(math.degrees(found.best_rad_s)),
            "gain_pct": None if found.gain is None else rounded(100 * found.gain),
            "verdict": found.verdict,
            "best_gate_deg_s": rounded(report.through_gate_deg_s(found.best_rad_s)),
            "within_2_pct_deg_s": None if band is None else [rounded(math.degrees(v)) for v in band],
            "within_2_pct_gate_deg_s": None if gates is None else [rounded(v) for v in gates],
        }

    e = report.exploration
    degrees, line = report.capacity_line()
    band = report.suggested_deg_s if report.finding.verdict in ("rest", "shallow", "optimum") else None
    return {
        "schema": "armarc.plan/1",
        "load": describe(report.resistances),
        "start_velocity_from": "shoulder" if report.plan.by_shoulder else "body",
        "aim": report.aim,
        "effort": report.effort,
        "suggested_band_deg_s": None if band is None else [rounded(v) for v in band],
        "suggestion": suggestion_words(report),
        "capacity": {
            "curve": report.plan.capacity.curve.name,
            "peak_n_m": rounded(report.plan.capacity.peak_n_m),
            "strength_from": report.strength,
            "angle_deg": [float(v) for v in degrees],
            "isometric_n_m": series(line),
        },
        "liftable_unit": "kg" if report.unit_of_scale == "kg" else "multiple",
        "heaviest_held": rounded(report.held[0]),
        "heaviest_held_at_deg": rounded(report.held[1]),
        "starts": report.rows(),
        "loads": report.load_rows(),
        "findings": [finding(found) for found in report.findings],
        "other_capacity_curves": {name: finding(found) for name, found in report.other_curves.items()},
        "exploration": None
        if e is None
        else {
            "draws": e.draws,
            "with_optimum": e.with_optimum,
            "quartiles_deg_s": None
            if e.quartiles_rad_s is None
            else [rounded(math.degrees(q)) for q in e.quartiles_rad_s],
            "median_gain_pct": None if e.median_gain is None else rounded(100 * e.median_gain),
        },
        "assumptions": assumptions(report),
    }
