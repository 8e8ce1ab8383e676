"""Rigid-body mechanics of an arm about a shoulder that may itself move. Pure functions of arrays.

Everything is in the global frame (z up). With ``I`` and ``S`` the inertia and first moment about the
shoulder, ``a`` the shoulder's acceleration and ``g`` gravity (down), Newton and Euler give (any text on
rigid-body dynamics)::

    moment = I α + ω × (I ω) + S × (a - g) - outside moment
    force  = m (a - g) + α × S + ω × (ω × S) - outside force

Both act from the trunk on the arm. Their powers, ``moment · ω`` and ``force · v``, with the power of the
outside forces, add up to the rate of change of the arm's energy.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace

import numpy as np

from armarc.errors import UsageError
from armarc.load.arm import ArmBody
from armarc.load.resistance import Dumbbell, HandState, Machine, Resistance
from armarc.recording import STANDARD_GRAVITY_M_S2, FloatArray

UP = np.array([0.0, 0.0, 1.0])


@dataclass(frozen=True, slots=True, kw_only=True)
class ArmKinematics:
    """How the arm moved; n samples, global frame, z up.

    Parameters
    ----------
    time_s : ndarray, shape (n,), s
    angle_rad : ndarray, shape (n,), rad
        The exercise's own angle; only used to tabulate by.
    rotation : ndarray, shape (n, 3, 3)
        Arm axes into the global frame; its first column points from the shoulder to the wrist.
    angular_velocity_rad_s, angular_acceleration_rad_s2 : ndarray, shape (n, 3)
    shoulder_m, shoulder_m_s, shoulder_m_s2 : ndarray, shape (n, 3)
        Path, velocity and acceleration of the shoulder centre.
    """

    time_s: FloatArray
    angle_rad: FloatArray
    rotation: FloatArray
    angular_velocity_rad_s: FloatArray
    angular_acceleration_rad_s2: FloatArray
    shoulder_m: FloatArray
    shoulder_m_s: FloatArray
    shoulder_m_s2: FloatArray

    def point(self, position_m: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Path, velocity and acceleration, each shape (n, 3), of a point fixed in the arm."""
        r = self.rotation @ position_m
        w, al = self.angular_velocity_rad_s, self.angular_acceleration_rad_s2
        wr = cross(w, r)
        return (
            self.shoulder_m + r,
            self.shoulder_m_s + wr,
            self.shoulder_m_s2 + cross(al, r) + cross(w, wr),
        )


def cross(a: FloatArray, b: FloatArray) -> FloatArray:
    """Vector product of rows, shape (n, 3) or (3,) each: as `numpy.cross`, which takes longer over few rows."""
    out = np.empty(np.broadcast_shapes(a.shape, b.shape))
    for i, j, k in ((0, 1, 2), (1, 2, 0), (2, 0, 1)):
        out[..., i] = a[..., j] * b[..., k] - a[..., k] * b[..., j]
    return out


def _in_arm_axes(motion: ArmKinematics, vectors: FloatArray) -> FloatArray:
    return np.asarray(np.einsum("nji,nj->ni", motion.rotation, vectors))


def _in_global(motion: ArmKinematics, vectors: FloatArray) -> FloatArray:
    return np.asarray(np.einsum("nij,nj->ni", motion.rotation, vectors))


def _along(vectors: FloatArray, axis: FloatArray) -> FloatArray:
    """Share of every row along an axis, one for all, shape (3,), or one a row, shape (n, 3)."""
    return np.asarray(np.sum(vectors * axis, axis=1))


def shoulder_moment(
    motion: ArmKinematics,
    body: ArmBody,
    outside_moment_n_m: FloatArray | float = 0.0,
    gravity_m_s2: float = STANDARD_GRAVITY_M_S2,
) -> FloatArray:
    """Net moment of the trunk on the arm about the shoulder.

    Parameters
    ----------
    motion : ArmKinematics
    body : ArmBody
        The arm with every mass it carries.
    outside_moment_n_m : ndarray, shape (n, 3), N m
        Moment about the shoulder of cables, bands, machines.
    gravity_m_s2 : float, m/s²

    Returns
    -------
    ndarray, shape (n, 3), N m
        Global frame. Euler's equation for a body whose reference point accelerates.
    """
    # In arm axes, where the inertia stands still.
    w = _in_arm_axes(motion, motion.angular_velocity_rad_s)
    al = _in_arm_axes(motion, motion.angular_acceleration_rad_s2)
    carried = _in_arm_axes(motion, motion.shoulder_m_s2 + gravity_m_s2 * UP)
    inertia = body.inertia_kg_m2
    moment = al @ inertia + cross(w, w @ inertia) + cross(body.first_moment_kg_m, carried)
    return _in_global(motion, moment) - outside_moment_n_m


def shoulder_force(
    motion: ArmKinematics,
    body: ArmBody,
    outside_force_n: FloatArray | float = 0.0,
    gravity_m_s2: float = STANDARD_GRAVITY_M_S2,
) -> FloatArray:
    """Net force of the trunk on the arm at the shoulder, shape (n, 3), N (not the joint contact force)."""
    w, al = motion.angular_velocity_rad_s, motion.angular_acceleration_rad_s2
    s = motion.rotation @ body.first_moment_kg_m
    return np.asarray(
        body.mass_kg * (motion.shoulder_m_s2 + gravity_m_s2 * UP)
        + cross(al, s)
        + cross(w, cross(w, s))
        - outside_force_n
    )


def mechanical_energy(
    motion: ArmKinematics, body: ArmBody, gravity_m_s2: float = STANDARD_GRAVITY_M_S2
) -> FloatArray:
    """Kinetic plus potential energy of the arm and what it carries, shape (n,), J."""
    w, v = motion.angular_velocity_rad_s, motion.shoulder_m_s
    s = motion.rotation @ body.first_moment_kg_m
    spun = _in_arm_axes(motion, w)
    kinetic = (
        0.5 * body.mass_kg * np.sum(v * v, axis=1)
        + np.sum(v * cross(w, s), axis=1)
        + 0.5 * np.sum(spun * (spun @ body.inertia_kg_m2), axis=1)
    )
    potential = gravity_m_s2 * (body.mass_kg * motion.shoulder_m[:, 2] + s[:, 2])
    return np.asarray(kinetic + potential)


def movement_axis(direction: FloatArray) -> FloatArray:
    """Axis about which an arm line turned, so that a positive turn is the way it went.

    Parameters
    ----------
    direction : ndarray, shape (n, 3)
        Unit vectors of the arm line, in order of time, going one way (a concentric).

    Returns
    -------
    ndarray, shape (3,)
        Unit vector, global frame. The sum of the areas swept between neighbours.
    """
    total = cross(direction[:-1], direction[1:]).sum(axis=0)
    length = float(np.linalg.norm(total))
    if length < 1e-9:
        raise UsageError("the arm did not turn: there is no movement axis")
    return np.asarray(total / length)


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
    slack : bool
        A cable or band did not pull somewhere on the way.
    """

    moment_n_m: FloatArray
    moment_vector_n_m: FloatArray
    force_n: FloatArray
    moment_power_w: FloatArray
    force_power_w: FloatArray
    outside_power_w: FloatArray
    slack: bool

    def part(self, cut: slice) -> Dynamics:
        """Some of the samples."""
        arrays = [field.name for field in fields(self) if field.name != "slack"]
        return replace(self, **{name: getattr(self, name)[cut] for name in arrays})


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
        angle_acceleration_rad_s2=_along(motion.angular_acceleration_rad_s2, axis),
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


@dataclass(frozen=True, slots=True)
class _Acting:
    """What acts on the arm from outside: the arm with the free weights, force, moment and power of all that pulls."""

    arm: ArmBody
    force_n: FloatArray | float = 0.0
    moment_n_m: FloatArray | float = 0.0
    power_w: FloatArray | float = 0.0
    slack: bool = False


def _acting(
    motion: ArmKinematics,
    arm: ArmBody,
    resistances: tuple[Resistance, ...],
    axis: FloatArray,
    body: FloatArray,
) -> _Acting:
    loaded = loaded_arm(arm, resistances)
    pulling = [r for r in resistances if not isinstance(r, Dumbbell)]
    if not pulling:
        return _Acting(loaded)
    hand = hand_state(motion, arm, axis, body)
    grip = motion.rotation @ arm.grip_m
    force = np.zeros_like(grip)
    machine = np.zeros_like(grip)
    slack = False
    for r in pulling:
        if isinstance(r, Machine):
            machine += r.moment(hand)
        else:
            pull = r.pull(hand)
            slack |= not bool(np.all(np.any(pull != 0, axis=1)))
            force += pull
    power = force * hand.velocity_m_s + machine * motion.angular_velocity_rad_s
    return _Acting(loaded, force, cross(grip, force) + machine, np.sum(power, axis=1), slack)


def held_moment(
    motion: ArmKinematics,
    arm: ArmBody,
    resistances: tuple[Resistance, ...],
    axis: FloatArray,
    body: FloatArray,
) -> FloatArray:
    """Moment about the movement axis with the same poses held still, shape (n,), N·m; parameters as of `dynamics`."""
    poses = still(motion)
    acts = _acting(poses, arm, resistances, axis, body)
    hanging = cross(motion.rotation @ acts.arm.first_moment_kg_m, STANDARD_GRAVITY_M_S2 * UP)
    return _along(hanging - acts.moment_n_m, axis)


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
    axis : ndarray, shape (3,), or (n, 3) for several stretches one after another
        Movement axis, global frame.
    body : ndarray, shape (3, 3), or (n, 3, 3)
        Rows out, up, forward of the body in the global frame.
    gravity_m_s2 : float, m/s²
    """
    acts = _acting(motion, arm, resistances, axis, body)
    total = shoulder_moment(motion, acts.arm, acts.moment_n_m, gravity_m_s2)
    reaction = shoulder_force(motion, acts.arm, acts.force_n, gravity_m_s2)
    w = motion.angular_velocity_rad_s
    return Dynamics(
        moment_n_m=_along(total, axis),
        moment_vector_n_m=total,
        force_n=reaction,
        moment_power_w=np.sum(total * w, axis=1),
        force_power_w=np.sum(reaction * motion.shoulder_m_s, axis=1),
        outside_power_w=np.zeros(len(w)) + acts.power_w,
        slack=acts.slack,
    )
