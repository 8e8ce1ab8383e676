"""The whole road on bodies of MuJoCo, a general multibody engine (``mujoco-core``, Apache-2.0).

It owes nothing to the project's simulator: what it says of places, axes, forces and moments against what the tool
makes of its accelerometer and gyroscope. `tests/benchmarks/bench_engine.py` has many more of them and prints how far
the measures hold.
"""

from __future__ import annotations

import math
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

pytest.importorskip("mujoco", reason="mujoco-core, the multibody engine, is not installed")

from engine_body import GRAVITY_M_S2, RATE_HZ, SEGMENTS, Course, Lifted, Person, lift
from engine_kinds import Outcome, draw, outcome

from grids import crossed

WITH_ERROR = (
    "start_velocity_deg_s",
    "rom_deg",
    "top_deg",
    "bottom_deg",
    "body_swing_cm",
    "concentric_s",
    "hold_s",
    "eccentric_s",
    "time_under_tension_s",
    "mean_concentric_deg_s",
    "mean_eccentric_deg_s",
    "peak_concentric_deg_s",
    "peak_eccentric_deg_s",
    "loaded_range_s",
    "least_held_pct",
    "start_ratio",
    "plane_deg",
    "hand_rotation_deg",
    "peak_moment_n_m",
    "mean_moment_n_m",
    "moment_impulse_n_m_s",
    "concentric_work_j",
    "eccentric_work_j",
    "peak_power_w",
    "loaded_impulse_pct",
    "loaded_work_pct",
)
MOST_ON_A_RIGID_ARM = {
    "start_velocity_deg_s": 0.5,
    "rom_deg": 0.6,
    "top_deg": 3.0,
    "start_s": 0.005,
    "top_start_s": 0.005,
    "top_end_s": 0.005,
    "end_s": 0.005,
    "mean_concentric_deg_s": 0.5,
    "peak_concentric_deg_s": 1.0,
    "time_to_peak_s": 0.02,
    "drive_angle_deg": 4.0,
    "lowering_ratio": 0.01,
    "start_ratio": 0.01,
    "smoothness_sparc": 0.02,
    "least_held_pct": 0.5,
    "body_swing_cm": 0.4,
}
CASES = (
    ("rigid", 402),
    ("straight", 400),
    ("swinging", 403),
    ("tipping", 404),
    ("fast", 405),
    ("ragged", 406),
)


@cache
def found(kind: str, seed: int) -> Outcome:
    case = draw(kind, seed)
    most = 3 if kind == "restless" else 5  # the reps of one body are off alike
    short = replace(case.plan, reps=min(case.plan.reps, most), hold_s=min(case.plan.hold_s, 1.0), pause_s=0.4)
    return outcome(
        replace(case, plan=replace(short, partial={k: v for k, v in short.partial.items() if k < most}))
    )


def pairs(one: Outcome, key: str) -> np.ndarray:
    """Measured, true and standard error of the reps that have all three, shape (n, 3)."""
    rows = [
        (rep[key], true[key], rep.get(f"{key}_se")) for rep, true in zip(one.reps, one.truth, strict=True)
    ]
    return np.array([row for row in rows if row[0] is not None and row[1] is not None], dtype=float)


@cache
def moving() -> tuple[Person, Lifted]:
    """A left arm that turns about everything at once."""
    t = np.arange(1500) / RATE_HZ
    hinges = {
        name: 0.1 * np.sin((k + 2) * t)
        for k, name in enumerate(("shift_x", "shift_z", "tip", "lean", "rise"))
    }
    hinges |= {"elbow": 0.4 + 0.3 * np.sin(4 * t), "pronation": 0.5 * np.sin(3 * t)}
    arm = Rotation.from_rotvec(np.stack([np.sin(3 * t), 0.5 * np.sin(4 * t), 0.4 * np.sin(5 * t)], axis=1))
    person = Person(
        side="left", carrying_rad=0.1, worn=Rotation.random(random_state=1), strap_hz=(15.0, 15.0)
    )
    return person, lift(person, Course(time_s=t, hinges=hinges, shoulder=arm))


def test_the_engine_reads_what_its_own_movement_says():
    """Gyroscope against the turning of the sensor's axes, accelerometer against its path: signs, axes and units."""
    _, seen = moving()
    steps = (seen.sensor[:-1].inv() * seen.sensor[1:]).as_rotvec() * RATE_HZ
    inside = slice(300, -5)  # the strap comes to rest first
    between = 0.5 * (seen.turning_rad_s[1:] + seen.turning_rad_s[:-1])
    assert np.abs(steps - between)[inside].max() < 0.01
    path = np.gradient(np.gradient(seen.sensor_m, 1 / RATE_HZ, axis=0), 1 / RATE_HZ, axis=0)
    felt = seen.sensor.inv().apply(path + np.array([0, 0, GRAVITY_M_S2]))
    assert np.abs(felt - seen.specific_force_m_s2)[inside].max() < 0.1


@pytest.mark.parametrize(("side", "level"), [("right", -1.0), ("left", 1.0)])
def test_a_level_arm_weighs_on_the_shoulder_what_statics_says(side, level):
    """Sum of weights and of weights times levers, masses and centres as de Leva 1996 has them; a sensor of 30 g."""
    person = Person(side=side, load_kg=6.0)
    arm = Rotation.from_rotvec(np.tile([level * math.pi / 2, 0, 0], (400, 1)))
    seen = lift(person, Course(time_s=np.arange(400) / RATE_HZ, hinges={}, shoulder=arm))
    shares = SEGMENTS[person.sex]
    upper, fore, hand = (shares[name] for name in ("upper_arm", "forearm", "hand"))
    kg = [x[0] / 100 * person.body_mass_kg for x in (upper, fore, hand)] + [person.load_kg, 0.03]
    at = [
        upper[1] / 100 * person.upper_arm_m,
        person.upper_arm_m + fore[1] / 100 * person.forearm_m,
        person.upper_arm_m + person.forearm_m + hand[1] / 100 * person.hand_m,
        person.upper_arm_m + person.forearm_m + person.grip_m,
        person.upper_arm_m + person.along_m,
    ]
    assert seen.force_n[-1] == pytest.approx([0, 0, sum(kg) * GRAVITY_M_S2], rel=1e-3, abs=0.05)
    assert seen.moment_n_m[-1, 0] == pytest.approx(level * np.dot(kg, at) * GRAVITY_M_S2, rel=2e-3)


@pytest.mark.parametrize(("kind", "seed"), CASES)
def test_sets_and_reps_are_counted(kind, seed):
    one = found(kind, seed)
    assert [len(each["reps"]) for each in one.record["sets"]] == [len(one.truth)]


@pytest.mark.parametrize("key", WITH_ERROR)
def test_standard_errors_hold(key):
    """Of a handful of bodies: no error beyond four, most within two."""
    ratios = []
    for kind, seed in CASES:
        rows = pairs(found(kind, seed), key)
        if len(rows):
            error = rows[:, 0] - rows[:, 1]
            error = (error + 180) % 360 - 180 if key in ("plane_deg", "hand_rotation_deg") else error
            ratios.append(np.abs(error) / rows[:, 2])
    together = np.concatenate(ratios)
    assert together.max() < 4
    assert np.mean(together < 2) > 0.8


@pytest.mark.parametrize(("key", "most"), MOST_ON_A_RIGID_ARM.items())
def test_a_rigid_arm_of_the_engine_is_measured_as_closely_as_the_simulators(key, most):
    rows = pairs(found("rigid", 402), key)
    assert np.abs(rows[:, 0] - rows[:, 1]).max() < most


@pytest.mark.parametrize(("kind", "seed"), crossed(["leaning-along", "straightening"], [6300, 6302], fold=2))
def test_a_trunk_that_leans_with_the_arm_is_no_elbow_and_an_elbow_may_straighten(kind, seed):
    """Taken for an elbow, the trunk of seed 6300 made starts 4.5 °/s wrong at ± 1.3, ranges 7.7° at ± 2.5."""
    for key, most in {"start_velocity_deg_s": 4.5, "rom_deg": 7.0}.items():
        value, true, se = pairs(found(kind, seed), key).T
        assert (np.abs(value - true) < np.minimum(2 * se, most)).all(), key


@pytest.mark.parametrize("key", ["start_velocity_deg_s", "rom_deg", "top_deg", "bottom_deg"])
def test_errors_hold_on_bodies_as_restless_as_people(key):
    """Six bodies nothing was set on; of 16 two errors hold in all starts and ranges, one in 81 and 89 %."""
    value, true, se = np.concatenate([pairs(found("restless", seed), key) for seed in range(7600, 7606)]).T
    ratios = np.abs(value - true) / se
    assert ratios.max() < 4
    assert np.mean(ratios < 2) > 0.8
    assert np.mean(ratios < 1) > 0.4


def test_the_moment_of_a_known_body_is_the_engines():
    for kind, seed in CASES[:3]:
        for key in ("peak_moment_n_m", "mean_moment_n_m", "concentric_work_j", "hold_moment_n_m"):
            rows = pairs(found(kind, seed), key)
            assert np.abs(rows[:, 0] / rows[:, 1] - 1).max() < 0.12, (kind, key)


def test_a_swing_of_the_hips_is_seen():
    one = found("swinging", 403)
    rows = pairs(one, "body_swing_cm")
    assert rows[:, 1].min() > 1.5
    assert (np.abs(rows[:, 0] - rows[:, 1]) < np.maximum(1.0, 2 * rows[:, 2])).all()


def test_a_set_is_summed_up_as_the_engine_lifted_it():
    for kind, seed in CASES:
        one = found(kind, seed)
        if kind == "ragged":
            continue
        summary = one.record["sets"][0]["summary"]
        speeds = [true["mean_concentric_deg_s"] for true in one.truth]
        loss = 100 * (max(speeds) - speeds[-1]) / max(speeds)
        assert summary["velocity_loss_pct"] == pytest.approx(loss, abs=3), kind
        whole = sum(true["time_under_tension_s"] for true in one.truth)
        assert summary["time_under_tension_s"] == pytest.approx(whole, rel=0.03), kind


@pytest.mark.parametrize(
    ("kind", "most_deg", "most_deg_s"), [("curl", 3.0, 3.0), ("overhead-press", 4.0, 3.0)]
)
def test_other_exercises_are_counted_and_measured(kind, most_deg, most_deg_s):
    """A curl on the wrist that nobody named; a press with the sensor above the elbow: no elbow is corrected for."""
    one = found(kind, 410)
    assert [len(each["reps"]) for each in one.record["sets"]] == [len(one.truth)]
    for key, most in (("rom_deg", most_deg), ("start_velocity_deg_s", most_deg_s)):
        rows = pairs(one, key)
        assert np.abs(rows[:, 0] - rows[:, 1]).max() < most
        assert (np.abs(rows[:, 0] - rows[:, 1]) < 2 * rows[:, 2]).all()
        assert (rows[:, 2] < 0.15 * rows[:, 1]).all()


def test_a_chest_sensor_knows_the_trunk():
    case = draw("tipping", 411)
    one = outcome(replace(case, plan=replace(case.plan, reps=4)), with_chest=True)
    for key in ("trunk_lean_deg", "trunk_travel_deg", "trunk_forward_deg"):
        rows = pairs(one, key)
        assert len(rows) == 4
        # The lean is that at the start, found some 0.05 s late, and a tipping trunk leans on by 20–25° in a second.
        assert np.abs(rows[:, 0] - rows[:, 1]).max() < 2.5, key


def test_an_elbow_that_bends_below_the_sensor_changes_nothing():
    """RMSE over eight bodies: start 0.8 °/s, range 1.3°; with the sensor on their wrists 1.4 °/s and 2.2°."""
    one = found("bending-below", 411)
    assert len(one.reps) == len(one.truth)
    for key, most, widest in (("start_velocity_deg_s", 2.5, 7.0), ("rom_deg", 3.5, 6.0)):
        measured, true, se = pairs(one, key).T
        assert np.abs(measured - true).max() < min(most, 2 * se.min())
        assert se.max() < widest
    assert "bent_elbow" not in {flag for rep in one.reps for flag in rep["quality"]}
