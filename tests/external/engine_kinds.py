"""Bodies, movements and sensors by name, drawn anew for every seed; and the whole way to the tool's result beside the
engine's truth.

What people do with a dumbbell in sizes that people do it: working limits and common practice, no source.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

import engine_truth
import numpy as np
from engine_body import Lifted, Person, lift
from engine_moves import Marks, Set, Way, course
from engine_sensor import USUAL_SENSOR, Sensor, chest, recorded
from scipy.spatial.transform import Rotation

import armarc
from armarc.load import Lifter

PLANES_DEG = {"lateral-raise": (0, 25), "scaption-raise": (28, 42), "front-raise": (75, 95)}


def deg(rng: np.random.Generator, low: float, high: float) -> float:
    return math.radians(float(rng.uniform(low, high)))


def either(rng: np.random.Generator) -> float:
    return float(rng.choice([-1.0, 1.0]))


@dataclass(frozen=True, kw_only=True)
class Case:
    """A lifter's set."""

    kind: str
    seed: int
    exercise: str
    person: Person
    plan: Set
    says: dict[str, Any]
    """Options of measuring that the lifter states."""
    sensor: Sensor = USUAL_SENSOR


@dataclass(frozen=True, kw_only=True)
class Outcome:
    """What the engine says and what the tool says of a case."""

    case: Case
    lifted: Lifted
    marks: list[Marks]
    truth: list[dict[str, float | None]]
    session: armarc.Session
    record: dict[str, Any]

    @property
    def reps(self) -> list[dict[str, Any]]:
        return [rep for one in self.record["sets"] for rep in one["reps"]]


@dataclass(frozen=True, kw_only=True)
class Worn:
    """Where a strap sits, as `engine_body.Person` has it; what of it is stated: none, or place and axis."""

    outward: tuple[float, float, float]
    turned: Rotation
    says: dict[str, str]


def worn(rng: np.random.Generator, side: str) -> Worn:
    """A strap at any place and attitude, or on the back or inside of the wrist within 15° about it and 8° askew."""
    mirror = 1.0 if side == "right" else -1.0
    if rng.random() < 0.5:
        about = deg(rng, -180, 180)
        turned = Rotation.random(random_state=int(rng.integers(2**31)))
        return Worn(outward=(math.sin(about), -math.cos(about), 0.0), turned=turned, says={})
    strap, axis = str(rng.choice(["back", "inside"])), str(rng.choice(["+x", "-x", "+y", "-y"]))
    face = np.array([0.0, -mirror if strap == "back" else mirror, 0.0])
    columns = np.zeros((3, 3))
    hand = "xyz".index(axis[1])
    columns[:, hand] = np.array([0.0, 0.0, -1.0]) * (-1.0 if axis[0] == "-" else 1.0)
    columns[:, 2] = face
    columns[:, 1 - hand] = np.cross(columns[:, (2 - hand) % 3], columns[:, (3 - hand) % 3])
    roll = Rotation.from_rotvec([0, 0, deg(rng, -15, 15)])
    skew = Rotation.from_rotvec(
        deg(rng, 0, 8) * np.array([math.cos(a := deg(rng, -180, 180)), math.sin(a), 0])
    )
    turned = roll * skew * Rotation.from_matrix(columns)
    place = roll.apply(face) * [1.0, mirror, 1.0]
    return Worn(outward=tuple(place.tolist()), turned=turned, says={"strap": strap, "hand_axis": axis})


def usual(rng: np.random.Generator, exercise: str) -> tuple[Person, Set]:
    """Straight elbow; a little lean, shrug, sway and turning of the forearm; a strap as tight as a watch's."""
    side = str(rng.choice(["right", "left"]))
    sex = str(rng.choice(["male", "female"]))
    upper, fore = float(rng.uniform(0.25, 0.34)), float(rng.uniform(0.22, 0.29))
    stated = worn(rng, side)
    person = Person(
        side=side,
        sex=sex,
        body_mass_kg=float(rng.uniform(50, 95)),
        upper_arm_m=upper,
        forearm_m=fore,
        hand_m=0.3 * fore + 0.005,
        grip_m=float(rng.uniform(0.06, 0.09)),
        clavicle_m=float(rng.uniform(0.13, 0.18)),
        carrying_rad=deg(rng, 0, 10),
        load_kg=float(rng.choice([2, 4, 6, 8, 10])),
        along_m=fore - float(rng.uniform(0.015, 0.05)),
        height_m=float(rng.uniform(0.025, 0.04)),
        outward=stated.outward,
        worn=stated.turned,
        says=stated.says,
        strap_hz=(float(rng.uniform(18, 30)), float(rng.uniform(18, 30))),
        strap_damping=float(rng.uniform(0.15, 0.5)),
    )
    plane = deg(rng, *PLANES_DEG[exercise])
    plan = Set(
        reps=int(rng.integers(5, 13)),
        up_s=float(rng.uniform(1.1, 2.2)),
        down_s=float(rng.uniform(1.4, 3.0)),
        hold_s=float(rng.uniform(0.05, 0.6)),
        pause_s=float(rng.uniform(0.1, 0.9)),
        still_s=float(rng.uniform(1.5, 3.0)),
        shape=(float(rng.uniform(2.6, 3.2)), float(rng.uniform(3.0, 4.2))),
        elevation=Way(low=deg(rng, 6, 14), high=deg(rng, 75, 100)),
        plane=Way(low=plane + deg(rng, -8, 8), high=plane),
        twist=Way(low=deg(rng, -10, 10), high=deg(rng, -15, 15)),
        hinges={
            "rise": Way(low=deg(rng, 0, 2), high=deg(rng, 6, 14), late_s=float(rng.uniform(-0.05, 0.1))),
            "draw": Way(high=deg(rng, -4, 4)),
            "elbow": Way(low=(bend := deg(rng, 2, 8)), high=bend + deg(rng, -1, 1)),
            "pronation": Way(high=deg(rng, 5, 30) * either(rng)),
            "tip": Way(low=deg(rng, 0, 5), high=deg(rng, 0, 5)),
            "lean": Way(low=(lean := deg(rng, -2, 2)), high=lean + deg(rng, 0, 2.5)),
        },
        follows=float(rng.choice([0.0, 1.0, rng.uniform(0, 1)])),
        slower=float(rng.uniform(0.0, 0.4)),
        sway_rad=deg(rng, 0.1, 0.4),
    )
    return person, plan


def with_ways(plan: Set, **ways: Way) -> Set:
    return replace(plan, hinges={**plan.hinges, **ways})


def _rigid(rng, exercise):
    person, plan = usual(rng, exercise)
    still = {"elbow": Way()}
    plan = replace(
        plan, hinges=still, sway_rad=0.0, twist=Way(), plane=replace(plan.plane, low=plan.plane.high)
    )
    return replace(person, carrying_rad=0.0, strap_hz=(60.0, 60.0)), plan


def _bending(rng, exercise):
    person, plan = usual(rng, exercise)
    low = deg(rng, 4, 12)
    return person, with_ways(plan, elbow=Way(low=low, high=low + deg(rng, 10, 24)))


def _bent(rng, exercise):
    person, plan = usual(rng, exercise)
    bend = deg(rng, 12, 30)
    return person, with_ways(plan, elbow=Way(low=bend, high=bend + deg(rng, -2, 2)))


def _straightening(rng, exercise):
    """As one person's raises with optical truth do, by 6°."""
    person, plan = usual(rng, exercise)
    low = deg(rng, 12, 28)
    return person, with_ways(plan, elbow=Way(low=low, high=max(low - deg(rng, 8, 20), deg(rng, 2, 4))))


def _leaning(rng, exercise):
    """The trunk goes with the arm both ways: 9 and 4° in raises with optical truth, 3–13° by people's chests."""
    person, plan = usual(rng, exercise)
    low = deg(rng, -2, 2)
    return person, with_ways(plan, lean=Way(low=low, high=low + deg(rng, 4, 12)))


def _tipping(rng, exercise):
    person, plan = usual(rng, exercise)
    tip_s = float(rng.uniform(0.35, 0.7))
    return person, replace(
        plan, tip_rad=deg(rng, 6, 13), tip_s=tip_s, lead_s=tip_s * float(rng.uniform(0.0, 1.0))
    )


def _swinging(rng, exercise):
    person, plan = usual(rng, exercise)
    size, rise = float(rng.choice([0.02, 0.04, 0.06, 0.1])), deg(rng, 20, 85)
    return person, replace(
        plan, swing_m=(size * math.cos(rise), size * math.sin(rise)), late_home=bool(rng.random() < 0.4)
    )


def _loose(rng, exercise):
    person, plan = usual(rng, exercise)
    return replace(
        person,
        strap_hz=(float(rng.uniform(8, 14)), float(rng.uniform(8, 14))),
        strap_damping=float(rng.uniform(0.05, 0.3)),
    ), plan


def _fast(rng, exercise):
    person, plan = usual(rng, exercise)
    return person, replace(
        plan,
        up_s=float(rng.uniform(0.5, 0.9)),
        down_s=float(rng.uniform(0.6, 1.1)),
        hold_s=0.05,
        pause_s=float(rng.uniform(0.05, 0.4)),
    )


def _fast_giving(rng, exercise):
    """As fast, by an elbow that straightens on a trunk that leans along."""
    person, plan = _fast(rng, exercise)
    low, lean = deg(rng, 12, 28), deg(rng, -2, 2)
    elbow = Way(low=low, high=max(low - deg(rng, 8, 20), deg(rng, 2, 4)))
    return person, with_ways(plan, elbow=elbow, lean=Way(low=lean, high=lean + deg(rng, 4, 12)))


def _restless(rng, exercise):
    """A shoulder that moves about by a sixth to a third of the arm's acceleration, half of it alike in every rep, with
    an elbow and a trunk of any kind. People's lowerings leave so much (three sessions with a dumbbell, two raises with
    optical truth: 0.18–0.35), a sixth of its mean square to nearly all of it alike."""
    how = (usual, _bending, _straightening, _leaning)[int(rng.integers(4))]
    person, plan = how(rng, exercise)
    return person, replace(plan, restless=float(rng.uniform(0.15, 0.35)))


def _slow(rng, exercise):
    person, plan = usual(rng, exercise)
    return person, replace(
        plan,
        reps=int(rng.integers(3, 7)),
        up_s=float(rng.uniform(2.5, 4)),
        down_s=float(rng.uniform(3, 5)),
        hold_s=float(rng.uniform(0.5, 2.5)),
    )


def _ragged(rng, exercise):
    """Held tops, partial reps, uneven times."""
    person, plan = usual(rng, exercise)
    reps = int(rng.integers(6, 16))
    short = rng.choice(np.arange(1, reps), 2, replace=False)
    return person, replace(
        plan,
        reps=reps,
        hold_s=float(rng.uniform(0.8, 3)),
        varied=0.1,
        partial={int(k): float(rng.uniform(0.45, 0.65)) for k in short},
    )


def _above_the_elbow(person: Person, **says: Any) -> Person:
    """The sensor on the outside of the upper arm, its z axis away from the skin."""
    away = np.array([0.0, -person.mirror, 0.0])
    along = np.array([0.0, 0.0, -1.0])
    worn = Rotation.from_matrix(np.stack([along, np.cross(away, along), away], axis=1))
    at = person.upper_arm_m - 0.06
    return replace(
        person, on="upper_arm", along_m=at, outward=(0.0, -1.0, 0.0), height_m=0.04, worn=worn, says=says
    )


def _bending_below(rng, exercise):
    person, plan = _bending(rng, exercise)
    return _above_the_elbow(person, sensor_place="upper arm"), plan


KINDS: dict[str, Callable[[np.random.Generator, str], tuple[Person, Set]]] = {
    "rigid": _rigid,
    "straight": usual,
    "bent": _bent,
    "bending": _bending,
    "straightening": _straightening,
    "leaning-along": _leaning,
    "tipping": _tipping,
    "swinging": _swinging,
    "loose-strap": _loose,
    "fast": _fast,
    "fast-giving": _fast_giving,
    "restless": _restless,
    "slow": _slow,
    "ragged": _ragged,
    "bending-below": _bending_below,
}


def _curl(rng, exercise):
    person, plan = usual(rng, exercise)
    plan = replace(plan, elevation=Way(low=deg(rng, 3, 6), high=deg(rng, 5, 15)), twist=Way())
    return person, with_ways(
        plan, elbow=Way(low=deg(rng, 5, 12), high=deg(rng, 110, 135)), rise=Way(), pronation=Way()
    )


def _upright_row(rng, exercise):
    person, plan = usual(rng, exercise)
    plan = replace(
        plan, elevation=Way(low=deg(rng, 6, 10), high=deg(rng, 65, 90)), twist=Way(high=deg(rng, 30, 60))
    )
    plan = with_ways(plan, elbow=Way(low=deg(rng, 5, 12), high=deg(rng, 100, 120)), pronation=Way())
    return _above_the_elbow(person), plan


def _overhead_press(rng, exercise):
    person, plan = usual(rng, exercise)
    turned = deg(rng, -40, -20)
    plan = replace(
        plan,
        elevation=Way(low=deg(rng, 35, 50), high=deg(rng, 130, 150)),
        twist=Way(low=turned, high=turned),
    )
    rise = Way(low=deg(rng, 2, 4), high=deg(rng, 16, 24))
    plan = with_ways(
        plan, elbow=Way(low=deg(rng, 115, 130), high=deg(rng, 8, 20)), rise=rise, pronation=Way()
    )
    return _above_the_elbow(person), plan


OTHERS = {
    "curl": ("unknown", _curl),
    "upright-row": ("upright-row", _upright_row),
    "overhead-press": ("overhead-press", _overhead_press),
}
"""No raises by a straight arm: the name they are measured under, and how they are drawn."""


def draw_other(kind: str, seed: int) -> Case:
    """Another exercise."""
    rng = np.random.default_rng([seed, 23])
    exercise, drawn = OTHERS[kind]
    person, plan = drawn(rng, "scaption-raise")
    says = {"exercise": exercise, "side": person.side}
    return Case(kind=kind, seed=seed, exercise=exercise, person=person, plan=plan, says=says)


def draw(kind: str, seed: int) -> Case:
    """A raise by a body of a kind, or one of the other exercises; the same seed is the same raise."""
    if kind in OTHERS:
        return draw_other(kind, seed)
    return drawn_by(KINDS[kind], kind, seed)


def drawn_by(how: Callable[..., Any], kind: str, seed: int, sensor: Sensor = USUAL_SENSOR) -> Case:
    """A raise as `how` draws it: person and plan, and options that are stated besides."""
    rng = np.random.default_rng([seed, 20])
    exercise = str(rng.choice(list(PLANES_DEG)))
    person, plan, *more = how(rng, exercise)
    lifter = Lifter(
        body_mass_kg=person.body_mass_kg,
        stature_m=1.75,
        sex=person.sex,
        upper_arm_m=person.upper_arm_m,
        forearm_m=person.forearm_m,
        grip_m=person.grip_m,
    )
    says = {"exercise": exercise, "side": person.side, "load_kg": person.load_kg, "lifter": lifter}
    says |= person.says
    for each in more:
        says |= each
    return Case(kind=kind, seed=seed, exercise=exercise, person=person, plan=plan, says=says, sensor=sensor)


def outcome(case: Case, *, with_chest: bool = False, **how: float) -> Outcome:
    """The engine's truth and the tool's measures."""
    mirror = case.person.mirror
    moved, marks = course(case.plan, mirror, case.seed)
    lifted = lift(case.person, moved)
    session = armarc.process(
        recorded(lifted, case.seed, case.sensor, **how),
        kept=armarc.NOTHING_KEPT,
        trunk=chest(lifted, case.seed) if with_chest else None,
        **case.says,
    )
    turned = case.exercise == "unknown"
    angle = engine_truth.turned_deg(lifted, marks, case.person.on) if turned else None
    return Outcome(
        case=case,
        lifted=lifted,
        marks=marks,
        truth=engine_truth.measured(lifted, marks, angle_deg=angle, mirror=mirror),
        session=session,
        record=session.result().to_dict(),
    )
