"""Kinematics of the rigid arm: orientation, angular velocity and specific force from its coordinates.

Global frame: x forward, y left, z up. Reference pose: arm hanging, thumb forward, so that the limb axes
coincide with the global ones (hand along −z, thumb along +x, back of the hand outward).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.spatial.transform import Rotation

from armarc.recording import STANDARD_GRAVITY_M_S2, FloatArray
from armarc.simulate.plan import MountPlan
from armarc.simulate.tracks import Track

HAND = np.array([0.0, 0.0, -1.0])
THUMB = np.array([1.0, 0.0, 0.0])
FOREARM_SHARE_OF_BEND = 0.56


def mount_matrix(mount: MountPlan, side: str) -> FloatArray:
    """Sensor axes in limb axes, one per column, shape (3, 3).

    The sensor is right-handed on either wrist; the wrist is what is mirrored.
    """
    back = np.array([0.0, -1.0 if side == "right" else 1.0, 0.0])
    outward = {"back": back, "inside": -back, "thumb": THUMB, "little-finger": -THUMB}[mount.strap]
    sign = -1.0 if mount.hand_axis[0] == "-" else 1.0
    hand_index = "xyz".index(mount.hand_axis[1])
    face_index = 0 if hand_index == 2 else 2
    columns = np.zeros((3, 3))
    columns[:, hand_index] = sign * HAND
    columns[:, face_index] = outward
    third = 3 - hand_index - face_index
    columns[:, third] = np.cross(columns[:, (third + 1) % 3], columns[:, (third + 2) % 3])
    across = np.cross(HAND, outward)
    skew = Rotation.from_rotvec(mount.tilt_rad * (outward + across) / np.sqrt(2))
    roll = Rotation.from_rotvec(mount.roll_rad * HAND)
    # Bending the elbow turns the forearm from hanging toward the thumb.
    bend = Rotation.from_rotvec(-FOREARM_SHARE_OF_BEND * mount.elbow_bend_rad * np.array([0.0, 1.0, 0.0]))
    matrix: FloatArray = (bend * roll * skew).as_matrix() @ columns
    return matrix


def lever_arm(mount: MountPlan, side: str, reach_m: float) -> FloatArray:
    """Vector from the pivot to the sensor in limb axes, m, shape (3,)."""
    face = mount_matrix(mount, side)[:, 0 if mount.hand_axis[1] == "z" else 2]
    out: FloatArray = reach_m * HAND + mount.height_m * face
    return out


@dataclass(frozen=True, slots=True, kw_only=True)
class ArmState:
    """The arm at n instants, all vectors in the global frame unless said.

    Parameters
    ----------
    time_s : ndarray, shape (n,), s
    limb : Rotation, length n
        Limb axes into the global frame.
    angular_velocity_rad_s, angular_acceleration_rad_s2 : ndarray, shape (n, 3)
    shoulder_m, shoulder_acceleration_m_s2 : ndarray, shape (n, 3)
    elevation_rad, elevation_rate_rad_s : ndarray, shape (n,)
    plane_rad, plane_rate_rad_s : ndarray, shape (n,)
        Plane of elevation of the coordinates (relative to the trunk's heading).
    """

    time_s: FloatArray
    limb: Rotation
    angular_velocity_rad_s: FloatArray
    angular_acceleration_rad_s2: FloatArray
    shoulder_m: FloatArray
    shoulder_acceleration_m_s2: FloatArray
    elevation_rad: FloatArray
    elevation_rate_rad_s: FloatArray
    plane_rad: FloatArray
    plane_rate_rad_s: FloatArray


def arm_state(tracks: dict[str, Track], side: str, time_s: FloatArray) -> ArmState:
    """Evaluate the arm at rising instants.

    The limb's orientation is Rz(a)·Rx(θ)·Rz(b): it swings from hanging by θ in the plane γ and turns by
    the torsion s about its own axis (tilt-and-torsion). Angular velocity and acceleration are the exact
    derivatives of that product.

    Parameters
    ----------
    tracks : dict
        ``theta, gamma, torsion, heading`` in rad, ``x, y, z`` in m (shoulder).
    side : str
    time_s : ndarray, shape (n,), s
    """
    th, ga, to, he = (tracks[k].sample(time_s) for k in ("theta", "gamma", "torsion", "heading"))
    position = np.stack([tracks[k].sample(time_s) for k in "xyz"], axis=-1)
    mirror = 1.0 if side == "right" else -1.0
    a = he + mirror * ga
    b = mirror * (to - ga)
    if side == "right":
        a = a + np.array([[np.pi], [0], [0]])
        b = b - np.array([[np.pi], [0], [0]])
    limb = Rotation.from_euler("ZXZ", np.stack([a[0], th[0], b[0]], axis=-1))
    up = np.array([0.0, 0.0, 1.0])
    hinge = np.stack([np.cos(a[0]), np.sin(a[0]), np.zeros_like(a[0])], axis=-1)
    spin_axis = limb.apply(up)
    da, dth, db = (v[1][:, None] for v in (a, th, b))
    dda, ddth, ddb = (v[2][:, None] for v in (a, th, b))
    swing = da * up + dth * hinge
    return ArmState(
        time_s=time_s,
        limb=limb,
        angular_velocity_rad_s=swing + db * spin_axis,
        angular_acceleration_rad_s2=dda * up
        + ddth * hinge
        + dth * da * np.cross(up, hinge)
        + ddb * spin_axis
        + db * np.cross(swing, spin_axis),
        shoulder_m=position[0],
        shoulder_acceleration_m_s2=position[2],
        elevation_rad=np.abs(th[0]),
        elevation_rate_rad_s=np.sign(th[0]) * th[1],
        plane_rad=ga[0],
        plane_rate_rad_s=ga[1],
    )


def sensor_signals(state: ArmState, matrix: FloatArray, lever_m: FloatArray) -> tuple[FloatArray, FloatArray]:
    """What a perfect sensor on the arm reads.

    Parameters
    ----------
    state : ArmState
    matrix : ndarray, shape (3, 3)
        `mount_matrix`.
    lever_m : ndarray, shape (3,), m
        `lever_arm`.

    Returns
    -------
    specific_force_m_s2, angular_velocity_rad_s : ndarray, shape (n, 3), sensor axes
        f = Rᵀ(a_s + α×r + ω×(ω×r) + g ẑ), rigid-body kinematics.
    """
    r = state.limb.apply(lever_m)
    w, al = state.angular_velocity_rad_s, state.angular_acceleration_rad_s2
    acceleration = state.shoulder_acceleration_m_s2 + np.cross(al, r) + np.cross(w, np.cross(w, r))
    acceleration[:, 2] += STANDARD_GRAVITY_M_S2
    force: FloatArray = state.limb.apply(acceleration, inverse=True) @ matrix
    rate: FloatArray = state.limb.apply(w, inverse=True) @ matrix
    return force, rate


def sensor_quaternion(state: ArmState, matrix: FloatArray) -> FloatArray:
    """Sensor → global, scalar first, shape (n, 4), without sign flips along time."""
    q = (state.limb * Rotation.from_matrix(matrix)).as_quat(scalar_first=True)
    flips = np.cumprod(np.where(np.sum(q[1:] * q[:-1], axis=1) < 0, -1.0, 1.0))
    q[1:] *= flips[:, None]
    out: FloatArray = q
    return out


def torsion_for_hand_rotation(theta_rad: float, gamma_rad: float, hand_rotation_rad: float) -> float:
    """Torsion that puts the thumb at a wanted elevation above horizontal, rad.

    The up direction seen across the arm has length sin θ, so the thumb reaches at most 90° − |90° − θ|; a
    wish beyond is met as nearly as possible. Of the two solutions the smaller turn is taken.
    """
    swing = Rotation.from_euler("ZXZ", [np.pi + gamma_rad, theta_rad, -np.pi - gamma_rad])
    forward_up = swing.apply(THUMB)[2]
    inward_up = swing.apply([0.0, 1.0, 0.0])[2]
    size = float(np.hypot(forward_up, inward_up))
    if size < 1e-9:
        return 0.0
    centre = np.arctan2(inward_up, forward_up)
    half = np.arccos(np.clip(np.sin(hand_rotation_rad) / size, -1, 1))
    both = [float((centre + s * half + np.pi) % (2 * np.pi) - np.pi) for s in (-1, 1)]
    return min(both, key=abs)
