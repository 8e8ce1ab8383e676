"""A stage for the arm: resting places, moves and waves of every coordinate while time runs on."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from armarc.simulate.plan import SessionPlan
from armarc.simulate.tracks import Knot, Track, Wave

CHANNELS = (
    *("theta", "gamma", "torsion", "elbow", "pronation"),
    *("heading", "tip", "lean", "x", "y", "z"),
    *("strap_roll", "strap_tilt"),
)
SAGITTAL = math.pi / 2
SHORTEST_S = 1e-6
"""Anything shorter is no time at all."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Event:
    """Something that happened beside the reps, s from the recording's first sample."""

    what: str
    start_s: float
    end_s: float


class Choreography:
    """Collects knots, waves and events while time runs on; the present is `now_s`.

    `rng` drives what happens around the sets, `body_rng` what the body does of itself, so that the same seed gives the
    same session to another body.
    """

    def __init__(self, plan: SessionPlan, rng: np.random.Generator, body_rng: np.random.Generator) -> None:
        self.plan = plan
        self.rng = rng
        self.body_rng = body_rng
        self.events: list[Event] = []
        self.now_s = 0.0
        self.knots: dict[str, list[Knot]] = {name: [Knot(0.0, 0.0)] for name in CHANNELS}
        self.waves: dict[str, list[Wave]] = {name: [] for name in CHANNELS}

    def value(self, name: str) -> float:
        """Where a channel rests now."""
        return self.knots[name][-1].value

    def place(self, **values: float) -> None:
        """Set where channels are at the very beginning."""
        for name, value in values.items():
            self.knots[name] = [Knot(0.0, value)]

    def wait(self, duration_s: float) -> None:
        """Stay."""
        self.now_s += duration_s

    def note(self, what: str, start_s: float, end_s: float | None = None) -> None:
        """Write down what happened from an instant until another, or until now."""
        self.events.append(Event(what=what, start_s=start_s, end_s=self.now_s if end_s is None else end_s))

    def follow(self, name: str, knots: Sequence[Knot]) -> None:
        """Add knots to a channel; the first one is where it rests and when it sets off."""
        last = self.knots[name][-1]
        if knots[0].time_s > last.time_s + SHORTEST_S:
            self.knots[name].append(Knot(knots[0].time_s, last.value))
        self.knots[name].extend(knots[1:])

    def move(self, duration_s: float, **targets: float) -> None:
        """Take channels to new resting places by minimum-jerk moves, and let the time pass."""
        end_s = self.now_s + duration_s
        for name, target in targets.items():
            self.follow(name, [Knot(self.now_s, 0.0), Knot(end_s, target)])
        self.now_s = end_s

    def wave(
        self,
        name: str,
        amplitude: float,
        frequency_hz: float,
        *,
        start_s: float,
        end_s: float,
        ramp_s: float,
        phase_rad: float | None = None,
        decay_per_s: float = 0.0,
    ) -> None:
        """Add a wave between two instants, by default with a random phase."""
        phase = float(self.rng.uniform(0, 2 * np.pi)) if phase_rad is None else phase_rad
        self.waves[name].append(
            Wave(
                amplitude=amplitude,
                frequency_hz=frequency_hz,
                phase_rad=phase,
                start_s=start_s,
                end_s=end_s,
                ramp_s=min(ramp_s, (end_s - start_s) / 2),
                decay_per_s=decay_per_s,
            )
        )

    def shift(self, forward_m: float, up_m: float) -> dict[str, float]:
        """Targets of the shoulder for a move relative to where it is and to the heading."""
        heading = self.value("heading")
        return {
            "x": self.value("x") + forward_m * math.cos(heading),
            "y": self.value("y") + forward_m * math.sin(heading),
            "z": self.value("z") + up_m,
        }

    def finish(self) -> dict[str, Track]:
        """The tracks, with a body that is never perfectly still."""
        end_s = self.now_s
        # The trunk wanders by millimetres, the arm by tenths of a degree, more about its own axis.
        sway = self.plan.sway_m
        sizes = {"x": sway, "y": sway, "z": 0.3 * sway}
        sizes |= {"theta": 0.5 * sway, "gamma": 3 * sway, "torsion": 4 * sway}
        self._wander(sizes, self.rng)
        tilt = self.plan.body.sway_rad
        self._wander({"tip": tilt, "lean": tilt}, self.body_rng)
        for knots in self.knots.values():
            if knots[-1].time_s < end_s - SHORTEST_S:
                knots.append(Knot(end_s, knots[-1].value))
        return {
            name: Track(knots=tuple(self.knots[name]), waves=tuple(self.waves[name])) for name in CHANNELS
        }

    def _wander(self, sizes: dict[str, float], rng: np.random.Generator) -> None:
        for name, size in sizes.items():
            for frequency in rng.uniform(0.08, 0.9, 5) if size > 0 else ():
                # Slow wander is large, quick wander small.
                part = 0.35 * size * rng.uniform(0.5, 1.5) * min(1.0, 0.25 / frequency)
                self.waves[name].append(
                    Wave(
                        amplitude=float(part),
                        frequency_hz=float(frequency),
                        phase_rad=float(rng.uniform(0, 2 * np.pi)),
                    )
                )
