"""What is told at the gate: a speed, how sure it is, and whether the movement looks like one of the set."""

from __future__ import annotations

import math
from collections.abc import Sequence

from armarc.live.angle import Vector
from armarc.live.stretch import Stretch
from armarc.live.tracker import Gate
from armarc.reps.types import Rep

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


REMEMBERED = 12
ALIKE_AT_GATE = math.cos(math.radians(25))
"""Working limit: most hands pass the gate turned by less than 25° otherwise from rep to rep (people: 18–38° where
16° said nothing); simulated handling begins to be told between 28 and 35°."""
FASTER_AT_GATE = 3.0


def passed_alike(seen: Sequence[tuple[Vector, float]], up: Vector, speed_rad_s: float) -> bool:
    """Whether the arm passes the gate the way it did in the reps before, if there were any.

    Parameters
    ----------
    seen : sequence of (up, speed)
        Global up in sensor axes and rad/s, of the reps before.
    up : tuple of 3 floats
    speed_rad_s : float, rad/s
    """
    if not seen:
        return True
    ups, speeds = zip(*seen, strict=True)
    mean = [sum(c) for c in zip(*ups, strict=True)]
    size = math.sqrt(sum(c * c for c in mean)) or 1.0
    cosine = sum(a * b for a, b in zip(mean, up, strict=True)) / size
    usual: float = sorted(speeds)[len(speeds) // 2]
    return cosine > ALIKE_AT_GATE and 1 / FASTER_AT_GATE < speed_rad_s / usual < FASTER_AT_GATE


class ToldErrors:
    """What the reps so far say of the next one: how sure their measures are, and how far from those was told."""

    def __init__(self) -> None:
        self._missed: list[float] = []
        self._share = math.nan

    def hear(self, rep: Rep) -> None:
        """A rep whose start was told has been measured."""
        told, measured, se = rep.told_velocity_rad_s, rep.start_velocity_rad_s, rep.start_velocity_se_rad_s
        if told is not None and measured is not None and se is not None:
            self._missed = [*self._missed[1 - REMEMBERED :], told / measured - 1.0]
            self._share = se / measured

    def of(self, speed_rad_s: float, expected_se_rad_s: float) -> float:
        """Standard error of a start velocity that is about to be told, rad/s; before any rep has been measured, the
        one expected of its gate."""
        if not self._missed:
            return expected_se_rad_s
        missed = math.sqrt(sum(share**2 for share in self._missed) / len(self._missed))
        return speed_rad_s * math.hypot(self._share, missed)
