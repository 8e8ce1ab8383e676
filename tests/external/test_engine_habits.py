"""What else lifters and sensors do, on bodies of MuJoCo, a multibody engine (``mujoco-core``, Apache-2.0)."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

pytest.importorskip("mujoco", reason="mujoco-core, the multibody engine, is not installed")

from engine_habits import HABITS, SENSORS, draw_habit
from engine_kinds import Outcome, outcome

from grids import seldom

WITH_ERROR = (
    "start_velocity_deg_s",
    "rom_deg",
    "top_deg",
    "concentric_s",
    "hold_s",
    "eccentric_s",
    "peak_concentric_deg_s",
    "peak_eccentric_deg_s",
    "body_swing_cm",
    "peak_moment_n_m",
    "plane_deg",
    "hand_rotation_deg",
)
SEED = 421
SHORTENED = (
    "seated",
    "leaning",
    "cable",
    "band",
    "208-hz",
    "400-hz",
    "jitter",
    "25-hz",
    "50-hz",
    "saturated",
    "explosive",
    "turning-hand",
)
"""What three reps show as well as a dozen."""
BESIDE = ("leaning", "dropping", "50-hz", "52-hz-fast", "208-hz", "500-deg-s")
"""What goes the way of another: a seated lifter, a weight let fall below, other rates, a saturated sensor."""
PLAIN = [kind for kind in (*HABITS, *SENSORS) if kind not in BESIDE]


@cache
def found(kind: str) -> Outcome:
    case = draw_habit(kind, SEED)
    return outcome(replace(case, plan=replace(case.plan, reps=3)) if kind in SHORTENED else case)


def errors(one: Outcome, key: str) -> np.ndarray:
    """Error and standard error of the reps that have both, shape (n, 2)."""
    rows = [
        (rep[key] - true[key], rep[f"{key}_se"])
        for rep, true in zip(one.reps, one.truth, strict=True)
        if rep.get(key) is not None and true.get(key) is not None
    ]
    return np.array(rows, dtype=float).reshape(-1, 2)


@pytest.mark.parametrize("kind", [*PLAIN, *seldom(*BESIDE)])
def test_sets_and_reps_are_counted(kind):
    one = found(kind)
    assert [len(each["reps"]) for each in one.record["sets"]] == [len(one.truth)]


@pytest.mark.parametrize("kinds", [PLAIN, *seldom([*PLAIN, *BESIDE])], ids=["plain", "all"])
@pytest.mark.parametrize("key", WITH_ERROR)
def test_standard_errors_hold(key, kinds):
    """One lifter, 19 habits and sensors: no error beyond four, most within two."""
    ratios = []
    for kind in kinds:
        error, se = errors(found(kind), key).T
        error = (error + 180) % 360 - 180 if key in ("plane_deg", "hand_rotation_deg") else error
        ratios += (np.abs(error) / se).tolist()
    assert max(ratios) < 4
    assert np.mean(np.less(ratios, 2)) > 0.8


def test_a_weight_let_fall_is_no_swing():
    """The girdle's push in a lowering of half a second is none of a slow raise's."""
    case = draw_habit("dropping", 312)
    one = outcome(replace(case, plan=replace(case.plan, reps=4)))
    assert max(true["body_swing_cm"] for true in one.truth) < 2.5
    assert not any("swung" in rep["quality"] for rep in one.reps)
    assert all("dropped" in rep["quality"] for rep in one.reps)


@pytest.mark.parametrize("kind", ["cable", "band"])
def test_what_pulls_is_in_the_moment(kind):
    """The engine is given the force on the hand; the tool is told where it comes from."""
    one = found(kind)
    for rep, true in zip(one.reps, one.truth, strict=True):
        assert rep["peak_moment_n_m"] == pytest.approx(true["peak_moment_n_m"], rel=0.12)


def test_a_strap_that_slipped_leaves_plane_and_hand_unsure():
    slipped, firm = found("slipping"), found("seated")
    assert all("unsteady_sensor" in rep["quality"] for rep in slipped.reps)
    assert slipped.reps[0]["hand_rotation_deg_se"] > 1.5 * firm.reps[0]["hand_rotation_deg_se"]
