"""Signs in a set that the arm is no rigid one about a fixed shoulder.

An elbow that bends on the way up carries the shoulder through the axes of a wrist sensor. With
``p = R·(r₀ + r₁·s)``, s the elevation from −½ at the bottom of the range to ½ at its top, the acceleration of the
sensor stays linear in r₀ and r₁,

``f − g = R·[(α× + ω×ω×)(r₀ + r₁·s) + 2·ω×r₁·ṡ + r₁·s̈]``,

and r₁ over the reach is the angle the arm line turns by in the sensor over the range. A trunk that tips, or a body
that swings, moves the shoulder while the arm is raised, and what the fixed shoulder leaves unexplained there shows it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from armarc.motion.filters import high_pass, low_pass
from armarc.motion.kinematics import angular_acceleration, lever_matrix
from armarc.motion.lever_arm import (
    ACROSS_OFFSET_PRIOR_M_S2,
    ACROSS_PRIOR_M,
    OFFSET_PRIOR_M_S2,
    SLOWEST_HZ,
    SOLVED_RATE_HZ,
    LeverArm,
)
from armarc.motion.quaternions import rotate, to_matrix
from armarc.recording import STANDARD_GRAVITY_M_S2, FloatArray

CHANGE_PRIOR_M = 0.08
"""An elbow that bends by 20° moves the shoulder by 10 cm in the axes of the wrist."""
RANGE_HZ = 4.0
"""Bandwidth of the elevation that the bend goes with."""
GUESSED_S = 0.5
"""What a low-pass makes of the ends is a guess for about a period of its cutoff."""
TURNED_RAD, QUIET_SHARE = math.radians(4.0), 0.1
"""More than a rigid arm seems to turn; and less than a tipping trunk leaves unexplained of a raise."""
LEAST_S = 3.0
"""Seconds of movement below which nothing is said."""


@dataclass(frozen=True, slots=True, kw_only=True)
class BodySigns:
    """What a set shows of a body that is no rigid arm.

    Parameters
    ----------
    turned_rad : float, rad
        Angle the arm line turns by in the sensor over the range; a rigid arm and a steady trunk show up to some 3.5°.
    turned_se_rad : float, rad
        Its standard error; infinite where the set holds too little.
    shoulder_share : float
        Share of the acceleration during the raise that a fixed shoulder does not explain.
    unexplained_m_s2 : float, m/s²
        What it leaves where the body is quiet (root mean square of one axis): soft tissue, girdle, trunk.
    """

    turned_rad: float = 0.0
    turned_se_rad: float = 0.0
    shoulder_share: float = 0.0
    unexplained_m_s2: float = 0.0


NO_SIGNS = BodySigns()


def find_body_signs(
    quaternion: FloatArray,
    angular_velocity_rad_s: FloatArray,
    specific_force_m_s2: FloatArray,
    elevation_rad: FloatArray,
    weight: FloatArray,
    rate_hz: float,
    lever: LeverArm,
) -> BodySigns:
    """Look for a bending elbow and a moving trunk in one set.

    Parameters
    ----------
    quaternion : ndarray, shape (n, 4)
    angular_velocity_rad_s : ndarray, shape (n, 3), rad/s
        Sensor axes, bias removed.
    specific_force_m_s2 : ndarray, shape (n, 3), m/s²
        Sensor axes, zero-g offset removed.
    elevation_rad : ndarray, shape (n,), rad
    weight : ndarray, shape (n,)
        0 outside the set; less than half of the largest where the body may swing.
    rate_hz : float, Hz
    lever : LeverArm
        Fitted to the recording.
    """
    rows = _equations(
        quaternion, angular_velocity_rad_s, specific_force_m_s2, elevation_rad, weight, rate_hz, lever
    )
    edge = min(round(2 * GUESSED_S * rate_hz), len(weight) // 8)
    inside = np.zeros(len(weight), bool)
    inside[edge : len(weight) - edge] = True
    quiet = inside & (weight >= 0.5 * weight.max(initial=0.0)) & (weight > 0)
    raising = inside & (weight > 0) & ~quiet
    step = max(1, int(rate_hz / SOLVED_RATE_HZ))
    # The body may move in the raise, and the lowering alone shows less: each is mistaken at times, seldom both.
    turned = [
        _turned(rows[np.flatnonzero(used)[::step]], lever, rate_hz / step)
        for used in (quiet, quiet | raising)
        if used.sum() > LEAST_S * rate_hz
    ]
    if not turned:
        return BodySigns(turned_se_rad=math.inf)
    # Where both agree that it turned, and the trunk is quiet, the larger one says by how much.
    angle, se = max(turned) if min(turned)[0] > TURNED_RAD else min(turned)
    left = rows[:, :, 9] - rows[:, :, :3] @ lever.vector_m
    unexplained = math.sqrt(float((left[quiet] ** 2).mean())) if quiet.any() else 0.0
    share = 0.0
    if raising.sum() > LEAST_S * rate_hz / 2:
        seen = float((rows[raising, :, 9] ** 2).sum())
        share = float((left[raising] ** 2).sum()) / max(seen, 1e-12)
        if share > QUIET_SHARE:
            angle, se = min(turned)
    return BodySigns(turned_rad=angle, turned_se_rad=se, shoulder_share=share, unexplained_m_s2=unexplained)


def _equations(
    quaternion: FloatArray,
    omega: FloatArray,
    force: FloatArray,
    elevation: FloatArray,
    weight: FloatArray,
    rate_hz: float,
    lever: LeverArm,
) -> FloatArray:
    """Shape (n, 3 global axes, 10): columns for r₀, the zero-g offset, r₁, and the target."""
    used = weight > 0
    low, high = np.quantile(elevation[used], [0.03, 0.97]) if used.any() else (0.0, 1.0)
    s = np.clip((elevation - low) / max(float(high - low), 1e-3), -0.3, 1.3) - 0.5
    s = low_pass(s, rate_hz, min(RANGE_HZ, 0.4 * rate_hz))
    ds = np.gradient(s, 1 / rate_hz)
    dds = np.gradient(ds, 1 / rate_hz)
    rotation = to_matrix(quaternion)
    turning = low_pass(rotate(quaternion, omega), rate_hz, lever.bandwidth_hz)
    x, y, z = turning.T
    cross = np.zeros((len(omega), 3, 3))
    cross[:, 0, 1], cross[:, 0, 2], cross[:, 1, 2] = -z, y, -x
    cross -= np.swapaxes(cross, 1, 2)
    still = lever_matrix(turning, angular_acceleration(turning, rate_hz))
    columns = np.empty((len(omega), 3, 10))
    columns[:, :, :3] = still @ rotation
    columns[:, :, 3:6] = rotation
    moving = s[:, None, None] * still + 2 * ds[:, None, None] * cross + dds[:, None, None] * np.eye(3)
    columns[:, :, 6:9] = moving @ rotation
    columns[:, :, 9] = rotate(quaternion, force)
    columns[:, 2, 9] -= STANDARD_GRAVITY_M_S2
    guessed = min(round(GUESSED_S * rate_hz), len(omega) // 8)
    passed = low_pass(columns.reshape(-1, 30), rate_hz, lever.bandwidth_hz)
    passed[:guessed] = passed[guessed]
    passed[len(passed) - guessed :] = passed[len(passed) - guessed - 1]
    passed = high_pass(passed, rate_hz, SLOWEST_HZ)
    return np.asarray(passed.reshape(-1, 3, 10))


def _turned(rows: FloatArray, lever: LeverArm, solved_hz: float) -> tuple[float, float]:
    """Angle between the arm lines at both ends of the range, and its standard error, rad."""
    across = np.zeros((3, 3)) if lever.across is None else np.outer(lever.across, lever.across)
    prior = np.zeros((9, 9))
    prior[:3, :3] = np.eye(3) + across / ACROSS_PRIOR_M**2
    prior[3:6, 3:6] = np.eye(3) / OFFSET_PRIOR_M_S2**2 + across / ACROSS_OFFSET_PRIOR_M_S2**2
    prior[6:, 6:] = np.eye(3) / CHANGE_PRIOR_M**2
    design, target = rows[:, :, :9].reshape(-1, 9), rows[:, :, 9].reshape(-1)
    independent = min(1.0, 2 * (lever.bandwidth_hz - SLOWEST_HZ) / solved_hz)
    squares, wanted = design.T @ design, design.T @ target
    variance = 1e-2
    found: FloatArray = np.zeros(9)
    information = prior
    for _ in range(3):
        information = squares * (independent / variance) + prior
        found = np.asarray(np.linalg.solve(information, wanted * (independent / variance)), dtype=np.float64)
        variance = max(float(((target - design @ found) ** 2).mean()), 1e-6)
    low, high = found[:3] - found[6:] / 2, found[:3] + found[6:] / 2
    sizes = float(np.linalg.norm(low) * np.linalg.norm(high))
    angle = math.acos(max(-1.0, min(1.0, float(low @ high) / max(sizes, 1e-9))))
    covariance = np.linalg.inv(information)[6:, 6:]
    return angle, math.sqrt(float(np.trace(covariance)) * 2 / 3) / max(math.sqrt(sizes), 1e-3)
