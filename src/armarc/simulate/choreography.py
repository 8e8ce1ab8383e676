"""A stage for the arm: resting places, moves and waves of every coordinate while time runs on; and what an arm does
that is no rep: reference moves, picking up, walking, fidgeting.

Amplitudes and rhythms are common practice, no source, except the arm swing's about 1 Hz at 2 steps per s.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from armarc.simulate.plan import SessionPlan, SetPlan
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


HANGING_RAD = math.radians(6)


def twist_forearm(stage: Choreography) -> None:
    """Turn the forearm palm in, palm out, twice, the arm hanging."""
    theta, torsion, began_s = stage.value("theta"), stage.value("torsion"), stage.now_s
    if theta > math.radians(20):
        stage.move(1.0, theta=HANGING_RAD)
    for _ in range(2):
        stage.move(0.7, torsion=torsion + math.radians(70))
        stage.move(1.1, torsion=torsion - math.radians(60))
        stage.move(0.7, torsion=torsion)
    stage.wait(0.8)
    if theta > math.radians(20):
        stage.move(1.0, theta=theta)
        stage.wait(0.5)
    stage.note("twist", began_s)


def raise_to_front(stage: Choreography) -> None:
    """One slow raise straight to the front, thumb up, and back."""
    began_s = stage.now_s
    back = {name: stage.value(name) for name in ("theta", "gamma", "torsion")}
    stage.move(1.0, theta=HANGING_RAD, gamma=SAGITTAL, torsion=0.0)
    stage.wait(0.3)
    stage.move(1.6, theta=math.radians(90))
    stage.wait(0.7)
    stage.move(1.6, theta=HANGING_RAD)
    stage.wait(0.3)
    stage.move(1.0, **back)
    stage.note("front raise", began_s)
    stage.wait(0.8)


def reach_for_weight(stage: Choreography, posture: Mapping[str, float], what: str) -> None:
    """Bend down, fumble with the weight, come up again."""
    rng, began_s = stage.rng, stage.now_s
    down_s, up_s = rng.uniform(0.9, 1.5), rng.uniform(0.9, 1.4)
    low = stage.shift(rng.uniform(0.2, 0.35), -rng.uniform(0.4, 0.55))
    high = stage.shift(0.0, 0.0)
    stage.move(
        float(down_s),
        theta=float(rng.uniform(0.1, 0.4)),
        gamma=float(rng.uniform(0.8, 1.5)),
        torsion=stage.value("torsion") + float(rng.uniform(-0.6, 0.6)),
        **low,
    )
    touch_s = stage.now_s
    for _ in range(int(rng.integers(2, 4))):
        stage.move(
            float(rng.uniform(0.2, 0.4)),
            theta=float(rng.uniform(0.1, 0.4)),
            torsion=stage.value("torsion") + float(rng.uniform(-0.3, 0.3)),
        )
    # The weight meets the floor or leaves it.
    stage.wave("z", 4e-4, 18, start_s=touch_s + 0.05, end_s=touch_s + 0.2, ramp_s=0.05)
    stage.move(float(up_s), **posture, **high)
    stage.note(what, began_s)
    stage.wait(float(rng.uniform(0.4, 0.9)))


def rest(stage: Choreography, set_plan: SetPlan, posture: Mapping[str, float]) -> None:
    """Fill the rest after a set: hang, fidget, walk up and down, get back into position."""
    end_s = stage.now_s + set_plan.rest_s
    rng = stage.rng
    if set_plan.rest_s < 4:
        stage.wait(set_plan.rest_s)
        return
    stage.move(0.9, theta=HANGING_RAD, gamma=math.radians(40), torsion=0.0)
    back_s = 1.2
    while end_s - stage.now_s > 8 + back_s and (set_plan.walk or set_plan.fidget):
        if set_plan.walk and (not set_plan.fidget or rng.random() < 0.6):
            walk(stage, float(min(rng.uniform(5, 9), end_s - stage.now_s - back_s - 2.5)))
            stage.move(1.1, heading=stage.value("heading") + math.pi * float(rng.choice([-1, 1])))
        elif set_plan.fidget:
            fidget(stage)
        stage.wait(float(rng.uniform(0.4, 1.5)))
    stage.wait(max(0.0, end_s - stage.now_s - back_s))
    stage.move(back_s, **posture)


def walk(stage: Choreography, duration_s: float) -> None:
    """Walk in the direction of the heading, the arm swinging, a small impact at every step."""
    rng = stage.rng
    swing_hz = float(rng.uniform(0.85, 1.05))
    start_s, end_s = stage.now_s, stage.now_s + duration_s
    stage.note("walking", start_s, end_s)
    gamma, theta = stage.value("gamma"), stage.value("theta")
    stage.move(0.6, gamma=SAGITTAL, theta=0.1)
    swing = math.radians(float(rng.uniform(18, 28)))
    stage.wave("theta", swing, swing_hz, start_s=start_s + 0.5, end_s=end_s - 0.3, ramp_s=1.0)
    stage.wave("torsion", 0.15, swing_hz, start_s=start_s + 0.5, end_s=end_s - 0.3, ramp_s=1.0)
    # The trunk rises and falls twice per stride, by about 4 cm in all.
    stage.wave("z", 0.02, 2 * swing_hz, start_s=start_s + 0.5, end_s=end_s - 0.3, ramp_s=1.0)
    step_s = start_s + 0.8
    while step_s < end_s - 0.6:
        size = float(rng.uniform(3e-4, 8e-4))
        stage.wave("z", size, float(rng.uniform(12, 18)), start_s=step_s, end_s=step_s + 0.14, ramp_s=0.05)
        step_s += 0.5 / swing_hz * float(rng.uniform(0.97, 1.03))
    stage.move(end_s - stage.now_s - 0.6, **stage.shift(1.1 * (duration_s - 1.2), 0.0))
    stage.move(0.6, gamma=gamma, theta=theta)


def fidget(stage: Choreography) -> None:
    """Scratch the nose, drink, or shake out the arm."""
    rng = stage.rng
    back = {name: stage.value(name) for name in ("theta", "gamma", "torsion")}
    kind, began_s = str(rng.choice(["scratch", "drink", "shake"])), stage.now_s
    if kind == "shake":
        start_s = stage.now_s
        for name, size in (("torsion", 0.3), ("theta", 0.04)):
            stage.wave(
                name, size, float(rng.uniform(2, 3.5)), start_s=start_s, end_s=start_s + 2.5, ramp_s=0.5
            )
        stage.wait(2.6)
        stage.note("shaking out the arm", began_s)
        return
    high = float(rng.uniform(1.9, 2.4)) if kind == "scratch" else float(rng.uniform(1.6, 2.1))
    stage.move(
        float(rng.uniform(0.6, 1.0)),
        theta=high,
        gamma=float(rng.uniform(1.3, 1.9)),
        torsion=float(rng.uniform(0.3, 1.0)),
    )
    if kind == "scratch":
        start_s = stage.now_s
        stage.wave("theta", 0.03, 4.0, start_s=start_s, end_s=start_s + 1.2, ramp_s=0.2)
        stage.wait(1.3)
    else:
        stage.wait(float(rng.uniform(0.5, 1.0)))
        stage.move(0.5, theta=high + 0.3)
        stage.wait(float(rng.uniform(1.0, 2.5)))
        stage.move(0.5, theta=high)
    stage.move(float(rng.uniform(0.7, 1.1)), **back)
    stage.note("scratching" if kind == "scratch" else "drinking", began_s)
