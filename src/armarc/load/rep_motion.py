"""From a measured rep to the movement the mechanics want."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from armarc.load.mechanics import ArmKinematics, movement_axis
from armarc.load.resistance import body_axes
from armarc.motion import (
    ArmMotion,
    angular_acceleration,
    integrate_path,
    low_pass,
    shoulder_acceleration,
)
from armarc.motion.kinematics import ANGULAR_ACCELERATION_CUTOFF_HZ
from armarc.motion.quaternions import rotate
from armarc.recording import FloatArray
from armarc.reps import Rep

BANDWIDTH_HZ = ANGULAR_ACCELERATION_CUTOFF_HZ
"""Low-pass of angular velocity and acceleration. At 6 Hz peaks of fast starts come out 2-10 % too small on
synthetic sets, at 12 Hz within 1.2 %."""

LEAST_PATH_S = 0.2
"""A shorter concentric tells nothing about the shoulder's path."""


@dataclass(frozen=True, slots=True, kw_only=True)
class RepMotion:
    """One rep, from its start to its end.

    Parameters
    ----------
    motion : ArmKinematics
    axis : ndarray, shape (3,)
        Movement axis of the concentric, global frame.
    body : ndarray, shape (3, 3)
        Rows out, up, forward of the body.
    shoulder_moves : bool
        False where the path of the shoulder is unknown and it is taken as fixed.
    """

    motion: ArmKinematics
    axis: FloatArray
    body: FloatArray
    shoulder_moves: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class SetMotion:
    """What is worked out once for a whole motion, shape (n, 3) each, global frame.

    ``rotation`` has shape (n, 3, 3): arm axes into the global frame. ``shoulder_m_s2`` is None where the
    lever arm of the sensor is unknown.
    """

    rotation: FloatArray
    angular_velocity_rad_s: FloatArray
    angular_acceleration_rad_s2: FloatArray
    shoulder_m_s2: FloatArray | None


def set_motion(motion: ArmMotion, tilt_rad: float = 0.0) -> SetMotion:
    """Smooth and differentiate a motion.

    Parameters
    ----------
    motion : ArmMotion
    tilt_rad : float, rad
        Turns the arm line upward by this angle everywhere, for error propagation.

    Returns
    -------
    SetMotion
    """
    cutoff = min(BANDWIDTH_HZ, 0.4 * motion.rate_hz)
    q = motion.quaternion
    rates = low_pass(motion.angular_velocity_rad_s, motion.rate_hz, cutoff)
    accelerations = angular_acceleration(motion.angular_velocity_rad_s, motion.rate_hz, cutoff_hz=cutoff)
    mounting = motion.mounting
    along = np.asarray(mounting.arm_axis, float)
    across = _across(along, mounting.thumb_axis)
    third = np.cross(along, across)
    rotation = np.stack([rotate(q, axis) for axis in (along, across, third)], axis=2)
    if tilt_rad:
        rotation = _tilted(rotation, tilt_rad)
    shoulder = None
    if mounting.lever_arm_m is not None and motion.coordinate != "movement":
        shoulder = shoulder_acceleration(
            q,
            motion.angular_velocity_rad_s,
            motion.specific_force_m_s2,
            motion.rate_hz,
            mounting.lever_arm_m,
        )
    return SetMotion(
        rotation=rotation,
        angular_velocity_rad_s=rotate(q, rates),
        angular_acceleration_rad_s2=rotate(q, accelerations),
        shoulder_m_s2=shoulder,
    )


def rep_motion(
    motion: ArmMotion,
    whole: SetMotion,
    rep: Rep,
    *,
    plane_rad: float = 0.0,
    shoulder_error_m_s2: float = 0.0,
) -> RepMotion:
    """Cut one rep out.

    Parameters
    ----------
    motion : ArmMotion
    whole : SetMotion
    rep : Rep
    plane_rad : float, rad
        Plane of elevation where the rep has none of its own.
    shoulder_error_m_s2 : float, m/s²
        Added to the vertical acceleration of the shoulder, for error propagation.

    Returns
    -------
    RepMotion
        The shoulder moves during the concentric, from rest to rest, and stays put afterwards.
    """
    hz, origin, n = motion.rate_hz, float(motion.time_s[0]), len(motion.time_s)
    first = max(math.floor((rep.phases.start_s - origin) * hz), 0)
    top = min(math.ceil((rep.phases.top_start_s - origin) * hz), n - 1)
    last = min(math.ceil((rep.phases.end_s - origin) * hz), n - 1)
    cut = slice(first, last + 1)
    rotation = whole.rotation[cut]
    m = last + 1 - first
    path, velocity, acceleration = np.zeros((m, 3)), np.zeros((m, 3)), np.zeros((m, 3))
    rising = top + 1 - first
    moves = (
        whole.shoulder_m_s2 is not None
        and (top - first) / hz >= LEAST_PATH_S
        and not bool(motion.missing[first : top + 1].any())
    )
    if moves and whole.shoulder_m_s2 is not None:
        found = integrate_path(whole.shoulder_m_s2[first : top + 1], hz)
        path[:rising], velocity[:rising] = found.position_m, found.velocity_m_s
        acceleration[:rising] = found.acceleration_m_s2
        path[rising:] = found.position_m[-1]
    acceleration[:, 2] += shoulder_error_m_s2
    up = rotation[: max(rising, 2), :, 0]
    axis = movement_axis(up)
    level = 1 - up[:, 2] ** 2
    heading = np.array([np.sum(level * up[:, 0]), np.sum(level * up[:, 1]), 0.0])
    plane = plane_rad if rep.plane_rad is None else rep.plane_rad
    return RepMotion(
        motion=ArmKinematics(
            time_s=motion.time_s[cut],
            angle_rad=motion.angle_rad[cut],
            rotation=rotation,
            angular_velocity_rad_s=whole.angular_velocity_rad_s[cut],
            angular_acceleration_rad_s2=whole.angular_acceleration_rad_s2[cut],
            shoulder_m=path,
            shoulder_m_s=velocity,
            shoulder_m_s2=acceleration,
        ),
        axis=axis,
        body=body_axes(motion.side, plane, heading),
        shoulder_moves=moves,
    )


def _across(along: FloatArray, thumb: FloatArray | None) -> FloatArray:
    """Unit vector across the arm, toward the thumb where known."""
    if thumb is None:
        thumb = np.eye(3)[int(np.argmin(np.abs(along)))]
    across = thumb - (thumb @ along) * along
    return np.asarray(across / np.linalg.norm(across))


def _tilted(rotation: FloatArray, angle_rad: float) -> FloatArray:
    """Turn every arm toward straight up by a small angle."""
    direction = rotation[:, :, 0]
    axis = np.cross(direction, [0.0, 0.0, 1.0])
    length = np.linalg.norm(axis, axis=1, keepdims=True)
    axis = np.where(length > 1e-6, axis / np.maximum(length, 1e-6), 0.0)
    c, s = math.cos(angle_rad), math.sin(angle_rad)
    out = np.empty_like(rotation)
    for j in range(3):
        v = rotation[:, :, j]
        along = np.sum(axis * v, axis=1, keepdims=True)
        out[:, :, j] = c * v + s * np.cross(axis, v) + (1 - c) * along * axis
    return out
