"""What the body does during the reps beside the planned path of the arm."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from armarc.simulate.choreography import Choreography
from armarc.simulate.plan import RepPlan
from armarc.simulate.tracks import Knot

SLIP_S = 0.3
OTHER_ARM_S = 0.25
"""The other arm sets off this long after this one is down, and is down this long before it goes on."""


@dataclass(frozen=True, slots=True, kw_only=True)
class RepMarks:
    """Planned instants of a rep, s: rest at the bottom, both ends of the hold at the top, bottom again."""

    ready_s: float
    start_s: float
    top_start_s: float
    top_end_s: float
    end_s: float


def scaled(knots: Sequence[Knot], low: float, high: float, first: RepPlan) -> list[Knot]:
    """Knots of a channel that goes from `low` to `high` while the first rep goes from its bottom to its top."""
    share = (high - low) / (first.top_rad - first.bottom_rad)
    return [
        Knot(k.time_s, low + share * (k.value - first.bottom_rad), share * k.rate, share * k.acceleration)
        for k in knots
    ]


def accompany(stage: Choreography, knots: Sequence[Knot], first: RepPlan) -> None:
    """Elbow, forearm and trunk go along with the movement angle."""
    body = stage.plan.body
    for name, low, high in (
        ("elbow", body.elbow_bottom_rad, body.elbow_high_rad),
        ("pronation", 0.0, body.pronation_rad),
        ("lean", body.lean_rad, body.lean_rad + body.lean_travel_rad),
    ):
        if high != low:
            stage.follow(name, scaled(knots, low, high, first))


def leave_rest_plane(stage: Choreography, marks: RepMarks) -> None:
    """Out of the plane in which the weight rests as the arm rises, and back into it as it is lowered."""
    rest = stage.plan.body.rest_plane_rad
    if rest is None:
        return
    up_s, down_s = marks.top_start_s - marks.start_s, marks.end_s - marks.top_end_s
    plane = stage.plan.pattern.plane_rad
    stage.follow(
        "gamma",
        [
            Knot(marks.start_s, rest),
            Knot(marks.start_s + 0.5 * up_s, plane),
            Knot(marks.end_s - 0.5 * down_s, plane),
            Knot(marks.end_s, rest),
        ],
    )


def swing(stage: Choreography, rep: RepPlan, marks: RepMarks) -> None:
    """The legs and hips push the shoulder out and let it come back."""
    if rep.swing_m == 0 and rep.dip_m == 0:
        return
    body, up_s = stage.plan.body, marks.top_start_s - marks.start_s
    rise = body.swing_rise_rad
    away = stage.shift(math.cos(rise) * rep.swing_m, math.sin(rise) * rep.swing_m)
    low = stage.shift(0.0, -rep.dip_m)
    home = stage.shift(0.0, 0.0)
    middle_s = marks.start_s + body.swing_peak * up_s
    back_s = marks.top_start_s
    if rep.swing_returns == "after":
        back_s = marks.top_start_s + 0.5 * (marks.end_s - marks.top_start_s)
    dip_s = min(0.35, 0.9 * (marks.start_s - max(stage.knots[name][-1].time_s for name in "xyz")))
    for name in "xyz":
        knots = [Knot(marks.start_s, 0.0)]
        if rep.dip_m > 0 and dip_s > 0.1:
            knots = [Knot(marks.start_s - dip_s, 0.0), Knot(marks.start_s, low[name])]
        knots += [Knot(middle_s, away[name]), Knot(back_s, home[name])]
        stage.follow(name, knots)


def tip_trunk(stage: Choreography, marks: RepMarks) -> None:
    """The trunk tips forward about the start of the rep, and back."""
    body = stage.plan.body
    if body.tip_rad == 0:
        return
    # Not before it is back from the rep before, and back before this one ends.
    begin_s = max(marks.start_s - body.tip_lead_s, stage.knots["tip"][-1].time_s)
    back_s = min(begin_s + 2 * body.tip_s, marks.end_s)
    stage.follow(
        "tip",
        [
            Knot(begin_s, body.stoop_rad),
            Knot((begin_s + back_s) / 2, body.stoop_rad + body.tip_rad),
            Knot(back_s, body.stoop_rad),
        ],
    )


def tremble(stage: Choreography, rep: RepPlan, marks: RepMarks) -> None:
    """A tired arm's tremor."""
    if rep.tremor_rad == 0:
        return
    for name, share in (("theta", 0.8), ("gamma", 0.5), ("torsion", 0.8)):
        for frequency in stage.rng.uniform(8, 12, 3):
            stage.wave(
                name,
                rep.tremor_rad * share / math.sqrt(3),
                float(frequency),
                start_s=marks.start_s,
                end_s=marks.end_s,
                ramp_s=0.3,
            )


def wobble(stage: Choreography, marks: RepMarks) -> None:
    """The sensor turns about the wrist in a loose strap, all through the rep or struck by its phases."""
    body, rng = stage.plan.body, stage.body_rng
    if body.wobble_rad == 0:
        return
    for name, share in (("strap_roll", 1.0), ("strap_tilt", 0.6)):
        frequency = body.wobble_hz * float(rng.uniform(0.93, 1.07))
        if body.wobble_damping == 0:
            strokes, decay = [(marks.start_s, marks.end_s, 0.25)], 0.0
        else:
            decay = body.wobble_damping * 2 * math.pi * frequency
            struck = (marks.start_s, marks.top_start_s, marks.top_end_s, marks.end_s)
            strokes = [(at_s, at_s + 5 / decay, 0.5 / frequency) for at_s in struck]
        for start_s, end_s, ramp_s in strokes:
            phase = float(rng.uniform(0, 2 * math.pi))
            stage.wave(
                name,
                share * body.wobble_rad,
                frequency,
                start_s=start_s,
                end_s=end_s,
                ramp_s=ramp_s,
                phase_rad=phase,
                decay_per_s=decay,
            )


def slip_strap(stage: Choreography, marks: RepMarks) -> None:
    """The strap gives way as the weight is lowered, for good."""
    body = stage.plan.body
    if body.slip_roll_rad == 0 and body.slip_tilt_rad == 0:
        return
    at_s = marks.top_end_s + 0.4 * (marks.end_s - marks.top_end_s)
    for name, target in (("strap_roll", body.slip_roll_rad), ("strap_tilt", body.slip_tilt_rad)):
        if target:
            stage.follow(name, [Knot(at_s, 0.0), Knot(at_s + SLIP_S, target)])
    stage.note("strap slip", at_s, at_s + SLIP_S)


def other_arm(stage: Choreography, start_s: float, end_s: float) -> None:
    """The other arm does its rep between two instants while this one waits; the trunk answers."""
    rng = stage.body_rng
    up_s, down_s = start_s + OTHER_ARM_S, end_s - OTHER_ARM_S
    if down_s - up_s < 0.5:
        return
    lean = stage.value("lean")
    # The trunk leans toward the waiting arm.
    toward = lean - math.radians(float(rng.uniform(0.5, 2.5)))
    middle_s = up_s + (down_s - up_s) * float(rng.uniform(0.4, 0.55))
    stage.follow("lean", [Knot(up_s, lean), Knot(middle_s, toward), Knot(down_s, lean)])
    for name, size_deg in (("theta", 0.5), ("gamma", 3.0), ("torsion", 2.0)):
        stage.wave(
            name,
            math.radians(size_deg * float(rng.uniform(0.3, 1.2))),
            float(rng.uniform(0.3, 0.8)),
            start_s=up_s,
            end_s=down_s,
            ramp_s=0.5,
            phase_rad=float(rng.uniform(0, 2 * math.pi)),
        )
    stage.note("other arm's rep", up_s, down_s)
