"""The path of the movement angle through one rep, as knots for a `Track`."""

from __future__ import annotations

import math

from armarc.errors import UsageError
from armarc.simulate.plan import RepPlan
from armarc.simulate.tracks import Knot

GATE_RAD = (math.radians(10), math.radians(20))
SMALLEST_GATED_ROM_RAD = 1.25 * GATE_RAD[1]


def shortest_concentric_s(start_velocity_rad_s: float) -> float:
    """Shortest concentric that a start at this speed leaves room for, s."""
    low, high = GATE_RAD
    return (2 * low + high - low) / start_velocity_rad_s / 0.8


def concentric_knots(rep: RepPlan, start_s: float) -> list[Knot]:
    """Knots from the bottom (at rest) to the top (at rest), the first one at `start_s`.

    With a wanted start velocity v the arm crosses bottom + 10° and bottom + 20° exactly 10°/v apart; what
    remains of the concentric takes what remains of its time. Every piece has a monotone velocity, so that
    the angle never turns back.

    Raises
    ------
    UsageError
        If the start alone would take longer than the concentric.
    """
    bottom, top, end_s = rep.bottom_rad, rep.top_rad, start_s + rep.concentric_s
    knots = [Knot(start_s, bottom)]
    time_s, angle, rate = start_s, bottom, 0.0
    if rep.start_velocity_rad_s is not None:
        wanted = rep.start_velocity_rad_s
        low, high = GATE_RAD
        if not 0 < wanted < math.inf:
            raise UsageError(
                f"the start velocity must be a positive speed, got {math.degrees(wanted):g} °/s", "try 57"
            )
        if top - bottom <= SMALLEST_GATED_ROM_RAD:
            raise UsageError(
                f"a start velocity needs a range of motion above {math.degrees(SMALLEST_GATED_ROM_RAD):.0f}°",
                "raise --rom or leave the start velocity out",
            )
        # A smooth ramp of the speed from rest takes twice the time the way would take at full speed.
        until_gate_s, gate_s = 2 * low / wanted, (high - low) / wanted
        if rep.concentric_s < (1 - 1e-9) * shortest_concentric_s(wanted):
            slowest = wanted * shortest_concentric_s(wanted) / rep.concentric_s
            raise UsageError(
                f"a start of {math.degrees(wanted):.0f} °/s leaves no time for the rest of a "
                f"{rep.concentric_s:.2g} s concentric",
                f"make the concentric longer or start at {math.ceil(math.degrees(slowest))} °/s or more",
            )
        knots += [
            Knot(start_s + until_gate_s, bottom + low, wanted),
            Knot(start_s + until_gate_s + gate_s, bottom + high, wanted),
        ]
        time_s, angle, rate = knots[-1].time_s, knots[-1].value, wanted
    if rep.grind > 0:
        # A sticking point: slow around two thirds of the way, a fraction of what an even pace would be.
        sticking = bottom + max(0.65 * (top - bottom), (angle - bottom) + 0.4 * (top - angle))
        left_s = end_s - time_s
        slow = (1 - rep.grind) * (top - angle) / left_s
        stick_s = time_s + left_s * (0.35 + 0.2 * rep.grind)
        knots += _carry(time_s, angle, rate, stick_s, sticking, slow)
        knots += _carry(stick_s, sticking, slow, end_s, top, 0.0)
    elif rate > 0:
        knots += _carry(time_s, angle, rate, end_s, top, 0.0)
    else:
        knots.append(Knot(end_s, top))
    return knots


def _carry(t0: float, x0: float, v0: float, t1: float, x1: float, v1: float) -> list[Knot]:
    """Knots from (x0, v0) to (x1, v1) by way of a cruising speed, speed monotone between the knots."""
    span, way = t1 - t0, x1 - x0
    first, last = 0.4 * span, 0.5 * span
    # Shorten the ramps that would eat more way than there is.
    if v0 * first / 2 > 0.35 * way:
        first = 0.7 * way / v0
    if v1 * last / 2 > 0.35 * way:
        last = 0.7 * way / v1
    middle = span - first - last
    cruise = (way - v0 * first / 2 - v1 * last / 2) / (first / 2 + middle + last / 2)
    at_first = x0 + (v0 + cruise) / 2 * first
    return [
        Knot(t0 + first, at_first, cruise),
        Knot(t1 - last, at_first + cruise * middle, cruise),
        Knot(t1, x1, v1),
    ]
