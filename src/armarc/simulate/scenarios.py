"""Bodies by name, drawn anew for every seed: what people do with a dumbbell, in sizes that people do it.

Sizes are working limits and common practice, no source.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace

import numpy as np

from armarc.errors import UsageError
from armarc.simulate.body import Body
from armarc.simulate.options import SimulationOptions, plan_session
from armarc.simulate.patterns import find_pattern
from armarc.simulate.plan import MountPlan, SensorPlan, SessionPlan

SWINGS_M = (0.023, 0.058, 0.117)


def _deg(rng: np.random.Generator, low: float, high: float) -> float:
    return math.radians(float(rng.uniform(low, high)))


def _either(rng: np.random.Generator) -> float:
    return float(rng.choice([-1.0, 1.0]))


def _usual(rng: np.random.Generator) -> Body:
    """Straight elbow; a little lean, sway, shrug and turning of the forearm, about 1° of strap wobble."""
    return Body(
        elbow_bottom_rad=_deg(rng, 0, 5),
        pronation_rad=_deg(rng, 5, 30) * _either(rng),
        girdle_rise_m=float(rng.uniform(0.02, 0.04)),
        lean_rad=_deg(rng, -2, 2),
        stoop_rad=_deg(rng, 0, 5),
        lean_travel_rad=_deg(rng, 0, 3),
        sway_rad=_deg(rng, 0.1, 0.5),
        arm_follows_trunk=float(rng.choice([1.0, rng.uniform(0, 1)])),
        swing_rise_rad=_deg(rng, 20, 85),
        swing_peak=float(rng.uniform(0.4, 0.65)),
        wobble_rad=_deg(rng, 0.5, 1.5),
        wobble_hz=float(rng.uniform(5, 9)),
        wobble_damping=float(rng.choice([0.0, rng.uniform(0.05, 0.3)])),
    )


def _bending(rng: np.random.Generator) -> Body:
    low = _deg(rng, 4, 12)
    return replace(_usual(rng), elbow_bottom_rad=low, elbow_top_rad=low + _deg(rng, 10, 24))


def _bent(rng: np.random.Generator) -> Body:
    return replace(_usual(rng), elbow_bottom_rad=_deg(rng, 10, 30))


def _tipping(rng: np.random.Generator) -> Body:
    body, tip_s = _usual(rng), float(rng.uniform(0.35, 0.7))
    return replace(
        body, tip_rad=_deg(rng, 8, 15), tip_s=tip_s, tip_lead_s=tip_s * float(rng.uniform(0.0, 1.2))
    )


def _slipping(rng: np.random.Generator) -> Body:
    return replace(
        _usual(rng),
        slip_tilt_rad=_deg(rng, 4, 12) * _either(rng),
        slip_roll_rad=_deg(rng, 0, 10) * _either(rng),
    )


def _resting_in_front(rng: np.random.Generator) -> Body:
    return replace(_usual(rng), rest_plane_rad=_deg(rng, 60, 85))


def _girdle_only(rng: np.random.Generator) -> Body:
    return Body(girdle_rise_m=float(rng.uniform(0.03, 0.045)))


BODIES: dict[str, Callable[[np.random.Generator], Body]] = {
    "rigid": lambda rng: Body(),
    "straight-elbow": _usual,
    "bending-elbow": _bending,
    "bent-elbow": _bent,
    "tipping-trunk": _tipping,
    "rising-girdle": _girdle_only,
    "slipping-strap": _slipping,
    "resting-in-front": _resting_in_front,
}
SWINGING = "swinging"
"""The straight-elbow body with a planned swing; every other scenario is named after its body."""
SCENARIOS = (*BODIES, SWINGING)


def draw_body(kind: str, seed: int) -> Body:
    """A body of a kind, another one for every seed.

    Raises
    ------
    UsageError
        If there is no such kind.
    """
    if kind not in BODIES:
        raise UsageError(f"there is no body called {kind!r}", "one of " + ", ".join(BODIES))
    return BODIES[kind](np.random.default_rng([seed, 11]))


def draw_options(scenario: str, seed: int) -> SimulationOptions:
    """A whole set with a body of a kind: another lifter, strap and sensor for every seed.

    The planned starts lie in the usual band (45–70 °/s), 2 °/s and more from its edges; the seed draws them, tempo,
    range, side, strap and sensor independently of the scenario, so that the same seed in two scenarios is the same set
    by two bodies.

    Raises
    ------
    UsageError
        If there is no such scenario.
    """
    body = draw_body("straight-elbow" if scenario == SWINGING else scenario, seed)
    rng = np.random.default_rng([seed, 12])
    options = SimulationOptions(
        reps=int(rng.integers(6, 13)),
        eccentric_s=float(rng.uniform(1.4, 3.0)),
        pause_s=float(rng.uniform(0.1, 0.8)),
        concentric_s=float(rng.uniform(1.3, 2.2)),
        hold_s=float(rng.uniform(0.0, 0.5)),
        start_velocity_rad_s=_deg(rng, 47, 68),
        bottom_rad=_deg(rng, 6, 13),
        top_rad=_deg(rng, 78, 100),
        pattern=find_pattern(
            str(rng.choice(["lateral-raise", "lateral-raise", "scaption-raise", "front-raise"]))
        ),
        side=str(rng.choice(["right", "left"])),
        still_s=float(rng.uniform(1.0, 3.0)),
        sway_m=float(rng.uniform(0.001, 0.004)),
        body=body,
        mount=MountPlan(
            strap=str(rng.choice(["back", "inside"])),
            hand_axis=str(rng.choice(["+x", "-x", "+y", "-y"])),
            roll_rad=_deg(rng, -15, 15),
            tilt_rad=_deg(rng, 0, 8),
            height_m=float(rng.uniform(0.015, 0.035)),
            reach_m=float(rng.uniform(0.5, 0.65)),
        ),
        sensor=SensorPlan(
            noise=str(rng.choice(["good", "common", "common", "poor"])),
            rate_hz=float(rng.choice([50.0, 100.0, 200.0])),
        ),
    )
    if scenario == SWINGING:
        swing_m = SWINGS_M[int(rng.integers(len(SWINGS_M)))]
        options = replace(options, swing_m=swing_m, swing_returns=str(rng.choice(["within", "after"])))
    elif scenario == "resting-in-front":
        options = replace(options, hang_turn_rad=_deg(rng, 50, 85))
    return options


def draw_session(scenario: str, seed: int) -> SessionPlan:
    """The plan of `draw_options`, ready for `armarc.simulate.simulate_session`."""
    return plan_session(draw_options(scenario, seed), seed)
