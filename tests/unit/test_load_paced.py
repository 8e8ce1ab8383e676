"""Controlled reps: the lane's gate velocity, the moment, the heaviest load; and what a simulated rep reads."""

from __future__ import annotations

import json
import math

import numpy as np
import pytest

from armarc.api import process
from armarc.errors import UsageError
from armarc.load.arm import arm_body
from armarc.load.capacity import ShoulderCapacity, capacity_curve
from armarc.load.lifter import Lifter
from armarc.load.paced import PacedPlan, answer_words, paced_plan, paced_record
from armarc.load.planar_load import planar_load
from armarc.load.resistance import Cable, Dumbbell, Resistance
from armarc.load.strength import StrengthSource
from armarc.simulate import RepPlan, SessionPlan, SetPlan, simulate_session

LOAD = (Dumbbell(mass_kg=8.0),)


def plan_of(
    *paces_deg_s: float,
    swing_m: float = 0.0,
    curve: str = "descending",
    resistances: tuple[Resistance, ...] = LOAD,
    heaviest_kg: float = 14.0,
    concentric_s: float = 1.6,
) -> PacedPlan:
    return paced_plan(
        RepPlan(
            bottom_rad=math.radians(8),
            top_rad=math.radians(90),
            swing_m=swing_m,
            hold_s=0.3,
            concentric_s=concentric_s,
        ),
        tuple(math.radians(pace) for pace in paces_deg_s),
        source=StrengthSource(lifter=Lifter(), resistances=resistances, heaviest_kg=heaviest_kg),
        resistances=resistances,
        shape=ShoulderCapacity(peak_n_m=1.0, curve=capacity_curve(curve)),
    )


@pytest.mark.parametrize("pace", [35.0, 57.0, 90.0])
def test_plan_simulation_and_measurement_mean_the_same_start_velocity(pace: float) -> None:
    (lane,) = plan_of(pace, concentric_s=2.0).lanes
    assert math.degrees(lane.gate_rad_s) == pytest.approx(pace, abs=0.05)
    session = SessionPlan(sets=(SetPlan(reps=(lane.rep,) * 4),))
    recording, _ = simulate_session(session, 5)
    done = process(recording, exercise="lateral-raise", side="right")
    measured = [rep for rep in done.sets[0].reps if rep.start_velocity_rad_s is not None]
    assert len(measured) == 4
    for rep in measured:
        assert math.degrees(rep.start_velocity_rad_s or 0) == pytest.approx(pace, rel=0.015, abs=1.0)
        assert rep.start_ratio == pytest.approx(lane.start_ratio, abs=0.03)


@pytest.mark.parametrize("curve", ["descending", "mid-range", "flat"])
def test_the_heaviest_load_stays_within_the_capacity_moving_and_still(curve: str) -> None:
    plan = plan_of(57.0, 90.0, curve=curve)
    arm = arm_body(Lifter().completed())
    for lane in plan.lanes:
        heavy = (Dumbbell(mass_kg=8.0 * lane.heaviest),)
        (again,) = plan_of(math.degrees(lane.gate_rad_s), curve=curve, resistances=heavy).lanes
        assert again.heaviest == pytest.approx(1.0, abs=2e-3)
        angle = again.angle_rad
        still = plan.capacity.full_n_m(angle, np.zeros(len(angle)))
        assert np.all(planar_load(arm, heavy).still_moment(angle) <= still * 1.002)
        assert np.nanmax(again.concentric_n_m / still) <= 1.002
        # No heavier than the strict single the shoulder was scaled by.
        assert 8.0 * lane.heaviest <= 14.01


def test_a_faster_start_asks_more_at_the_bottom_and_nothing_is_swung() -> None:
    slow, fast = plan_of(45.0, 90.0).lanes
    early = (slow.angle_rad > math.radians(9)) & (slow.angle_rad < math.radians(12))
    assert np.all(fast.concentric_n_m[early] > slow.concentric_n_m[early])
    assert fast.start_ratio is not None
    assert slow.start_ratio is not None
    assert fast.start_ratio > 1 > slow.start_ratio
    assert slow.measures.drive_swing_work_j == pytest.approx(0, abs=1e-9)


def test_a_swing_supplies_part_of_the_drive() -> None:
    (still,), (swung,) = plan_of(57.0).lanes, plan_of(57.0, swing_m=0.05).lanes
    share = swung.measures.drive_swing_work_share
    assert share is not None
    assert 0.05 < share < 0.3
    # What the swing brings the shoulder saves in part; the rest carries the arm itself up and forward.
    by_shoulder = (swung.measures.drive_work_j or 0) - (swung.measures.drive_swing_work_j or 0)
    assert by_shoulder < (still.measures.drive_work_j or 0)
    words = answer_words(plan_of(57.0, swing_m=0.05))
    assert f"the body supplies {100 * share:.0f} % of the drive" in words[0]


def test_a_cable_and_a_record_without_nan() -> None:
    cable = (Cable(stack_kg=6, pulley_m=(-0.5, -1.2, 0.1)),)
    record = paced_record(plan_of(57.0, resistances=cable))
    text = json.dumps(record, allow_nan=False)
    assert record["heaviest_unit"] == "multiple"
    assert record["lanes"][0]["heaviest"] > 1
    assert "net resultant" in text
    assert "Pain means stop" in text


def test_a_start_that_leaves_no_time_is_refused() -> None:
    with pytest.raises(UsageError, match="concentric"):
        plan_of(10.0)
