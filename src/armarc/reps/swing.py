"""How much the body swung: travel of the shoulder centre during the concentric."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from armarc.motion import ArmMotion, integrate_path
from armarc.recording import FloatArray

LEAST_WINDOW_S = 0.2
BANDWIDTH_HZ = 4.0
"""A body swings slower than this; tremor above it would leave a false velocity at the ends of the window."""
DRIFTING_ACCELERATION_M_S2 = 0.03
"""What is left of tilt and offset errors after the ends have been brought to rest: they change by about this
much over a concentric."""
PATH_PER_ACCELERATION = 15.6
"""An acceleration error that grows by a over a window of T, brought to rest at both ends, moves the path by
a·T²/15.6."""
TAKEN_OUT = 0.85
"""Share of the seeming travel of the lowering that is taken for error and out of the raise's: a little of it is real.
On synthetic sets of all sensor grades 0.85 leaves no bias."""
DRIFT_SE_SHARE = 0.52
"""Standard error left of that drift, chosen so that on the same sets 95 of 100 travels lie within two standard
errors."""
FLOOR_M = 0.002
"""Sway of someone standing still and double-integrated noise."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Swing:
    """Shoulder travel over a concentric and its standard error, m."""

    travel_m: float
    se_m: float


def eccentric_floor(
    motion: ArmMotion, acceleration_m_s2: FloatArray, windows: Sequence[tuple[float, float]]
) -> float:
    """Acceleration error that would explain the travel seen while the arm is lowered, m/s².

    Lowering is quiet: most of what seems to move the shoulder there is tilt and lever-arm error, which the
    concentric suffers as well.

    Parameters
    ----------
    motion : ArmMotion
    acceleration_m_s2 : ndarray, shape (n, 3), m/s²
        Of the shoulder, global frame, of bandwidth `BANDWIDTH_HZ`.
    windows : sequence of (start, stop)
        Fractional samples of the eccentrics.
    """
    errors = []
    for start, stop in windows:
        first, last = math.floor(start), math.ceil(stop)
        duration = (last - first) / motion.rate_hz
        if duration >= LEAST_WINDOW_S and not motion.missing[first : last + 1].any():
            path = integrate_path(acceleration_m_s2[first : last + 1], motion.rate_hz)
            errors.append(path.travel_m / duration**2 * PATH_PER_ACCELERATION)
    return float(np.median(errors)) if errors else DRIFTING_ACCELERATION_M_S2


def body_swing(
    motion: ArmMotion, acceleration_m_s2: FloatArray, start: float, stop: float, floor_m_s2: float
) -> Swing | None:
    """Peak-to-peak of the shoulder's path between two instants.

    Parameters
    ----------
    motion : ArmMotion
    acceleration_m_s2 : ndarray, shape (n, 3), m/s²
        Of the shoulder, global frame, of bandwidth `BANDWIDTH_HZ`.
    start, stop : float
        Fractional sample indices of the concentric.
    floor_m_s2 : float, m/s²
        From `eccentric_floor`.

    Returns
    -------
    Swing or None
        None for a concentric shorter than 0.2 s or one that touches a gap.
    """
    first, last = math.floor(start), math.ceil(stop)
    if (last - first) / motion.rate_hz < LEAST_WINDOW_S or motion.missing[first : last + 1].any():
        return None
    path = integrate_path(acceleration_m_s2[first : last + 1], motion.rate_hz)
    duration = float(path.time_s[-1])
    drift = max(floor_m_s2, DRIFTING_ACCELERATION_M_S2) * duration**2 / PATH_PER_ACCELERATION
    lever = _lever_term(motion, first, last)
    # Errors add to the path in quadrature and never shorten it: their share is taken out again.
    seen = math.sqrt(max(path.travel_m**2 - (TAKEN_OUT * drift) ** 2, 0.0))
    return Swing(travel_m=seen, se_m=math.sqrt(FLOOR_M**2 + (DRIFT_SE_SHARE * drift) ** 2 + lever**2))


def _lever_term(motion: ArmMotion, first: int, last: int) -> float:
    """What the uncertainty of the lever arm adds: a wrong r moves the shoulder along a small copy of the arc."""
    mounting = motion.mounting
    if mounting.reach_m is None:
        return 0.0
    swept = float(np.ptp(motion.elevation_rad[first : last + 1]))
    chord = 2 * math.sin(min(swept, math.pi) / 2)
    return mounting.lever_se_m * chord
