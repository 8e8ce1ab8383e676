"""What is assumed of a sensor nobody has calibrated, and what its noise says about it."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

UNCALIBRATED_SCALE_SE = 0.005
"""Relative standard error of a scale (consumer parts: ±0.5–3 % tolerance, from memory of datasheets)."""
TOLERANCE_PER_DENSITY = 0.0011 / math.radians(0.001)
"""Half-width of the scale tolerance for each rad/s/√Hz of noise: 0.11 % for a mdps/√Hz. Noisy parts are loosely
trimmed as well: 2.8, 7 and 14 mdps/√Hz go with about ±0.3, ±0.8 and ±1.5 %. This is a rule of thumb (own judgement,
no source); calibrating the sensor replaces it."""
LEAST_TOLERANCE, MOST_TOLERANCE = 0.003, 0.03


@dataclass(frozen=True, slots=True, kw_only=True)
class Tolerance:
    """How far the scales of a sensor may be off.

    Parameters
    ----------
    gyroscope, accelerometer : float
        Relative standard error of a scale; cross-axis terms are taken to be half as large.
    told_by : str
        ``"calibration"``, ``"noise"`` (the rule of thumb above), ``"rests"`` (gravity at rest is not as large at every
        attitude) or ``"assumed"``.
    """

    gyroscope: float = UNCALIBRATED_SCALE_SE
    accelerometer: float = UNCALIBRATED_SCALE_SE
    told_by: str = "assumed"


UNKNOWN_TOLERANCE = Tolerance()


def tolerance_by_noise(density_rad_s: float | None) -> Tolerance:
    """Guess the tolerance of a sensor from the noise of its gyroscope.

    Parameters
    ----------
    density_rad_s : float or None, rad/s/√Hz
        One-sided noise density; None where it could not be told.

    Returns
    -------
    Tolerance
        Scales lie evenly within the half-width, so that the standard error is its √3rd part.
    """
    if density_rad_s is None or not math.isfinite(density_rad_s):
        return UNKNOWN_TOLERANCE
    half = min(max(density_rad_s * TOLERANCE_PER_DENSITY, LEAST_TOLERANCE), MOST_TOLERANCE)
    se = half / math.sqrt(3)
    return Tolerance(gyroscope=se, accelerometer=se, told_by="noise")


def loosened(tolerance: Tolerance, seen_at_rest: float) -> Tolerance:
    """The same, where the accelerometer at rest shows that it is off by more.

    Parameters
    ----------
    tolerance : Tolerance
    seen_at_rest : float
        By which share of gravity its reading changes with the attitude.
    """
    if seen_at_rest <= tolerance.accelerometer:
        return tolerance
    return replace(tolerance, accelerometer=seen_at_rest, told_by="rests")
