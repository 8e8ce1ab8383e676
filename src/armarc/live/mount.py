"""Which way the arm lies in the sensor, learned while the set goes on."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from armarc.arm_track import outward_axis
from armarc.choices import Choices
from armarc.errors import UsageError
from armarc.live.judge import rate_of
from armarc.live.rows import FORCE, MISSING, QUATERNION, RATE
from armarc.motion import (
    LeverArm,
    Mounting,
    choose_mounting,
    dominant_axis,
    find_twist,
    fit_lever_arm,
    up_in_sensor,
)
from armarc.motion.quaternions import rotate
from armarc.pipeline import CONCENTRIC_WORTH
from armarc.recording import FloatArray
from armarc.reps.movements import Movement

MOVING_RAD_S = math.radians(20)
UPRIGHT_AXIS = 0.7
TWIST_APART = math.cos(math.radians(30))


def fit_mounting(
    table: FloatArray,
    movements: Sequence[Movement],
    bias_rad_s: tuple[float, float, float],
    choices: Choices,
    hanging: tuple[float, float, float] | None,
) -> tuple[Mounting, LeverArm | None]:
    """Settle the mounting from the rows at hand, with the same evidence and preferences as offline.

    Parameters
    ----------
    table : ndarray, shape (n, 14)
    movements : sequence of Movement
        Reps in the table; without any, all that moves is used.
    hanging : tuple of 3 floats, or None
        Down in sensor axes while the arm hung.
    """
    rate_hz = rate_of(table)
    omega = table[:, RATE : RATE + 3] - np.array(bias_rad_s)
    quaternion = np.ascontiguousarray(table[:, QUATERNION : QUATERNION + 4])
    up = up_in_sensor(quaternion)
    weight = np.zeros(len(table))
    for m in movements:
        weight[m.bottom : m.top] = CONCENTRIC_WORTH
        weight[m.top : m.bottom_after + 1] = 1.0
    if not movements:
        weight = (np.linalg.norm(omega, axis=1) > MOVING_RAD_S).astype(float)
    missing = table[:, MISSING] > 0
    lever = fit_lever_arm(
        quaternion,
        omega,
        np.ascontiguousarray(table[:, FORCE : FORCE + 3]),
        rate_hz,
        weight,
        missing=missing if missing.any() else None,
    )
    if movements:
        bottoms = [m.bottom for m in movements]
        mean = -up[bottoms].mean(axis=0)
        down: FloatArray | None = mean / np.linalg.norm(mean)
    else:
        down = None if hanging is None else np.array(hanging)
    twist = find_twist(omega, up, rate_hz) if choices.mounting in ("auto", "twist") else None
    if twist is not None and choices.mounting == "auto" and lever is not None:
        apart = float(twist.arm_axis @ lever.vector_m) / max(lever.reach_m, 1e-9)
        twist = twist if apart > TWIST_APART else None
    method = choices.mounting
    if (method == "lever_arm" and lever is None) or (method == "twist" and twist is None):
        method = "auto"
    mounting, _ = choose_mounting(
        lever=lever,
        twist=twist,
        hanging=down,
        method=method,
        hand_axis=choices.hand_axis,
        outward=outward_axis(choices),
        sensor_height_m=choices.sensor_height_m,
        reach_m=choices.reach_m,
    )
    return mounting, lever


def hanging_mounting(down: tuple[float, float, float], choices: Choices) -> Mounting:
    """Mounting taken from the hanging pose."""
    method = "stated" if choices.mounting == "stated" else "hanging"
    mounting, _ = choose_mounting(
        lever=None, twist=None, hanging=np.array(down), method=method, hand_axis=choices.hand_axis
    )
    return mounting


def check_mounting(choices: Choices) -> None:
    """Refuse what cannot work before the first sample comes.

    Raises
    ------
    UsageError
    """
    if choices.mounting == "stated" and choices.hand_axis is None:
        raise UsageError("the mounting is said to be stated, but not how", "add --hand-axis, for example +x")


def turn_axis(
    table: FloatArray, bias_rad_s: tuple[float, float, float], coordinate: str, top: int
) -> tuple[float, float, float]:
    """Axis (global frame) a movement turns about, such that it turns positively on its way to the row `top`."""
    omega = table[:, RATE : RATE + 3] - np.array(bias_rad_s)
    turning = rotate(np.ascontiguousarray(table[:, QUATERNION : QUATERNION + 4]), omega)
    axis, _ = dominant_axis(turning)
    if coordinate == "horizontal" and abs(float(axis[2])) >= UPRIGHT_AXIS:
        axis = np.array([0.0, 0.0, 1.0])
    if float((turning[: top + 1] @ axis).sum()) < 0:
        axis = -axis
    return (float(axis[0]), float(axis[1]), float(axis[2]))
