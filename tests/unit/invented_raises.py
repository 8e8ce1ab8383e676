"""Invented arm raises with known truth for the orientation tests: a straight arm about a nearly fixed shoulder."""

from dataclasses import dataclass

import numpy as np
from scipy.spatial.transform import Rotation

from armarc.motion import quaternions

GRAVITY_M_S2 = 9.80665


@dataclass(frozen=True)
class Raises:
    rate_hz: float
    angular_velocity_rad_s: np.ndarray
    specific_force_m_s2: np.ndarray
    quaternion: np.ndarray
    arm_axis: np.ndarray
    lever_arm_m: np.ndarray
    bias_rad_s: np.ndarray

    def elevation_rad(self, quaternion):
        return np.arccos(np.clip(-quaternions.rotate(quaternion, self.arm_axis)[:, 2], -1.0, 1.0))

    def elevation_error_deg(self, quaternion):
        return np.degrees(self.elevation_rad(quaternion) - self.elevation_rad(self.quaternion))


def minimum_jerk(share):
    """Flash and Hogan 1985: position of the smoothest reach, 0 to 1."""
    s = np.clip(share, 0.0, 1.0)
    return s**3 * (10.0 - 15.0 * s + 6.0 * s**2)


def make_raises(
    seed,
    *,
    reps=8,
    rate_hz=100.0,
    shortest_s=1.0,
    longest_s=2.0,
    swing_m=0.05,
    bias_deg_s=2.0,
    offset_g=0.02,
    still_s=0.0,
    noise=True,
):
    """Raises from 8° to some 90° and back, starting without a still phase unless `still_s` asks for one.

    Noise: gyroscope 7 mdps/√Hz, accelerometer 160 µg/√Hz, zero-g offset evenly within ±`offset_g` per axis. The
    gyroscope's samples are means over the interval that ends at their time stamp.
    """
    rng = np.random.default_rng(seed)
    over = 10
    fine_hz = rate_hz * over
    low = np.radians(8.0)
    still = round(still_s * fine_hz)
    angle, swing = [np.full(still, low)], [np.zeros(still)]
    size = rng.uniform(0.0, swing_m)
    for _ in range(reps):
        up_s, down_s = rng.uniform(shortest_s, longest_s, 2)
        hold, pause = (rng.uniform(0.0, (0.3, 0.2)) * fine_hz).astype(int)
        high = np.radians(rng.uniform(82.0, 95.0))
        up = np.arange(0.0, up_s, 1.0 / fine_hz) / up_s
        down = np.arange(0.0, down_s, 1.0 / fine_hz) / down_s
        angle += [low + (high - low) * minimum_jerk(up), np.full(hold, high)]
        angle += [high - (high - low) * minimum_jerk(down), np.full(pause, low)]
        swing += [
            size * (minimum_jerk(2 * up) - minimum_jerk(2 * up - 1)),
            np.zeros(hold + len(down) + pause),
        ]
    theta, travel = np.concatenate(angle), np.concatenate(swing)
    time = np.arange(len(theta)) / fine_hz
    moving = minimum_jerk((np.arange(len(theta)) - still) / fine_hz)
    plane = rng.uniform(0.0, 0.5) + 0.05 * moving * np.sin(2 * np.pi * time / 3.3 + rng.uniform(0.0, 6.0))
    twist = 0.1 * moving * np.sin(2 * np.pi * time / 2.7 + rng.uniform(0.0, 6.0))
    arm = (
        Rotation.from_rotvec(np.outer(plane, [0, 0, 1]))
        * Rotation.from_rotvec(np.outer(-theta, [0, 1, 0]))
        * Rotation.from_rotvec(np.outer(twist, [0, 0, 1]))
    )
    mounting = Rotation.random(rng=rng)
    sensor = arm * mounting
    lever = mounting.inv().apply([0.02, 0.01, -0.6])
    place = sensor.apply(lever) + np.outer(travel, [0.6, 0.2, 0.8])
    acceleration = np.gradient(np.gradient(place, 1 / fine_hz, axis=0), 1 / fine_hz, axis=0)
    q = sensor.as_quat(scalar_first=True)
    force = quaternions.rotate_back(q, acceleration + np.array([0.0, 0.0, GRAVITY_M_S2]))
    at = np.arange(2 * over, len(theta) - 2, over)
    step = quaternions.multiply(quaternions.conjugate(q[at - over]), q[at])
    omega = quaternions.to_rotation_vector(step) * rate_hz
    force = force[at - over // 2]
    bias = rng.normal(size=3)
    bias *= np.radians(bias_deg_s) / np.abs(bias).max()
    omega = omega + bias
    force = force + rng.uniform(-1.0, 1.0, 3) * offset_g * GRAVITY_M_S2
    if noise:
        omega = omega + np.radians(0.007) * np.sqrt(rate_hz / 2) * rng.normal(size=omega.shape)
        force = force + 160e-6 * GRAVITY_M_S2 * np.sqrt(rate_hz / 2) * rng.normal(size=force.shape)
    return Raises(
        rate_hz=rate_hz,
        angular_velocity_rad_s=omega,
        specific_force_m_s2=force,
        quaternion=q[at],
        arm_axis=mounting.inv().apply([0.0, 0.0, -1.0]),
        lever_arm_m=lever,
        bias_rad_s=bias,
    )
