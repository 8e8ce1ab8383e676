"""From a plan to tracks: what every coordinate of the arm does over the whole session."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from armarc.errors import UsageError
from armarc.simulate import body_moves as moves
from armarc.simulate import choreography as between
from armarc.simulate.arm import torsion_for_hand_rotation
from armarc.simulate.body_moves import RepMarks
from armarc.simulate.choreography import HANGING_RAD, SAGITTAL, Choreography, Event, walk
from armarc.simulate.plan import RepPlan, SessionPlan, SetPlan
from armarc.simulate.rep_shape import concentric_knots, hold_knots
from armarc.simulate.tracks import Knot, Track

LAST_REP_TO_STOP_S = (2.0, 4.0)
HANGING = {"theta": HANGING_RAD, "gamma": math.radians(40), "torsion": 0.0}


def begin(stage: Choreography, posture: Mapping[str, float]) -> None:
    """Come to the posture of the first set, in the way the plan says."""
    plan = stage.plan
    beside = dict(posture) if not plan.walk_up else dict(posture) | HANGING
    stage.place(tip=plan.body.stoop_rad, lean=plan.body.lean_rad, **beside)
    if plan.press_start:
        stage.place(**_before_the_face(stage))
        _tap(stage, 0.05)
        stage.wait(float(stage.rng.uniform(0.3, 1.0)))
        stage.move(float(stage.rng.uniform(0.7, 1.1)), **beside)
        stage.note("start pressed", 0.0)
    if plan.walk_up:
        stage.wait(float(stage.rng.uniform(0.3, 1.0)))
        walk(stage, float(stage.rng.uniform(4, 8)))
        stage.move(float(stage.rng.uniform(1.0, 1.6)), **posture)
    stage.wait(max(plan.still_s, 0.05))


def finish(stage: Choreography, last_rep_s: float) -> None:
    """Leave the last set in the way the plan says; `last_rep_s` is when its last rep ended."""
    plan, rng = stage.plan, stage.rng
    if plan.walk_away:
        stage.move(float(rng.uniform(0.9, 1.4)), **HANGING)
        stage.move(1.1, heading=stage.value("heading") + math.pi * float(rng.choice([-1, 1])))
        walk(stage, float(rng.uniform(4, 8)))
    if not plan.press_stop:
        stage.wait(0.8)
        return
    end_s = last_rep_s + float(rng.uniform(*LAST_REP_TO_STOP_S))
    lift_s, look_s = float(rng.uniform(0.6, 0.9)), float(rng.uniform(0.4, 0.7))
    stage.wait(max(0.0, end_s - stage.now_s - lift_s - look_s))
    began_s = stage.now_s
    stage.move(lift_s, **_before_the_face(stage))
    _tap(stage, stage.now_s + look_s - 0.2)
    stage.wait(look_s)
    stage.note("stop pressed", began_s)


def _before_the_face(stage: Choreography) -> dict[str, float]:
    """Posture in which the other hand presses a button on the wrist and the eyes see it."""
    rng = stage.rng
    if not stage.plan.pattern.whole_arm:
        return {"theta": math.radians(float(rng.uniform(40, 65))), "gamma": SAGITTAL}
    return {
        "theta": math.radians(float(rng.uniform(60, 80))),
        "gamma": SAGITTAL + math.radians(float(rng.uniform(-5, 20))),
        "torsion": float(rng.uniform(0.2, 0.8)),
        "elbow": math.radians(float(rng.uniform(85, 115))),
        "pronation": float(rng.uniform(0.2, 0.9)),
    }


def _tap(stage: Choreography, at_s: float) -> None:
    """The finger meets the sensor."""
    stage.wave("theta", 1e-3, 15, start_s=at_s, end_s=at_s + 0.15, ramp_s=0.04)


LONGEST_S = 3600.0


@dataclass(frozen=True, slots=True, kw_only=True)
class BodyCourse:
    """Tracks of a session, where its reps are, and what else happened."""

    tracks: dict[str, Track]
    duration_s: float
    sets: tuple[tuple[RepMarks, ...], ...]
    events: tuple[Event, ...]


def build_timeline(plan: SessionPlan, rng: np.random.Generator, body_rng: np.random.Generator) -> BodyCourse:
    """Lay out a whole session.

    Parameters
    ----------
    plan : SessionPlan
    rng : numpy.random.Generator
        Drives what is irregular: sway, fidgeting, walking, picking up.
    body_rng : numpy.random.Generator
        Drives what the body adds: trunk sway, strap wobble, answering the other arm.
    """
    stage = Choreography(plan, rng, body_rng)
    postures = [start_posture(plan, set_plan) for set_plan in plan.sets]
    begin(stage, postures[0])
    if plan.twist:
        between.twist_forearm(stage)
    if plan.front_raise:
        between.raise_to_front(stage)
    marks = []
    for number, set_plan in enumerate(plan.sets):
        if set_plan.pick_up:
            between.reach_for_weight(stage, postures[number], "picking up")
        slips_at = len(set_plan.reps) // 2 if number == (len(plan.sets) - 1) // 2 else None
        marks.append(_perform_set(stage, set_plan, slips_at))
        if set_plan.put_down:
            between.reach_for_weight(stage, postures[number], "putting down")
        if number + 1 < len(plan.sets):
            between.rest(stage, set_plan, postures[number + 1])
    finish(stage, marks[-1][-1].end_s)
    if stage.now_s > LONGEST_S:
        raise UsageError(
            f"this session would last {stage.now_s / 60:.0f} min",
            f"{LONGEST_S / 60:.0f} min at most per recording",
        )
    events = tuple(sorted(stage.events, key=lambda event: event.start_s))
    return BodyCourse(tracks=stage.finish(), duration_s=stage.now_s, sets=tuple(marks), events=events)


def start_posture(plan: SessionPlan, set_plan: SetPlan) -> dict[str, float]:
    """Where the arm's angles are at the bottom of a set's first rep."""
    pattern, first, body = plan.pattern, set_plan.reps[0], plan.body
    below = {"elbow": body.elbow_bottom_rad, "pronation": 0.0}
    if not pattern.about_vertical:
        plane = pattern.plane_rad if body.rest_plane_rad is None else body.rest_plane_rad
        return {"theta": first.bottom_rad, "gamma": plane, "torsion": plan.hang_turn_rad, **below}
    theta, gamma = pattern.elevation_rad, movement_to_plane(first.bottom_rad)
    torsion = torsion_for_hand_rotation(theta, gamma, _wanted_hand_rotation(plan))
    return {"theta": theta, "gamma": gamma, "torsion": torsion, **below}


def _wanted_hand_rotation(plan: SessionPlan) -> float:
    own = plan.hand_rotation_rad
    return plan.pattern.hand_rotation_rad if own is None else own


def movement_to_plane(angle_rad: float) -> float:
    """Plane of elevation of an arm that swings about the vertical, 0 straight ahead, outward positive."""
    return SAGITTAL - angle_rad


def _perform_set(stage: Choreography, set_plan: SetPlan, slips_at: int | None) -> tuple[RepMarks, ...]:
    stage.wait(set_plan.ready_s)
    ready_s = stage.now_s - min(set_plan.ready_s, 1.0)
    first = set_plan.reps[0]
    marks: list[RepMarks] = []
    for number, rep in enumerate(set_plan.reps):
        knots, here = _rep_knots(rep, stage.now_s, ready_s)
        if stage.plan.pattern.about_vertical:
            _follow_vertical(stage, knots)
        else:
            _follow_upward(stage, knots, first)
            moves.leave_rest_plane(stage, here)
        moves.accompany(stage, knots, first)
        moves.swing(stage, rep, here)
        moves.tip_trunk(stage, here)
        moves.tremble(stage, rep, here)
        moves.wobble(stage, here)
        if number == slips_at:
            moves.slip_strap(stage, here)
        stage.now_s = here.end_s + rep.pause_s
        if set_plan.alternating and number + 1 < len(set_plan.reps):
            moves.other_arm(stage, here.end_s, stage.now_s)
        marks.append(here)
        ready_s = here.end_s
    # Whatever comes next, the last rep ends at the bottom.
    stage.now_s = max(stage.now_s, marks[-1].end_s + 0.8)
    return tuple(marks)


def _rep_knots(rep: RepPlan, start_s: float, ready_s: float) -> tuple[list[Knot], RepMarks]:
    """The path of the movement angle through a rep, bottom to bottom."""
    knots = concentric_knots(rep, start_s)
    top_start_s = knots[-1].time_s
    top_end_s = top_start_s + rep.hold_s
    knots += hold_knots(rep, top_start_s)
    for _ in range(rep.pulses):
        knots.append(Knot(top_end_s + rep.pulse_s / 2, rep.top_rad - rep.pulse_rad))
        top_end_s += rep.pulse_s
        knots.append(Knot(top_end_s, rep.top_rad))
    end_s = top_end_s + rep.eccentric_s
    knots.append(Knot(end_s, rep.lowest_end_rad))
    return knots, RepMarks(
        ready_s=ready_s, start_s=start_s, top_start_s=top_start_s, top_end_s=top_end_s, end_s=end_s
    )


def _follow_upward(stage: Choreography, knots: list[Knot], first: RepPlan) -> None:
    """Raise the arm; the hand turns along in proportion, from how it hangs to how the first rep's top wants it."""
    plan = stage.plan
    at_top = torsion_for_hand_rotation(first.top_rad, plan.pattern.plane_rad, _wanted_hand_rotation(plan))
    stage.follow("theta", knots)
    stage.follow("torsion", moves.scaled(knots, plan.hang_turn_rad, at_top, first))


def _follow_vertical(stage: Choreography, knots: list[Knot]) -> None:
    """Swing about the vertical; the torsion, counted from the plane, turns along so that the grip stays."""
    turned = [Knot(k.time_s, movement_to_plane(k.value), -k.rate, -k.acceleration) for k in knots]
    offset = stage.value("torsion") - stage.value("gamma")
    stage.follow("gamma", turned)
    stage.follow("torsion", [replace(k, value=k.value + offset) for k in turned])
