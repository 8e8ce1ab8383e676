"""Invented sets for the picture and table tests: minimum-jerk raises with exactly known numbers.

The curve is θ(τ) = 10τ³ − 15τ⁴ + 6τ⁵ (Flash & Hogan 1985, J Neurosci 5:1688), τ from 0 to 1 over a phase.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from armarc.exercises import Band
from armarc.motion.types import ArmMotion, Mounting, Orientation
from armarc.reps.types import MeasuredSet, Phases, Rep

RATE_HZ = 100.0


def ramp(tau: np.ndarray) -> np.ndarray:
    tau = np.clip(tau, 0.0, 1.0)
    return tau**3 * (10 - 15 * tau + 6 * tau**2)


def ramp_rate(tau: np.ndarray) -> np.ndarray:
    inside = (tau > 0) & (tau < 1)
    return np.where(inside, 30 * tau**2 * (1 - tau) ** 2, 0.0)


def invent(
    reps: int,
    *,
    seed: int = 1,
    top_deg: float = 88.0,
    bottom_deg: float = 7.0,
    band: tuple[float, float] | None = (45.0, 70.0),
    pause_s: float | Sequence[float] = 0.5,
    start_s: float = 3.0,
    number: int = 1,
    exercise: str = "lateral-raise",
    load_kg: float | None = 8.0,
    side: str | None = "right",
    flags: dict[int, tuple[str, ...]] | None = None,
    without_start: tuple[int, ...] = (),
    rate_hz: float = RATE_HZ,
    tail_s: float = 3.0,
) -> tuple[ArmMotion, MeasuredSet]:
    """One invented set, and the motion it was measured on."""
    random = np.random.default_rng(seed)
    flags = flags or {}
    bounds = None if band is None else Band(*map(math.radians, band))
    at = start_s
    plan = []
    pauses = np.broadcast_to(pause_s, reps).tolist()
    for i in range(reps):
        up_s = 1.35 + 0.02 * i + random.normal(0, 0.14)
        hold_s = 0.25 + 0.1 * random.random()
        down_s = 1.7 + random.normal(0, 0.12)
        top = top_deg - 0.35 * i + random.normal(0, 1.5)
        top *= 0.62 if "partial" in flags.get(i + 1, ()) else 1.0
        plan.append((at, max(up_s, 0.7), hold_s, max(down_s, 0.8), top))
        at += max(up_s, 0.7) + hold_s + max(down_s, 0.8) + pauses[i]
    n = int((at + tail_s) * rate_hz)
    time_s = np.arange(n) / rate_hz
    angle = np.full(n, bottom_deg)
    rate = np.zeros(n)
    measured = []
    for i, (begin, up, hold, down, top) in enumerate(plan):
        rom = top - bottom_deg
        rising = (time_s - begin) / up
        falling = (time_s - begin - up - hold) / down
        angle += rom * (ramp(rising) - ramp(falling))
        rate += rom * (ramp_rate(rising) / up - ramp_rate(falling) / down)
        grid = np.linspace(0, 1, 20001)
        crossed = np.interp((10 / rom, 20 / rom), ramp(grid), grid) * up
        velocity = 10 / (crossed[1] - crossed[0])
        known = i + 1 not in without_start
        tau = math.radians(1.0)
        measured.append(
            Rep(
                rep=i + 1,
                phases=Phases(
                    start_s=begin + 0.08 * up,
                    top_start_s=begin + 0.94 * up,
                    top_end_s=begin + up + hold + 0.06 * down,
                    end_s=begin + up + hold + 0.94 * down,
                ),
                first_sample=int(begin * rate_hz),
                top_sample=int((begin + up + 0.5 * hold) * rate_hz),
                stop_sample=int((begin + up + hold + down) * rate_hz),
                bottom_rad=math.radians(bottom_deg),
                top_rad=math.radians(top),
                rom_rad=math.radians(rom),
                rom_se_rad=0.8 * tau,
                top_se_rad=0.9 * tau,
                concentric_s=0.86 * up,
                hold_s=hold + 0.06 * (up + down),
                eccentric_s=0.88 * down,
                time_under_tension_s=0.92 * up + hold + 0.94 * down,
                pause_s=pauses[i] if i + 1 < reps else None,
                start_velocity_rad_s=math.radians(velocity) if known else None,
                start_velocity_se_rad_s=math.radians(1.5 + random.random()) if known else None,
                start_verdict=bounds.verdict(math.radians(velocity)) if bounds and known else None,
                gate_s=begin + crossed[1],
                mean_concentric_rad_s=math.radians(rom / up),
                mean_eccentric_rad_s=math.radians(rom / down),
                peak_concentric_rad_s=math.radians(1.875 * rom / up),
                peak_eccentric_rad_s=math.radians(1.875 * rom / down),
                peak_concentric_at_rad=math.radians(bottom_deg + rom / 2),
                time_to_peak_s=0.42 * up,
                loaded_range_s=0.6,
                plane_rad=None,
                hand_rotation_rad=None,
                hand_rotation_change_rad=None,
                smoothness_sparc=-1.41,
                body_swing_m=0.012,
                body_swing_se_m=0.003,
                quality=flags.get(i + 1, ()),
            )
        )
    quaternion = np.tile([1.0, 0.0, 0.0, 0.0], (n, 1))
    motion = ArmMotion(
        time_s=time_s,
        rate_hz=rate_hz,
        coordinate="elevation",
        angle_rad=np.radians(angle),
        angle_rate_rad_s=np.radians(rate),
        elevation_rad=np.radians(angle),
        quaternion=quaternion,
        angular_velocity_rad_s=np.zeros((n, 3)),
        specific_force_m_s2=np.tile([0.0, 0.0, 9.80665], (n, 1)),
        missing=np.zeros(n, bool),
        clipped=np.zeros(n, bool),
        orientation=Orientation(
            quaternion=quaternion,
            gyroscope_bias_rad_s=np.zeros(3),
            bias_se_rad_s=0.001,
            tilt_se_rad=math.radians(0.4),
            method="smoother",
        ),
        mounting=Mounting(
            method="lever_arm",
            arm_axis=np.array([0.0, 1.0, 0.0]),
            uncertainty_rad=math.radians(0.9),
            reach_m=0.55,
        ),
    )
    return motion, MeasuredSet(
        set=number,
        start_s=measured[0].phases.start_s,
        end_s=measured[-1].phases.end_s,
        reps=tuple(measured),
        exercise=exercise,
        side=side,
        band=bounds,
        load_kg=load_kg,
    )
