"""One planned rep: the path of the movement angle, as knots for a `Track`, and its course over time with the swing."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from armarc.errors import UsageError
from armarc.recording import FloatArray
from armarc.simulate.body import Body
from armarc.simulate.choreography import SHORTEST_S
from armarc.simulate.plan import RepPlan
from armarc.simulate.tracks import Knot, Track

GATE_RAD = (math.radians(10), math.radians(20))
SMALLEST_GATED_ROM_RAD = 1.25 * GATE_RAD[1]


def shortest_concentric_s(start_velocity_rad_s: float) -> float:
    """Shortest concentric that a start at this speed leaves room for, s."""
    low, high = GATE_RAD
    return (2 * low + high - low) / start_velocity_rad_s / 0.8


def concentric_knots(rep: RepPlan, start_s: float) -> list[Knot]:
    """Knots from the bottom (at rest) to the top (at rest), the first one at `start_s`.

    With a wanted start velocity v the arm crosses bottom + 10° and bottom + 20° exactly 10°/v apart; what
    remains of the concentric takes what remains of its time. The angle never turns back.

    Raises
    ------
    UsageError
        If the start alone would take longer than the concentric.
    """
    top, end_s = rep.top_rad, start_s + rep.concentric_s
    knots = [Knot(start_s, rep.bottom_rad)]
    if rep.start_velocity_rad_s is not None:
        knots += _through_gate(rep, start_s, rep.start_velocity_rad_s)
    here = knots[-1]
    if rep.grind > 0:
        # A sticking point: around two thirds of the way, at a fraction of what an even pace would be.
        way, left_s = top - here.value, end_s - here.time_s
        sticking = max(rep.bottom_rad + 0.65 * (top - rep.bottom_rad), here.value + 0.4 * way)
        stuck = Knot(
            here.time_s + left_s * (0.35 + 0.2 * rep.grind), sticking, (1 - rep.grind) * way / left_s
        )
        knots += _carry(here, stuck)
        here = stuck
    if here.rate > 0:
        knots += _carry(here, Knot(end_s, top))
    elif rep.grind == 0:
        knots.append(Knot(end_s, top))
    return knots


def _through_gate(rep: RepPlan, start_s: float, wanted: float) -> list[Knot]:
    """Knots at the two edges of the start gate, speeding up or slowing down through it."""
    low, high = GATE_RAD
    rom = rep.top_rad - rep.bottom_rad
    if not 0 < wanted < math.inf:
        raise UsageError(
            f"the start velocity must be a positive speed, got {math.degrees(wanted):g} °/s", "try 57"
        )
    if rom <= SMALLEST_GATED_ROM_RAD:
        raise UsageError(
            f"a start velocity needs a range of motion above {math.degrees(SMALLEST_GATED_ROM_RAD):.0f}°",
            "choose a larger range or leave the start velocity free",
        )
    if rep.concentric_s < (1 - 1e-9) * shortest_concentric_s(wanted):
        slowest = wanted * shortest_concentric_s(wanted) / rep.concentric_s
        raise UsageError(
            f"a start of {math.degrees(wanted):.0f} °/s leaves no time for the rest of a "
            f"{rep.concentric_s:.2g} s concentric",
            f"make the concentric longer or start at {math.ceil(math.degrees(slowest))} °/s or more",
        )
    gate_s = (high - low) / wanted
    ready_s = 2 * low / wanted
    left_s = rep.concentric_s - ready_s - gate_s
    # What comes after decides whether the speed still rises in the gate; the change keeps the speed after
    # the gate monotone and the way to the gate within the time there is.
    pace = (rom - high) / (0.55 * left_s) - 0.36 * wanted
    change = 0.75 * (pace - wanted) * gate_s / (wanted * 0.4 * left_s)
    change = min(max(change, -0.12), 0.12)
    if left_s < 0.3 * rep.concentric_s:
        change = 0.0
    enter, leave = wanted * (1 - change), wanted * (1 + change)
    acceleration = (leave - enter) / gate_s
    if abs(change) > 1e-6:
        root = math.sqrt(enter**2 / 4 - acceleration * low / 3)
        ready_s = (enter / 2 - root) * 6 / acceleration
    enter_s = start_s + ready_s
    return [
        Knot(enter_s, rep.bottom_rad + low, enter, acceleration),
        Knot(enter_s + gate_s, rep.bottom_rad + high, leave, acceleration),
    ]


def _carry(here: Knot, there: Knot) -> list[Knot]:
    """Knots after `here` to `there` by way of a cruising speed; `there` without acceleration.

    Over a ramp from (v0, a0) to (v1, 0) with a cubic speed the way is (v0 + v1)/2·T + a0·T²/12.
    """
    span, way = there.time_s - here.time_s, there.value - here.value
    first, last = 0.4 * span, 0.5 * span
    # Shorten the ramps that would eat more way than there is.
    if here.rate * first / 2 > 0.35 * way:
        first = 0.7 * way / here.rate
    if there.rate * last / 2 > 0.35 * way:
        last = 0.7 * way / there.rate
    bent = here.acceleration * first**2 / 12
    if abs(bent) > 0.1 * way:
        first *= math.sqrt(0.1 * way / abs(bent))
        bent = here.acceleration * first**2 / 12
    middle = span - first - last
    cruise = (way - here.rate * first / 2 - bent - there.rate * last / 2) / (first / 2 + middle + last / 2)
    at_first = here.value + (here.rate + cruise) / 2 * first + bent
    return [
        Knot(here.time_s + first, at_first, cruise),
        Knot(there.time_s - last, at_first + cruise * middle, cruise),
        there,
    ]


def hold_knots(rep: RepPlan, top_start_s: float) -> list[Knot]:
    """Knots of the hold after the one at the top; in a third of it, at most 0.3 s, an arm comes to its sinking."""
    if rep.hold_s <= SHORTEST_S:
        return []
    end_s = top_start_s + rep.hold_s
    if rep.sink_rad == 0:
        return [Knot(end_s, rep.top_rad)]
    first_s = min(rep.hold_s / 3, 0.3)
    # The speed grows as a cubic: half of it on average.
    speed = rep.sink_rad / (rep.hold_s - first_s / 2)
    return [
        Knot(top_start_s + first_s, rep.top_rad - speed * first_s / 2, -speed),
        Knot(end_s, rep.top_rad - rep.sink_rad, -speed),
    ]


@dataclass(frozen=True, slots=True, kw_only=True)
class RepCourse:
    """A rep from rest at the bottom to rest at the bottom; n instants.

    Parameters
    ----------
    time_s : ndarray, shape (n,), s
        From the start of the concentric.
    angle : ndarray, shape (3, n)
        Movement angle in rad and its first two derivatives.
    forward, up : ndarray, shape (3, n)
        The shoulder's path in m and its first two derivatives.
    """

    time_s: FloatArray
    angle: FloatArray
    forward: FloatArray
    up: FloatArray


COURSE_RATE_HZ = 500.0


def rep_course(rep: RepPlan) -> RepCourse:
    """The course of a rep as a simulated session would go through it, without pulses, dip, tremor and a body's sway.

    Raises
    ------
    UsageError
        If the start takes longer than the concentric.
    """
    lowered_s = rep.concentric_s + rep.hold_s
    end_s = lowered_s + rep.eccentric_s
    time = np.arange(round(end_s * COURSE_RATE_HZ) + 1) / COURSE_RATE_HZ
    rise = concentric_knots(rep, 0.0)
    knots = [*rise, *hold_knots(rep, rise[-1].time_s), Knot(end_s, rep.lowest_end_rad)]
    body = Body()
    back_s = rep.concentric_s if rep.swing_returns == "within" else lowered_s + 0.5 * rep.eccentric_s
    out_s = body.swing_peak * rep.concentric_s

    def swung(reach_m: float) -> FloatArray:
        return Track(knots=(Knot(0.0, 0.0), Knot(out_s, reach_m), Knot(back_s, 0.0))).sample(time)

    return RepCourse(
        time_s=time,
        angle=Track(knots=tuple(knots)).sample(time),
        forward=swung(math.cos(body.swing_rise_rad) * rep.swing_m),
        up=swung(math.sin(body.swing_rise_rad) * rep.swing_m),
    )
