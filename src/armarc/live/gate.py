"""What the start gate tells the moment the arm has passed it, and how sure that is."""

from __future__ import annotations

import math

from armarc.live.stretch import Stretch
from armarc.live.tracker import Gate

SLOWEST_RAD_S = math.radians(3)
"""A rate in the gate is taken for at least this: an arm that stops there has no bounded error."""
UNCANCELLED = 0.5
"""Share of the error of the arm's direction that is not the same at the bottom and in the gate: what lies in the plane
of the movement cancels (working limit)."""


def speed_of(gate: Gate, stretch: Stretch) -> tuple[float, float]:
    """Start velocity and its standard error, rad/s.

    The gate stands on the bottom. A bottom that is off by δ moves both ends along a curve that gets steeper: with the
    rates ω at its ends the time between them changes by δ (1/ω_near − 1/ω_far). Straight lines between samples leave
    h²θ̈/8 of angle at each end.
    """
    near, far = stretch.exercise.gate_rad
    took_s = gate.far_s - gate.near_s
    speed = (far - near) / took_s
    slow, fast = (max(rate, SLOWEST_RAD_S) for rate in (gate.near_rad_s, gate.far_rad_s))
    axis = 0.0 if stretch.mounting is None else stretch.mounting.uncertainty_rad
    # A gate that counts from the vertical stands on nothing that errs alike.
    share = UNCANCELLED if stretch.exercise.gate_from == "bottom" else 1.0
    off = math.hypot(stretch.fusion.tilt_se_rad, share * axis if math.isfinite(axis) else math.pi)
    of_bottom = off * abs(1 / slow - 1 / fast)
    bent = stretch.period_s**2 * abs(fast - slow) / took_s / 8
    return speed, speed / took_s * math.hypot(of_bottom, bent / slow, bent / fast)


def is_provisional(stretch: Stretch, speed_rad_s: float | None, se_rad_s: float | None) -> bool:
    """Whether a verdict may turn: the arm's direction is not known yet, or an edge of the band is within one standard
    error."""
    band = stretch.exercise.band
    if stretch.is_provisional:
        return True
    if band is None or speed_rad_s is None or se_rad_s is None:
        return False
    return min(abs(speed_rad_s - band.low_rad_s), abs(speed_rad_s - band.high_rad_s)) < se_rad_s
