"""Where a sensor lies still: short windows in which neither reading moves more than a sensor's noise can."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from armarc.recording import BoolArray, FloatArray, Piece
from armarc.recording.types import STANDARD_GRAVITY_M_S2

WINDOW_S = 0.25
MOST_GYROSCOPE_SD_RAD_S = math.radians(0.6)
"""Spread inside a window: 20 mdps/√Hz over 200 Hz is 0.3 °/s; a hand held still shakes by 1 °/s and more."""
MOST_FORCE_SD_M_S2 = 0.12
MOST_RATE_JUMP_RAD_S = math.radians(0.4)
"""Change of the mean rate from window to window."""
MOST_TILT_RAD = math.radians(0.3)
"""Change of the gravity direction from window to window."""
GRAVITY_TOLERANCE = 0.2


@dataclass(frozen=True, slots=True, kw_only=True)
class StillLimits:
    """How much a window may move; see the constants of this module."""

    gyroscope_sd_rad_s: float = MOST_GYROSCOPE_SD_RAD_S
    force_sd_m_s2: float = MOST_FORCE_SD_M_S2
    rate_jump_rad_s: float = MOST_RATE_JUMP_RAD_S
    tilt_rad: float = MOST_TILT_RAD
    gravity_tolerance: float = GRAVITY_TOLERANCE


ON_A_TABLE = StillLimits()
HANGING_ARM = StillLimits(
    gyroscope_sd_rad_s=math.radians(6),
    force_sd_m_s2=0.4,
    rate_jump_rad_s=math.radians(8),
    tilt_rad=math.radians(2),
)
"""A lifter who stands still."""


def still_stretches(
    piece: Piece, *, shortest_s: float = 1.0, limits: StillLimits = ON_A_TABLE, settled: bool = True
) -> list[tuple[int, int]]:
    """Half-open sample ranges in which the sensor lies still, each `shortest_s` or longer.

    Parameters
    ----------
    piece : Piece
    shortest_s : float, s
    limits : StillLimits
    settled : bool
        One window is cut off at each end of a stretch that something happened before or after, as a sensor put down
        rocks for a moment.

    Notes
    -----
    A gap is bridged where the sensor lies the same way after it.
    """
    width = max(4, round(WINDOW_S * piece.rate_hz))
    count = len(piece.missing) // width
    if count == 0:
        return []
    omega = piece.angular_velocity_rad_s[: count * width].reshape(count, width, 3)
    force = piece.specific_force_m_s2[: count * width].reshape(count, width, 3)
    clipped = piece.clipped[: count * width].reshape(count, width).any(axis=1)
    rate, pull = omega.mean(axis=1), force.mean(axis=1)
    norm = np.linalg.norm(pull, axis=1)
    calm = omega.std(axis=1).max(axis=1) <= limits.gyroscope_sd_rad_s
    calm &= force.std(axis=1).max(axis=1) <= limits.force_sd_m_s2
    calm &= np.abs(norm / STANDARD_GRAVITY_M_S2 - 1) <= limits.gravity_tolerance
    calm &= ~clipped
    joined = _joined(rate, pull / np.maximum(norm, 1e-9)[:, None], limits)
    out = []
    start = 0
    for k in range(1, count + 1):
        if k < count and calm[k] == calm[k - 1] and (joined[k - 1] or not calm[k]):
            continue
        if calm[start]:
            first = start + (1 if settled and start > 0 else 0)
            stop = k - (1 if settled and k < count else 0)
            end = len(piece.missing) if k == count else stop * width
            if stop > first and (end - first * width) / piece.rate_hz >= shortest_s:
                out.append((first * width, end))
        start = k
    return out


def _joined(rate: FloatArray, direction: FloatArray, limits: StillLimits) -> BoolArray:
    """Shape (windows − 1,): neighbours that belong to one rest."""
    jump = np.linalg.norm(np.diff(rate, axis=0), axis=1)
    tilt = np.linalg.norm(np.diff(direction, axis=0), axis=1)
    return np.asarray((jump <= limits.rate_jump_rad_s) & (tilt <= limits.tilt_rad))
