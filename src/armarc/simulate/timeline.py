"""From a plan to tracks: what every coordinate of the arm does over the whole session."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from armarc.errors import UsageError
from armarc.simulate import between_sets as between
from armarc.simulate import body_moves as moves
from armarc.simulate import ends
from armarc.simulate.arm import torsion_for_hand_rotation
from armarc.simulate.body_moves import RepMarks
from armarc.simulate.choreography import SAGITTAL, SHORTEST_S, Choreography, Event
from armarc.simulate.plan import RepPlan, SessionPlan, SetPlan
from armarc.simulate.rep_shape import concentric_knots
from armarc.simulate.tracks import Knot, Track

LONGEST_S = 3600.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Timeline:
    """Tracks of a session, where its reps are, and what else happened."""

    tracks: dict[str, Track]
    duration_s: float
    sets: tuple[tuple[RepMarks, ...], ...]
    events: tuple[Event, ...]


def build_timeline(plan: SessionPlan, rng: np.random.Generator, body_rng: np.random.Generator) -> Timeline:
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
    ends.begin(stage, postures[0])
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
    ends.finish(stage, marks[-1][-1].end_s)
    if stage.now_s > LONGEST_S:
        raise UsageError(
            f"this session would last {stage.now_s / 60:.0f} min",
            f"{LONGEST_S / 60:.0f} min at most per recording",
        )
    events = tuple(sorted(stage.events, key=lambda event: event.start_s))
    return Timeline(tracks=stage.finish(), duration_s=stage.now_s, sets=tuple(marks), events=events)


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
    if rep.hold_s > SHORTEST_S:
        knots.append(Knot(top_end_s, rep.top_rad))
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
