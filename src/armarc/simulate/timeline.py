"""From a plan to tracks: what every coordinate of the arm does over the whole session."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from armarc.errors import UsageError
from armarc.simulate import between_sets as between
from armarc.simulate.arm import torsion_for_hand_rotation
from armarc.simulate.choreography import SAGITTAL, SHORTEST_S, Choreography
from armarc.simulate.plan import RepPlan, SessionPlan, SetPlan
from armarc.simulate.rep_shape import concentric_knots
from armarc.simulate.tracks import Knot, Track

LONGEST_S = 3600.0


@dataclass(frozen=True, slots=True, kw_only=True)
class RepMarks:
    """Planned instants of a rep, s: rest at the bottom, both ends of the hold at the top, bottom again."""

    ready_s: float
    start_s: float
    top_start_s: float
    top_end_s: float
    end_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Timeline:
    """Tracks of a session and where its reps are."""

    tracks: dict[str, Track]
    duration_s: float
    sets: tuple[tuple[RepMarks, ...], ...]


def build_timeline(plan: SessionPlan, rng: np.random.Generator) -> Timeline:
    """Lay out a whole session.

    Parameters
    ----------
    plan : SessionPlan
    rng : numpy.random.Generator
        Drives what is irregular: sway, fidgeting, walking, picking up.
    """
    stage = Choreography(plan, rng)
    postures = [start_posture(plan, set_plan) for set_plan in plan.sets]
    stage.place(**postures[0])
    stage.wait(max(plan.still_s, 0.05))
    if plan.twist:
        between.twist_forearm(stage)
    if plan.front_raise:
        between.raise_to_front(stage)
    marks = []
    for number, set_plan in enumerate(plan.sets):
        if set_plan.pick_up:
            between.reach_for_weight(stage, postures[number])
        marks.append(_perform_set(stage, set_plan))
        if set_plan.put_down:
            between.reach_for_weight(stage, postures[number])
        if number + 1 < len(plan.sets):
            between.rest(stage, set_plan, postures[number + 1])
    stage.wait(0.8)
    if stage.now_s > LONGEST_S:
        raise UsageError(
            f"this session would last {stage.now_s / 60:.0f} min",
            f"{LONGEST_S / 60:.0f} min at most per recording",
        )
    return Timeline(tracks=stage.finish(), duration_s=stage.now_s, sets=tuple(marks))


def start_posture(plan: SessionPlan, set_plan: SetPlan) -> dict[str, float]:
    """Where the arm's angles are at the bottom of a set's first rep."""
    pattern, first = plan.pattern, set_plan.reps[0]
    if not pattern.about_vertical:
        return {"theta": first.bottom_rad, "gamma": pattern.plane_rad, "torsion": plan.hang_turn_rad}
    theta, gamma = pattern.elevation_rad, movement_to_plane(first.bottom_rad)
    torsion = torsion_for_hand_rotation(theta, gamma, _wanted_hand_rotation(plan))
    return {"theta": theta, "gamma": gamma, "torsion": torsion}


def _wanted_hand_rotation(plan: SessionPlan) -> float:
    own = plan.hand_rotation_rad
    return plan.pattern.hand_rotation_rad if own is None else own


def movement_to_plane(angle_rad: float) -> float:
    """Plane of elevation of an arm that swings about the vertical, 0 straight ahead, outward positive."""
    return SAGITTAL - angle_rad


def _perform_set(stage: Choreography, set_plan: SetPlan) -> tuple[RepMarks, ...]:
    stage.wait(set_plan.ready_s)
    ready_s = stage.now_s - min(set_plan.ready_s, 1.0)
    marks: list[RepMarks] = []
    for rep in set_plan.reps:
        start_s = stage.now_s
        knots = concentric_knots(rep, start_s)
        top_start_s = knots[-1].time_s
        top_end_s = top_start_s + rep.hold_s
        end_s = top_end_s + rep.eccentric_s
        if rep.hold_s > SHORTEST_S:
            knots.append(Knot(top_end_s, rep.top_rad))
        knots.append(Knot(end_s, rep.lowest_end_rad))
        if stage.plan.pattern.about_vertical:
            _follow_vertical(stage, knots)
        else:
            _follow_upward(stage, knots, set_plan.reps[0])
        _swing_body(stage, rep, start_s, top_start_s, end_s)
        _tremble(stage, rep, start_s, end_s)
        stage.now_s = end_s + rep.pause_s
        marks.append(
            RepMarks(
                ready_s=ready_s, start_s=start_s, top_start_s=top_start_s, top_end_s=top_end_s, end_s=end_s
            )
        )
        ready_s = end_s
    # Whatever comes next, the last rep ends at the bottom.
    stage.now_s = max(stage.now_s, marks[-1].end_s + 0.8)
    return tuple(marks)


def _follow_upward(stage: Choreography, knots: list[Knot], first: RepPlan) -> None:
    """Raise the arm; the hand turns along in proportion, from how it hangs to how the first rep's top wants it."""
    plan = stage.plan
    at_top = torsion_for_hand_rotation(first.top_rad, plan.pattern.plane_rad, _wanted_hand_rotation(plan))
    share = (at_top - plan.hang_turn_rad) / (first.top_rad - first.bottom_rad)
    turned = [
        Knot(
            k.time_s,
            plan.hang_turn_rad + share * (k.value - first.bottom_rad),
            share * k.rate,
            share * k.acceleration,
        )
        for k in knots
    ]
    stage.follow("theta", knots)
    stage.follow("torsion", turned)


def _follow_vertical(stage: Choreography, knots: list[Knot]) -> None:
    """Swing about the vertical; the torsion, counted from the plane, turns along so that the grip stays."""
    turned = [Knot(k.time_s, movement_to_plane(k.value), -k.rate, -k.acceleration) for k in knots]
    offset = stage.value("torsion") - stage.value("gamma")
    stage.follow("gamma", turned)
    stage.follow("torsion", [replace(k, value=k.value + offset) for k in turned])


def _swing_body(stage: Choreography, rep: RepPlan, start_s: float, top_s: float, end_s: float) -> None:
    if rep.swing_m == 0 and rep.dip_m == 0:
        return
    # Mostly up, partly forward: a push from the legs and hips.
    away = stage.shift(0.4 * rep.swing_m, math.sqrt(1 - 0.4**2) * rep.swing_m)
    low = stage.shift(0.0, -rep.dip_m)
    home = stage.shift(0.0, 0.0)
    middle_s = start_s + 0.5 * (top_s - start_s)
    back_s = top_s if rep.swing_returns == "within" else top_s + 0.5 * (end_s - top_s)
    dip_s = min(0.35, 0.9 * (start_s - max(stage.knots[name][-1].time_s for name in "xyz")))
    for name in "xyz":
        knots = [Knot(start_s, 0.0)]
        if rep.dip_m > 0 and dip_s > 0.1:
            knots = [Knot(start_s - dip_s, 0.0), Knot(start_s, low[name])]
        knots += [Knot(middle_s, away[name]), Knot(back_s, home[name])]
        stage.follow(name, knots)


def _tremble(stage: Choreography, rep: RepPlan, start_s: float, end_s: float) -> None:
    if rep.tremor_rad == 0:
        return
    for name, share in (("theta", 0.8), ("gamma", 0.5), ("torsion", 0.8)):
        for frequency in stage.rng.uniform(8, 12, 3):
            stage.wave(
                name,
                rep.tremor_rad * share / math.sqrt(3),
                float(frequency),
                start_s=start_s,
                end_s=end_s,
                ramp_s=0.3,
            )
