"""What else lifters do, and what else sensors are, than `engine_kinds` has; drawn anew for every seed.

Sizes that people do it in: working limits and common practice, no source.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
from engine_body import Person
from engine_kinds import Case, deg, drawn_by, either, usual, with_ways
from engine_moves import Set, Way
from engine_sensor import Sensor

Drawn = tuple[Person, Set]


def _seated(rng, exercise):
    """Against a back rest: leans back and hardly moves."""
    person, plan = usual(rng, exercise)
    back = -deg(rng, 5, 25)
    lean = plan.hinges["lean"]
    plan = with_ways(plan, tip=Way(low=back, high=back), lean=Way(low=lean.low, high=lean.low))
    return person, replace(plan, follows=0.0, sway_rad=deg(rng, 0.03, 0.1))


def _leaning(rng, exercise):
    """Holds on with the other hand and leans away from the arm."""
    person, plan = usual(rng, exercise)
    lean = -deg(rng, 12, 28)
    plan = with_ways(plan, lean=Way(low=lean, high=lean + deg(rng, 0, 2)))
    return person, replace(plan, follows=0.0)


def _turning_hand(rng, exercise):
    """Thumb up or down above, from forward below."""
    person, plan = usual(rng, exercise)
    return person, with_ways(plan, pronation=Way(low=deg(rng, -10, 10), high=deg(rng, 35, 80) * either(rng)))


def _explosive(rng, exercise):
    person, plan = usual(rng, exercise)
    return person, replace(plan, up_s=float(rng.uniform(0.45, 0.8)), down_s=float(rng.uniform(2.5, 4.5)))


def _dropping(rng, exercise):
    person, plan = usual(rng, exercise)
    return person, replace(plan, up_s=float(rng.uniform(1.4, 2.5)), down_s=float(rng.uniform(0.45, 0.7)))


def _last_partials(rng, exercise):
    person, plan = usual(rng, exercise)
    reps, short = int(rng.integers(7, 13)), int(rng.integers(2, 5))
    shares = np.sort(rng.uniform(0.4, 0.8, short))[::-1]
    partial = {reps - short + k: float(share) for k, share in enumerate(shares)}
    return person, replace(plan, reps=reps, partial=partial, slower=0.4)


def _never_home(rng, exercise):
    """The arm does not come down between reps."""
    person, plan = usual(rng, exercise)
    return person, replace(plan, kept=float(rng.uniform(0.12, 0.35)), pause_s=float(rng.uniform(0.0, 0.3)))


def _rest_pause(rng, exercise):
    person, plan = usual(rng, exercise)
    middle = int(rng.integers(2, plan.reps - 1))
    return person, replace(plan, rests={middle: float(rng.uniform(3, 8))})


def _slipping(rng, exercise):
    """The strap gives way in one jerk, in the middle third of the set."""
    person, plan = usual(rng, exercise)
    about, rocked = deg(rng, 8, 35) * either(rng), deg(rng, 1, 6) * either(rng)
    return person, replace(plan, slip=(float(rng.uniform(0.33, 0.67)), about, rocked))


def _pulled(rng, exercise, spring: bool):
    """A cable of constant force, or a band, from beside the feet or across the body."""
    person, plan = usual(rng, exercise)
    person = replace(person, load_kg=0.0)
    out, up, forward = (
        float(rng.uniform(-0.7, 0.2)),
        float(rng.uniform(-1.35, -1.0)),
        float(rng.uniform(-0.1, 0.1)),
    )
    size = float(rng.uniform(60, 140) if spring else rng.uniform(30, 80))
    length = float(rng.uniform(0.3, 0.6))

    def pull(grip: np.ndarray, shoulder: np.ndarray) -> np.ndarray:
        away = shoulder + np.array([forward, -person.mirror * out, up]) - grip
        far = float(np.linalg.norm(away))
        return (size * max(far - length, 0.0) if spring else size) * away / far

    place = f"{out:.4f}/{up:.4f}/{forward:.4f}"
    stated = (
        f"band:{size:.4f}N/m,anchor={place},length={length:.4f}m"
        if spring
        else f"cable:{size:.4f}N,pulley={place}"
    )
    return replace(person, pull=pull), plan, {"resistance": (stated,), "load_kg": None}


def _cable(rng, exercise):
    return _pulled(rng, exercise, spring=False)


def _band(rng, exercise):
    return _pulled(rng, exercise, spring=True)


def _fast(rng, exercise):
    person, plan = usual(rng, exercise)
    times = {"up_s": float(rng.uniform(0.45, 0.7)), "down_s": float(rng.uniform(0.5, 0.8)), "hold_s": 0.05}
    return person, replace(plan, **times)


HABITS: dict[str, Callable[[np.random.Generator, str], Any]] = {
    "seated": _seated,
    "leaning": _leaning,
    "turning-hand": _turning_hand,
    "explosive": _explosive,
    "dropping": _dropping,
    "last-partials": _last_partials,
    "never-home": _never_home,
    "rest-pause": _rest_pause,
    "slipping": _slipping,
    "cable": _cable,
    "band": _band,
}
SENSORS: dict[str, tuple[Callable[[np.random.Generator, str], Any], Sensor]] = {
    "25-hz": (usual, Sensor(rate_hz=25)),
    "50-hz": (usual, Sensor(rate_hz=50)),
    "52-hz-fast": (_fast, Sensor(rate_hz=52)),
    "208-hz": (usual, Sensor(rate_hz=208)),
    "400-hz": (usual, Sensor(rate_hz=400)),
    "jitter": (usual, Sensor(late_s=0.004)),
    "500-deg-s": (_fast, Sensor(most_g=4, most_deg_s=500)),
    "saturated": (_fast, Sensor(most_g=2, most_deg_s=250)),
}


def draw_habit(kind: str, seed: int) -> Case:
    """A raise by a habit, or as a sensor reads it; the same seed is the same raise."""
    if kind in SENSORS:
        how, sensor = SENSORS[kind]
        return drawn_by(how, kind, seed, sensor)
    return drawn_by(HABITS[kind], kind, seed)
