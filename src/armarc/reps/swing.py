"""How much the body swung: travel of the shoulder centre during the concentric."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from armarc.motion import ArmMotion, integrate_path
from armarc.recording import FloatArray

LEAST_WINDOW_S = 0.2
DRIFTING_ACCELERATION_M_S2 = 0.03
"""What is left of tilt and offset errors after the ends have been brought to rest: they change by about this
much over a concentric."""
FLOOR_M = 0.003
"""Sway of someone standing still and double-integrated noise."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Swing:
    """Shoulder travel over a concentric and its standard error, m."""

    travel_m: float
    se_m: float


def body_swing(
    motion: ArmMotion, shoulder_acceleration_m_s2: FloatArray, start: float, stop: float
) -> Swing | None:
    """Peak-to-peak of the shoulder's path between two instants.

    Parameters
    ----------
    motion : ArmMotion
    shoulder_acceleration_m_s2 : ndarray, shape (n, 3), m/s²
        Global frame.
    start, stop : float
        Fractional sample indices of the concentric.

    Returns
    -------
    Swing or None
        None for a concentric shorter than 0.2 s or one that touches a gap.
    """
    first, last = math.floor(start), math.ceil(stop)
    if (last - first) / motion.rate_hz < LEAST_WINDOW_S or motion.missing[first : last + 1].any():
        return None
    path = integrate_path(shoulder_acceleration_m_s2[first : last + 1], motion.rate_hz)
    duration = float(path.time_s[-1])
    # A straight-line acceleration error a·t/T, brought to rest at both ends, moves the path by a·T²/15.6.
    drift = DRIFTING_ACCELERATION_M_S2 * duration**2 / 15.6
    lever = _lever_term(motion, first, last)
    return Swing(travel_m=path.travel_m, se_m=float(np.sqrt(FLOOR_M**2 + drift**2 + lever**2)))


def _lever_term(motion: ArmMotion, first: int, last: int) -> float:
    """What the uncertainty of the lever arm adds: a wrong r moves the shoulder along a small copy of the arc."""
    mounting = motion.mounting
    if mounting.reach_m is None:
        return 0.0
    swept = float(np.ptp(motion.elevation_rad[first : last + 1]))
    chord = 2 * math.sin(min(swept, math.pi) / 2)
    return mounting.lever_se_m * chord
