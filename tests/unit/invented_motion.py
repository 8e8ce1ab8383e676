"""An arm motion of an invented curve, with nothing in it but the angle."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
from invented_reps import Curve
from scipy.spatial.transform import Rotation

from armarc.motion import ArmMotion, Mounting, Orientation

MOUNTING_RAD, TILT_RAD = math.radians(1), math.radians(0.3)


def motion_of(curve: Curve, *, uncertainty_rad=MOUNTING_RAD, tilt_rad=TILT_RAD, **changes):
    """Raised toward global +x about −y; the sensor's z axis points from the hand to the shoulder."""
    q = Rotation.from_rotvec(np.outer(-curve.angle_rad, [0, 1, 0])).as_quat(scalar_first=True)
    n = len(curve.angle_rad)
    omega = np.zeros((n, 3))
    omega[:, 1] = -curve.rate_rad_s
    motion = ArmMotion(
        time_s=np.arange(n) / curve.rate_hz,
        rate_hz=curve.rate_hz,
        coordinate="elevation",
        angle_rad=curve.angle_rad,
        angle_rate_rad_s=curve.rate_rad_s,
        elevation_rad=curve.angle_rad,
        quaternion=q,
        angular_velocity_rad_s=omega,
        specific_force_m_s2=np.zeros((n, 3)),
        missing=np.zeros(n, bool),
        clipped=np.zeros(n, bool),
        orientation=Orientation(
            quaternion=q,
            gyroscope_bias_rad_s=np.zeros(3),
            bias_se_rad_s=0.001,
            tilt_se_rad=tilt_rad,
            method="smoother",
        ),
        mounting=Mounting(
            method="lever_arm",
            arm_axis=np.array([0.0, 0.0, -1.0]),
            uncertainty_rad=uncertainty_rad,
            reach_m=0.58,
            lever_arm_m=np.array([0.0, 0.0, -0.58]),
        ),
    )
    return replace(motion, **changes)
