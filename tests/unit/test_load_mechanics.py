"""Mechanics with known answers."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from armarc.errors import UsageError
from armarc.load.arm import arm_body, unbent
from armarc.load.ideal import PLANAR_AXIS, ideal_rep, planar_body, planar_motion
from armarc.load.lifter import Lifter
from armarc.load.measures import PhaseTimes, by_angle, integrals_up_to, load_measures
from armarc.load.mechanics import (
    ArmKinematics,
    dynamics,
    held_moment,
    loaded_arm,
    mechanical_energy,
    movement_axis,
)
from armarc.load.planar_load import planar_load
from armarc.load.resistance import Cable, Dumbbell, ElasticBand, Machine, Resistance, body_axes

LOADS: list[tuple[Resistance, ...]] = [
    (),
    (Dumbbell(mass_kg=8),),
    (Cable(stack_kg=10, pulley_m=(-0.5, -1.2, 0.2), ratio=2),),
    (Cable(force_n=60, pulley_m=(0.6, -0.9, 0.0), friction=0.1),),
    (ElasticBand(anchor_m=(0.1, -1.3, 0.1), unstretched_m=0.5, stiffness_n_m=80),),
    (Machine(moment_table=((0.0, 20.0), (1.5, 35.0)), inertia_kg_m2=0.3),),
    (Machine(force_table=((0.0, 60.0),), pad_m=0.3),),
    (Dumbbell(mass_kg=4), ElasticBand(anchor_m=(0.0, -1.4, 0.0), table=((0.8, 0.0), (1.5, 60.0)))),
]


@pytest.mark.parametrize("load", LOADS)
def test_energy_adds_up_for_every_resistance(load: tuple[Resistance, ...]) -> None:
    """Work of the trunk and of the resistance is the change of energy, far within 2 %."""
    arm = arm_body(Lifter().completed(), math.radians(15))
    motion, top, _ = ideal_rep(rate_hz=500)
    done = dynamics(motion, arm, load, PLANAR_AXIS, planar_body(math.radians(20)))
    t = motion.time_s[: top + 1]
    given = (done.moment_power_w + done.force_power_w + done.outside_power_w)[: top + 1]
    energy_j = mechanical_energy(motion, loaded_arm(arm, load))
    change = energy_j[top] - energy_j[0]
    work = float(np.trapezoid(done.moment_power_w[: top + 1], t))
    assert abs(float(np.trapezoid(given, t)) - change) < 1e-3 * abs(work)


@pytest.mark.parametrize("load", LOADS)
def test_tabulated_planar_moment_is_the_spatial_one(load: tuple[Resistance, ...]) -> None:
    arm = arm_body(Lifter().completed())
    motion, top, _ = ideal_rep(rate_hz=200)
    plane = math.radians(25)
    done = dynamics(motion, arm, load, PLANAR_AXIS, planar_body(plane))
    rate = -motion.angular_velocity_rad_s[:, 1]
    acceleration = -motion.angular_acceleration_rad_s2[:, 1]
    table = planar_load(arm, load, plane).moving_moment(motion.angle_rad, rate, acceleration)
    rising = slice(40, top - 40)  # friction is smooth around rest in one and not in the other
    assert table[rising] == pytest.approx(done.moment_n_m[rising], rel=5e-3, abs=0.02)


def test_moment_does_not_depend_on_the_heading() -> None:
    """Turning the whole scene about the vertical changes nothing, pulleys and all."""
    arm = arm_body(Lifter().completed(), math.radians(20))
    load = (Cable(stack_kg=10, pulley_m=(-0.5, -1.2, 0.4)), Dumbbell(mass_kg=3))
    motion, _, _ = ideal_rep()
    turn = Rotation.from_euler("z", 70, degrees=True).as_matrix()

    def turned(v: np.ndarray) -> np.ndarray:
        return v @ turn.T

    other = ArmKinematics(
        time_s=motion.time_s,
        angle_rad=motion.angle_rad,
        rotation=turn @ motion.rotation,
        angular_velocity_rad_s=turned(motion.angular_velocity_rad_s),
        angular_acceleration_rad_s2=turned(motion.angular_acceleration_rad_s2),
        shoulder_m=turned(motion.shoulder_m),
        shoulder_m_s=turned(motion.shoulder_m_s),
        shoulder_m_s2=turned(motion.shoulder_m_s2),
    )
    here = dynamics(motion, arm, load, PLANAR_AXIS, planar_body(0.3))
    there = dynamics(other, arm, load, turn @ PLANAR_AXIS, planar_body(0.3) @ turn.T)
    assert there.moment_n_m == pytest.approx(here.moment_n_m)
    assert there.force_power_w == pytest.approx(here.force_power_w, abs=1e-9)


def test_dumbbell_moment_is_weight_times_lever() -> None:
    arm = arm_body(Lifter(grip_m=0.09).completed())
    still = planar_motion(np.arange(3.0), np.full(3, math.pi / 2), np.zeros(3), np.zeros(3))
    bare = dynamics(still, arm, (), PLANAR_AXIS, planar_body(0)).moment_n_m[1]
    held = dynamics(still, arm, (Dumbbell(mass_kg=5),), PLANAR_AXIS, planar_body(0)).moment_n_m[1]
    assert held - bare == pytest.approx(5 * 9.80665 * (0.2817 + 0.2689 + 0.09))


def test_a_dumbbell_held_beyond_the_grip_hangs_from_there() -> None:
    arm = arm_body(Lifter().completed(), math.radians(15))
    near, far = (
        loaded_arm(arm, (Dumbbell(mass_kg=5, beyond_grip_m=beyond),)).first_moment_kg_m
        for beyond in (0.0, 0.1)
    )
    along = arm.grip_m / np.linalg.norm(arm.grip_m)
    assert far - near == pytest.approx(5 * 0.1 * along)


@pytest.mark.parametrize("load", LOADS)
def test_the_held_moment_is_that_of_the_same_poses_without_movement(load: tuple[Resistance, ...]) -> None:
    arm = arm_body(Lifter().completed(), math.radians(15))
    motion, _, _ = ideal_rep(rate_hz=100)
    scene = (arm, load, PLANAR_AXIS, planar_body(math.radians(20)))
    nothing = np.zeros_like(motion.angular_velocity_rad_s)
    poses = replace(
        motion,
        angular_velocity_rad_s=nothing,
        angular_acceleration_rad_s2=nothing,
        shoulder_m_s=nothing,
        shoulder_m_s2=nothing,
    )
    assert held_moment(motion, *scene) == pytest.approx(dynamics(poses, *scene).moment_n_m, abs=1e-9)


def test_cable_statics_by_triangle() -> None:
    """Arm level, pulley straight below the hand: the lever is the whole reach, ratio 2 halves the stack."""
    arm = arm_body(Lifter().completed())
    reach = arm.reach_to_grip_m
    still = planar_motion(np.arange(3.0), np.full(3, math.pi / 2), np.zeros(3), np.zeros(3))
    cable = Cable(stack_kg=20, ratio=2, pulley_m=(reach, -1.0, 0.0))
    bare = dynamics(still, arm, (), PLANAR_AXIS, planar_body(0)).moment_n_m[1]
    held = dynamics(still, arm, (cable,), PLANAR_AXIS, planar_body(0)).moment_n_m[1]
    assert held - bare == pytest.approx(10 * 9.80665 * reach)


def test_cable_goes_slack_rather_than_pushing() -> None:
    arm = arm_body(Lifter().completed())
    n = 5
    fast = planar_motion(np.arange(n) / 10, np.full(n, 1.0), np.zeros(n), np.full(n, -60.0))
    cable = (Cable(stack_kg=10, pulley_m=(-0.5, -1.2, 0)),)
    bare = dynamics(fast, arm, (), PLANAR_AXIS, planar_body(0))
    held = dynamics(fast, arm, cable, PLANAR_AXIS, planar_body(0))
    assert held.slack
    assert held.moment_n_m == pytest.approx(bare.moment_n_m)


def test_band_pulls_only_when_stretched() -> None:
    arm = arm_body(Lifter().completed())
    reach = arm.reach_to_grip_m
    hanging = planar_motion(np.arange(3.0), np.full(3, math.pi / 2), np.zeros(3), np.zeros(3))
    bare = dynamics(hanging, arm, (), PLANAR_AXIS, planar_body(0)).moment_n_m[1]
    for unstretched, force in ((1.2, 0.0), (0.6, 100 * 0.4)):
        band = ElasticBand(anchor_m=(reach, -1.0, 0), unstretched_m=unstretched, stiffness_n_m=100)
        found = dynamics(hanging, arm, (band,), PLANAR_AXIS, planar_body(0)).moment_n_m[1]
        assert found - bare == pytest.approx(force * reach)


def test_left_and_right_mirror() -> None:
    """A left arm's forward and out mirror a right arm's."""
    heading = np.array([1.0, 0.0, 0.0])
    right, left = body_axes("right", 0.0, heading), body_axes("left", 0.0, heading)
    assert right[0] == pytest.approx([1, 0, 0])
    assert right[2] == pytest.approx([0, 1, 0])
    assert left[2] == pytest.approx([0, -1, 0])
    # a raise 90° forward points along forward
    assert body_axes("right", math.pi / 2, heading)[2] == pytest.approx([1, 0, 0])
    assert body_axes("left", math.pi / 2, heading)[2] == pytest.approx([1, 0, 0])


def test_unbent_keeps_mass_and_line() -> None:
    arm = arm_body(Lifter().completed(), math.radians(40))
    flat = unbent(arm)
    assert flat.mass_kg == arm.mass_kg
    assert flat.first_moment_kg_m[0] == arm.first_moment_kg_m[0]
    assert flat.first_moment_kg_m[1:] == pytest.approx([0, 0])


def test_movement_axis_follows_the_right_hand() -> None:
    angle = np.linspace(0.1, 1.5, 20)
    up = np.stack([np.sin(angle), np.zeros(20), -np.cos(angle)], axis=1)
    assert movement_axis(up) == pytest.approx([0, -1, 0])
    with pytest.raises(UsageError, match="did not turn"):
        movement_axis(up[:1].repeat(4, axis=0))


def test_integral_between_instants_inside_samples() -> None:
    t = np.linspace(0, 2, 201)
    found = integrals_up_to(t, np.array([3 * t, 0 * t]), (-1.0, 0.333, 1.777))
    assert found == pytest.approx(np.array([[0, 1.5 * 0.333**2, 1.5 * 1.777**2], [0, 0, 0]]), rel=1e-9)


def test_by_angle_reads_rising_and_falling() -> None:
    t = np.linspace(0, 2, 401)
    angle = 1 - np.abs(t - 1)
    grid = np.array([-0.1, 0.25, 0.5, 0.75, 1.2])
    up = by_angle(t, angle, t, 0.0, 1.0, grid)
    down = by_angle(t, angle, t, 1.0, 2.0, grid)
    assert np.isnan(up[[0, 4]]).all()
    assert up[1:4] == pytest.approx([0.25, 0.5, 0.75])
    assert down[1:4] == pytest.approx([1.75, 1.5, 1.25])


def test_measures_of_a_constant_moment() -> None:
    """A machine of 30 N m on a massless-slow rep: every mean is 30 and the shares are those of time and angle."""
    arm = arm_body(Lifter(body_mass_kg=20.0, upper_arm_m=0.15, forearm_m=0.12).completed())
    motion, _, _ = ideal_rep(bottom_rad=0.0, top_rad=math.pi / 2, concentric_s=20, eccentric_s=20, rate_hz=50)
    machine = (Machine(moment_table=((0.0, 30.0),)),)
    with_load = dynamics(motion, arm, machine, PLANAR_AXIS, planar_body(0))
    bare = dynamics(motion, arm, (), PLANAR_AXIS, planar_body(0))
    times = PhaseTimes(start_s=0, top_start_s=20, top_end_s=20, end_s=40)
    window = (math.radians(30), math.radians(60))
    a = load_measures(motion.time_s, motion.angle_rad, with_load, times, window)
    b = load_measures(motion.time_s, motion.angle_rad, bare, times, window)
    assert a.mean_moment_n_m - b.mean_moment_n_m == pytest.approx(30)
    assert a.mean_moment_over_angle_n_m - b.mean_moment_over_angle_n_m == pytest.approx(30, rel=1e-4)
    assert a.concentric_work_j - b.concentric_work_j == pytest.approx(30 * math.pi / 2, rel=1e-4)
    assert a.eccentric_work_j - b.eccentric_work_j == pytest.approx(30 * math.pi / 2, rel=1e-4)
    assert a.body_swing_work_share is None
    assert a.loaded_work_share is not None
    assert a.loaded_work_share == pytest.approx(1 / 3, abs=0.02)


def test_bad_bodies_are_refused() -> None:
    for bad in ({"body_mass_kg": 5.0}, {"stature_m": 181.0}, {"sex": "x"}, {"segment_table": "y"}):
        with pytest.raises(UsageError):
            Lifter(**bad)  # type: ignore[arg-type]
    with pytest.raises(UsageError, match="elbow"):
        arm_body(Lifter().completed(), 3.0)


def test_a_resistance_plans_do_not_know_is_not_left_out():
    with pytest.raises(AssertionError):
        planar_load(arm_body(Lifter().completed()), (object(),))
