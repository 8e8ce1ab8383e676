"""How a recording begins and ends: start and stop pressed before the face, walking up and away.

Postures and times are common practice, no source.
"""

from __future__ import annotations

import math
from collections.abc import Mapping

from armarc.simulate.between_sets import HANGING_RAD, walk
from armarc.simulate.choreography import SAGITTAL, Choreography

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
