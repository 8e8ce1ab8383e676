"""One rep through the mechanics: moment, force, powers and energy for an arm with its resistances."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from armarc.load.arm import ArmBody
from armarc.load.mechanics import ArmKinematics, mechanical_energy, shoulder_force, shoulder_moment
from armarc.load.resistance import Dumbbell, HandState, Machine, Resistance
from armarc.recording import STANDARD_GRAVITY_M_S2, FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class Dynamics:
    """What the trunk did to the arm; n samples.

    Parameters
    ----------
    moment_n_m : ndarray, shape (n,), N m
        Net moment about the movement axis, positive the way the arm is raised.
    moment_vector_n_m : ndarray, shape (n, 3), N m
        Global frame.
    force_n : ndarray, shape (n, 3), N
        Net force at the shoulder.
    moment_power_w, force_power_w : ndarray, shape (n,), W
        Power of the moment on the arm, and of the force through the moving shoulder.
    outside_power_w : ndarray, shape (n,), W
        Power of cables, bands and machines on the hand.
    energy_j : ndarray, shape (n,), J
        Kinetic and potential energy of the arm and the free weight.
    slack : bool
        A cable or band did not pull somewhere on the way.
    """

    moment_n_m: FloatArray
    moment_vector_n_m: FloatArray
    force_n: FloatArray
    moment_power_w: FloatArray
    force_power_w: FloatArray
    outside_power_w: FloatArray
    energy_j: FloatArray
    slack: bool


def loaded_arm(arm: ArmBody, resistances: tuple[Resistance, ...]) -> ArmBody:
    """Add the free weights to the arm."""
    direction = arm.grip_m / max(arm.reach_to_grip_m, 1e-9)
    for r in resistances:
        if isinstance(r, Dumbbell):
            arm = arm.with_point(r.mass_kg, arm.grip_m + r.beyond_grip_m * direction)
    return arm


def hand_state(motion: ArmKinematics, arm: ArmBody, axis: FloatArray, body: FloatArray) -> HandState:
    """Where the grip is and how it moves."""
    position, velocity, acceleration = motion.point(arm.grip_m)
    return HandState(
        position_m=position - motion.shoulder_m[:1],
        velocity_m_s=velocity,
        acceleration_m_s2=acceleration,
        angle_rad=motion.angle_rad,
        angle_acceleration_rad_s2=motion.angular_acceleration_rad_s2 @ axis,
        axis=axis,
        reach_m=arm.reach_to_grip_m,
        body=body,
    )


def still(motion: ArmKinematics) -> ArmKinematics:
    """The same poses, each held still."""
    rest = np.zeros_like(motion.shoulder_m)
    return replace(
        motion,
        angular_velocity_rad_s=rest,
        angular_acceleration_rad_s2=rest,
        shoulder_m_s=rest,
        shoulder_m_s2=rest,
    )


def dynamics(
    motion: ArmKinematics,
    arm: ArmBody,
    resistances: tuple[Resistance, ...],
    axis: FloatArray,
    body: FloatArray,
    gravity_m_s2: float = STANDARD_GRAVITY_M_S2,
) -> Dynamics:
    """Inverse dynamics of one stretch of movement.

    Parameters
    ----------
    motion : ArmKinematics
    arm : ArmBody
        Without the load.
    resistances : tuple of Resistance
    axis : ndarray, shape (3,)
        Movement axis, global frame.
    body : ndarray, shape (3, 3)
        Rows out, up, forward of the body in the global frame.
    gravity_m_s2 : float, m/s²

    Returns
    -------
    Dynamics
    """
    hand = hand_state(motion, arm, axis, body)
    whole = loaded_arm(arm, resistances)
    grip = motion.rotation @ arm.grip_m
    force = np.zeros_like(grip)
    machine = np.zeros_like(grip)
    slack = False
    for r in resistances:
        if isinstance(r, Machine):
            machine += r.moment(hand)
        elif not isinstance(r, Dumbbell):
            pull = r.pull(hand)
            slack |= not bool(np.all(np.any(pull != 0, axis=1)))
            force += pull
    moment = np.cross(grip, force) + machine
    total = shoulder_moment(motion, whole, moment, gravity_m_s2)
    reaction = shoulder_force(motion, whole, force, gravity_m_s2)
    w = motion.angular_velocity_rad_s
    return Dynamics(
        moment_n_m=total @ axis,
        moment_vector_n_m=total,
        force_n=reaction,
        moment_power_w=np.sum(total * w, axis=1),
        force_power_w=np.sum(reaction * motion.shoulder_m_s, axis=1),
        outside_power_w=np.sum(force * hand.velocity_m_s, axis=1) + np.sum(machine * w, axis=1),
        energy_j=mechanical_energy(motion, whole, gravity_m_s2),
        slack=slack,
    )
