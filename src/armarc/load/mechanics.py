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

from dataclasses import dataclass

import numpy as np

from armarc.errors import UsageError
from armarc.load.arm import ArmBody
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
        wr = np.cross(w, r)
        return (
            self.shoulder_m + r,
            self.shoulder_m_s + wr,
            self.shoulder_m_s2 + np.cross(al, r) + np.cross(w, wr),
        )


def inertia_in_global(rotation: FloatArray, body: ArmBody) -> FloatArray:
    """Inertia about the shoulder in the global frame, shape (n, 3, 3), kg m²."""
    return np.asarray(rotation @ body.inertia_kg_m2 @ np.swapaxes(rotation, -1, -2))


def _gravity(gravity_m_s2: float) -> FloatArray:
    return -gravity_m_s2 * UP


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
    w = motion.angular_velocity_rad_s
    inertia = inertia_in_global(motion.rotation, body)
    spin = np.einsum("nij,nj->ni", inertia, w)
    s = motion.rotation @ body.first_moment_kg_m
    return np.asarray(
        np.einsum("nij,nj->ni", inertia, motion.angular_acceleration_rad_s2)
        + np.cross(w, spin)
        + np.cross(s, motion.shoulder_m_s2 - _gravity(gravity_m_s2))
        - outside_moment_n_m
    )


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
        body.mass_kg * (motion.shoulder_m_s2 - _gravity(gravity_m_s2))
        + np.cross(al, s)
        + np.cross(w, np.cross(w, s))
        - outside_force_n
    )


def mechanical_energy(
    motion: ArmKinematics, body: ArmBody, gravity_m_s2: float = STANDARD_GRAVITY_M_S2
) -> FloatArray:
    """Kinetic plus potential energy of the arm and what it carries, shape (n,), J."""
    w, v = motion.angular_velocity_rad_s, motion.shoulder_m_s
    s = motion.rotation @ body.first_moment_kg_m
    inertia = inertia_in_global(motion.rotation, body)
    kinetic = (
        0.5 * body.mass_kg * np.sum(v * v, axis=1)
        + np.sum(v * np.cross(w, s), axis=1)
        + 0.5 * np.einsum("ni,nij,nj->n", w, inertia, w)
    )
    potential = gravity_m_s2 * (body.mass_kg * motion.shoulder_m[:, 2] + s[:, 2])
    return np.asarray(kinetic + potential)


def movement_axis(direction: FloatArray, weight: FloatArray | None = None) -> FloatArray:
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
    swept = np.cross(direction[:-1], direction[1:])
    if weight is not None:
        swept = swept * weight[:-1, None]
    total = swept.sum(axis=0)
    length = float(np.linalg.norm(total))
    if length < 1e-9:
        raise UsageError("the arm did not turn: there is no movement axis")
    return np.asarray(total / length)
