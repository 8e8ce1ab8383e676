"""A noise-free arm on a hinge, with the hand turning about the arm, read by a sensor anywhere on it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.spatial.transform import Rotation

G = 9.80665


@dataclass(frozen=True)
class Hinge:
    rate_hz: float
    quaternion: np.ndarray
    angular_velocity_rad_s: np.ndarray
    specific_force_m_s2: np.ndarray
    lever_arm_m: np.ndarray
    hanging: np.ndarray
    elevation_rad: np.ndarray


def hinge(
    *,
    rate_hz=200.0,
    seconds=12.0,
    lift_hz=0.4,
    hand_turn_rad=0.4,
    lever_m=(0.02, -0.03, -0.58),
    mounting=None,
    shoulder_m=None,
    zero_g_m_s2=(0.0, 0.0, 0.0),
    wobble_rad=0.0,
    wobble_hz=7.0,
):
    """Raises of some 80° as a sum of sines, so that every derivative is exact.

    With `wobble_rad` the sensor also turns in its strap, to and fro about an axis of its own, and stays in its place;
    this begins and ends gently.

    The sensor's axes in the arm are `mounting` (a Rotation); `shoulder_m` maps time to (n, 3) with its exact second
    derivative as the second value.
    """
    mounting = Rotation.random(rng=11) if mounting is None else mounting
    t = np.arange(0, seconds, 1 / rate_hz)
    w = 2 * np.pi * lift_hz
    theta = np.radians(48) - np.radians(40) * np.cos(w * t)
    dtheta, ddtheta = np.radians(40) * w * np.sin(w * t), np.radians(40) * w**2 * np.cos(w * t)
    v = 2 * np.pi * lift_hz * 1.3
    turn = hand_turn_rad * np.sin(v * t)
    dturn, ddturn = hand_turn_rad * v * np.cos(v * t), -hand_turn_rad * v**2 * np.sin(v * t)
    # Arm axes: hanging along −z, raised about −y (toward +x).
    arm = Rotation.from_rotvec(np.outer(-theta, [0, 1, 0])) * Rotation.from_rotvec(np.outer(turn, [0, 0, 1]))
    # ω in arm axes: the hinge's seen through the turn of the hand, plus the turn itself.
    c, s = np.cos(turn), np.sin(turn)
    omega = np.stack([-dtheta * s, -dtheta * c, dturn], axis=1)
    alpha = np.stack([-ddtheta * s - dtheta * dturn * c, -ddtheta * c + dtheta * dturn * s, ddturn], axis=1)
    lever = np.asarray(lever_m, float)
    own = np.cross(alpha, lever) + np.cross(omega, np.cross(omega, lever))
    extra = np.zeros((len(t), 3)) if shoulder_m is None else shoulder_m(t)
    up = np.array([0.0, 0.0, G])
    force = own + arm.apply(extra + up, inverse=True)
    axis = np.array([0.6, 0.64, 0.48])
    f = 2 * np.pi * wobble_hz
    v = 2 * np.pi / seconds
    gently, change = np.sqrt(0.5) * (1 - np.cos(v * t)), np.sqrt(0.5) * v * np.sin(v * t)
    strap = Rotation.from_rotvec(np.outer(wobble_rad * gently * np.sin(f * t), axis))
    slack = wobble_rad * np.outer(gently * f * np.cos(f * t) + change * np.sin(f * t), axis)
    return Hinge(
        rate_hz=rate_hz,
        quaternion=(arm * mounting * strap).as_quat(scalar_first=True),
        angular_velocity_rad_s=strap.apply(mounting.apply(omega, inverse=True), inverse=True) + slack,
        specific_force_m_s2=strap.apply(mounting.apply(force, inverse=True), inverse=True)
        + np.asarray(zero_g_m_s2),
        lever_arm_m=mounting.apply(lever, inverse=True),
        hanging=mounting.apply([0.0, 0.0, -1.0], inverse=True),
        elevation_rad=theta,
    )
