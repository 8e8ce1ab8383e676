"""The shoulder's moment in a movement that is not planar, against SciPy's integration of Euler's equations.

A rigid arm with a weight beside its axis is driven by a moment that is known beforehand, about a shoulder that itself
accelerates; SciPy (``scipy.integrate.solve_ivp``) integrates the equations of motion in axes fixed to the arm, as
written in any textbook (I ω̇ + ω × I ω = moment). The moment worked out from that movement must be the one that drove
it. In a plane the term ω × I ω has no part about the movement axis; here it has.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from scipy.spatial.transform import Rotation

from armarc.load.arm import ArmBody, arm_body
from armarc.load.lifter import Lifter
from armarc.load.mechanics import ArmKinematics, shoulder_force, shoulder_moment

G = np.array([0.0, 0.0, -9.81])
STEP_S = 0.001


def lopsided_arm() -> ArmBody:
    """An arm with 3 kg at the hand, 12 cm beside its axis: three different principal moments."""
    arm = arm_body(Lifter().completed())
    return arm.with_point(3.0, arm.grip_m + np.array([0.0, 0.12, 0.04]))


def driving_moment(t: float) -> np.ndarray:
    """In the axes of the arm, N m: enough to turn it about all three at several rad/s."""
    return np.array([0.8 * math.sin(3 * t), 6 * math.cos(2 * t) - 12.0, 5 * math.sin(2.5 * t + 0.4)])


def shoulder_acceleration(t: float) -> np.ndarray:
    """Global frame, m/s²."""
    return np.array([1.5 * math.sin(4 * t), -0.8 * math.cos(3 * t), 0.6 * math.sin(5 * t)])


def integrated(body: ArmBody) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Times, orientations and angular velocities in the arm's axes."""
    inertia, first_moment = body.inertia_kg_m2, body.first_moment_kg_m

    def change(t: float, state: np.ndarray) -> np.ndarray:
        q, w = state[:4] / np.linalg.norm(state[:4]), state[4:]
        gravity = Rotation.from_quat(q).inv().apply(G - shoulder_acceleration(t))
        outside = np.cross(first_moment, gravity)
        w_dot = np.linalg.solve(inertia, driving_moment(t) + outside - np.cross(w, inertia @ w))
        x, y, z, s = q
        q_dot = 0.5 * np.array(
            [
                s * w[0] + y * w[2] - z * w[1],
                s * w[1] + z * w[0] - x * w[2],
                s * w[2] + x * w[1] - y * w[0],
                -x * w[0] - y * w[1] - z * w[2],
            ]
        )
        return np.concatenate([q_dot, w_dot])

    start = np.concatenate([Rotation.from_euler("zyx", [0.3, 1.2, -0.4]).as_quat(), [2.5, -1.0, 1.5]])
    times = np.arange(0.0, 1.2, STEP_S)
    done = solve_ivp(change, (0.0, times[-1]), start, t_eval=times, rtol=1e-10, atol=1e-10, method="DOP853")
    return times, Rotation.from_quat(done.y[:4].T).as_matrix(), done.y[4:].T


@pytest.fixture(scope="module")
def movement() -> tuple[ArmBody, ArmKinematics, np.ndarray]:
    body = lopsided_arm()
    times, rotation, w_arm = integrated(body)
    w = np.einsum("nij,nj->ni", rotation, w_arm)
    n = len(times)
    motion = ArmKinematics(
        time_s=times,
        angle_rad=np.zeros(n),
        rotation=rotation,
        angular_velocity_rad_s=w,
        angular_acceleration_rad_s2=np.gradient(w, STEP_S, axis=0, edge_order=2),
        shoulder_m=np.zeros((n, 3)),
        shoulder_m_s=np.zeros((n, 3)),
        shoulder_m_s2=np.array([shoulder_acceleration(t) for t in times]),
    )
    drove = np.einsum("nij,nj->ni", rotation, np.array([driving_moment(t) for t in times]))
    return body, motion, drove


def test_the_moment_that_drove_the_arm_is_found_again(
    movement: tuple[ArmBody, ArmKinematics, np.ndarray],
) -> None:
    body, motion, drove = movement
    found = shoulder_moment(motion, body, gravity_m_s2=9.81)
    inside = slice(5, -5)
    assert np.abs(found - drove)[inside].max() < 0.002
    # The case is worth something: what turning about several axes at once asks for is no trifle here.
    inertia = motion.rotation @ body.inertia_kg_m2 @ np.swapaxes(motion.rotation, 1, 2)
    spin = np.einsum("nij,nj->ni", inertia, motion.angular_velocity_rad_s)
    assert np.abs(np.cross(motion.angular_velocity_rad_s, spin)).max() > 1.0


def test_the_force_is_that_of_the_centre_of_mass(movement: tuple[ArmBody, ArmKinematics, np.ndarray]) -> None:
    """Newton: mass times the acceleration of the arm's centre of mass, by differences of its velocity."""
    body, motion, _ = movement
    centre = np.einsum("nij,j->ni", motion.rotation, body.first_moment_kg_m / body.mass_kg)
    speed = np.cross(motion.angular_velocity_rad_s, centre)
    turned = np.gradient(speed, STEP_S, axis=0, edge_order=2)
    wanted = body.mass_kg * (turned + motion.shoulder_m_s2 - G)
    found = shoulder_force(motion, body, gravity_m_s2=9.81)
    inside = slice(5, -5)
    assert np.abs(found - wanted)[inside].max() < 0.001 * np.abs(wanted).max()
