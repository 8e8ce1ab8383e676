"""How fast the arm line turns, for moments: the gyroscope for what is slow, the accelerometer for what is quick.

A strap that wobbles by 1° at 7 Hz turns its gyroscope by as much as an arm that is thrown: 34 rad/s², with an arm and
6 kg some 90 N·m that nobody lifted. It hardly moves the place it sits at. So what changes faster than a raise does is
taken from how the wrist accelerates about the shoulder, ``α = d × (a − g) / R``: slow errors of an accelerometer, as
tilt and zero-g offset, do not come through there. A quick movement of the shoulder does, as a turning about it, but
for a weight at the end of the arm it takes nearly the same moment either way: what counts is how that accelerates.
"""

from __future__ import annotations

import numpy as np

from armarc.load.arm import bent_arm
from armarc.load.lifter import REFERENCE_LIFTER, Lifter
from armarc.motion import ArmMotion, angle_from_down, low_pass
from armarc.motion.kinematics import ANGULAR_ACCELERATION_CUTOFF_HZ, rate_of_change
from armarc.motion.quaternions import rotate
from armarc.recording import STANDARD_GRAVITY_M_S2, FloatArray

BANDWIDTH_HZ = ANGULAR_ACCELERATION_CUTOFF_HZ
"""Low-pass of angular velocity and acceleration. At 6 Hz peaks of fast starts come out 2-10 % too small on
synthetic sets, at 12 Hz within 1.2 %."""
SLOW_HZ = 2.0
"""Up to here the gyroscope counts: half the lowest frequency a strap wobbles at, of which 5 % are left. Peak moments
of simulated bodies are the same from 1 to 3 Hz."""
LEAST_LEVER = 0.05
"""Sine of the angle from straight up or down below which no direction leads up."""
SHORTEST_REACH, LONGEST_REACH = 0.85, 1.1
"""Shares of a body's arm to the wrist at which a sensor on it may sit (working limits)."""


def sensor_reach(motion: ArmMotion, lifter: Lifter = REFERENCE_LIFTER, elbow_rad: float = 0.0) -> float:
    """From the shoulder to the sensor, m: as the movement showed it, as far as the lifter's arm allows."""
    body = lifter.completed()
    _, _, arm_m = bent_arm(body.upper_arm_m, body.forearm_m, elbow_rad)
    shown_m = arm_m if motion.mounting.reach_m is None else motion.mounting.reach_m
    return min(max(shown_m, SHORTEST_REACH * arm_m), LONGEST_REACH * arm_m)


def lifting_axis(direction: FloatArray) -> FloatArray:
    """Axes about which arms turn upward, shape (n, 3), unit length; zero for an arm straight up or down."""
    axis = np.cross(direction, [0.0, 0.0, 1.0])
    length = np.linalg.norm(axis, axis=1, keepdims=True)
    return np.asarray(np.where(length > LEAST_LEVER, axis / np.maximum(length, LEAST_LEVER), 0.0))


def bent_by(motion: ArmMotion, near: slice, direction: FloatArray) -> FloatArray:
    """How much higher the measured arm line is than one fixed in the sensor, rad, shape (n,); 0 without an elevation.

    Where a set showed that the elbow bends on its way, the measured angle is that of a line that turns in the sensor.
    """
    if motion.coordinate != "elevation":
        return np.zeros(len(direction))
    return motion.elevation_rad[near] - angle_from_down(direction, -direction[:, 2])


def arm_rate(motion: ArmMotion, near: slice, reach_m: float) -> tuple[FloatArray, FloatArray]:
    """Angular velocity and acceleration of the arm line.

    Parameters
    ----------
    motion : ArmMotion
    near : slice
        Samples wanted, n of them.
    reach_m : float, m
        From the shoulder to the sensor.

    Returns
    -------
    rate_rad_s, acceleration_rad_s2 : ndarray, shape (n, 3)
        Global frame, low-passed at `BANDWIDTH_HZ` or two fifths of the sampling rate.
    """
    q, hz = motion.quaternion[near], motion.rate_hz
    direction = rotate(q, np.asarray(motion.mounting.arm_axis, dtype=np.float64))
    by_gyroscope = rotate(q, motion.angular_velocity_rad_s[near])
    bent = bent_by(motion, near, direction)
    if bent.any() and len(bent) > 1:
        by_gyroscope = by_gyroscope + lifting_axis(direction) * rate_of_change(bent, hz)[:, None]
    wrist = rotate(q, motion.specific_force_m_s2[near])
    wrist[:, 2] -= STANDARD_GRAVITY_M_S2
    by_accelerometer = np.cumsum(np.cross(direction, wrist), axis=0) / (hz * reach_m)
    slow = low_pass(by_gyroscope - by_accelerometer, hz, min(SLOW_HZ, 0.4 * hz))
    rate = low_pass(slow + by_accelerometer, hz, min(BANDWIDTH_HZ, 0.4 * hz))
    return rate, rate_of_change(rate, hz)
