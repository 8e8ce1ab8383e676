"""Who held the weight on the way down: the least share of the static moment the shoulder held.

For a weight at the reach R of the arm, ``M = m R² θ̈ + m g R sin θ``, so that ``M / M_static = 1 + R θ̈ / (g sin θ)``:
1 as if the arm stood still there, 0 in free fall, below 0 pushed down.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from armarc.motion import ArmMotion, low_pass
from armarc.recording import STANDARD_GRAVITY_M_S2, FloatArray
from armarc.reps.likeness import median
from armarc.reps.phases import Instants

ABOVE_BOTTOM_RAD, BELOW_TOP_RAD = math.radians(20), math.radians(10)
"""The lowering is looked at between these: below, gravity has hardly a moment; above, the arm turns round."""
LOWEST_SHARE = 0.1
LEAST_LEVER = math.sin(math.radians(15))
"""Nearer to the vertical than this gravity hardly turns the arm, and a share of it says nothing (working limit)."""
LEAST_SAMPLES = 4
FINE_S = 0.005
"""A drop passes the window within a few samples; between them the curves are read off by straight lines."""
STEADY_HZ = 3.0
"""A lowering hardly changes its acceleration faster: what does is noise, tremor or a wobbling strap, and a least value
takes the worst of it."""
NO_RIGID_ARM = 0.04
"""Share of what was not held by which a bending elbow and a moving trunk blur it (found on simulated bodies)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Held:
    """Least share held in one lowering, and its standard error; 1 is as if still."""

    share: float
    se: float


def held_share(angle_rad: FloatArray, acceleration_rad_s2: FloatArray, reach_m: float) -> FloatArray:
    """Share of the static moment that is held, ``1 + R θ̈ / (g sin θ)``, shape (n,).

    Parameters
    ----------
    angle_rad : ndarray, shape (n,), rad
        Elevation, 0 hanging.
    acceleration_rad_s2 : ndarray, shape (n,), rad/s²
    reach_m : float, m
        Of the weight; ``I / S`` of an arm with its load (second over first moment of mass) makes it exact.
    """
    return np.asarray(1 + reach_m * acceleration_rad_s2 / (STANDARD_GRAVITY_M_S2 * np.sin(angle_rad)))


def lowest_tenth(values: FloatArray) -> float:
    """Median of the lowest tenth of evenly sampled values."""
    count = max(1, round(LOWEST_SHARE * len(values)))
    lowest = np.sort(values)
    return 0.5 * float(lowest[(count - 1) // 2] + lowest[count // 2])


def least_held(motion: ArmMotion, at: Instants, tilt_se_rad: float) -> Held | None:
    """Least share of the static moment held while the arm is lowered.

    Parameters
    ----------
    motion : ArmMotion
    at : Instants
    tilt_se_rad : float, rad
        Standard error of the angle.

    Returns
    -------
    Held or None
        None where no elevation or reach is known, samples are missing, the lowering is cut or the window is empty.
    """
    reach = motion.mounting.reach_m
    if motion.coordinate != "elevation" or reach is None or not at.is_complete:
        return None
    hz = motion.rate_hz
    first, last = math.floor(at.top_end), math.ceil(at.end)
    if motion.missing[first : last + 1].any():
        return None
    # One sample more on both sides, so that the derivative is that of the movement at the ends, too.
    wide = slice(max(first - 1, 0), min(last + 2, len(motion.angle_rad)))
    angle = motion.angle_rad[wide]
    if len(angle) < LEAST_SAMPLES:
        return None
    acceleration = _slope(motion.angle_rate_rad_s[wide]) * hz
    quick = acceleration - low_pass(acceleration, hz, min(STEADY_HZ, 0.4 * hz))
    noise = math.sqrt(float(np.mean(quick**2)))
    fine = np.arange(at.top_end, at.end, max(FINE_S * hz, 1e-3)) - wide.start
    samples = np.arange(len(angle))
    angle, acceleration = np.interp(fine, samples, angle), np.interp(fine, samples, acceleration)
    inside = lowering_window(angle, at.bottom_after_rad, at.top_rad)
    if not inside.any():
        return None
    angle, acceleration = angle[inside], acceleration[inside]
    shares = held_share(angle, acceleration, reach)
    share = lowest_tenth(shares)
    # One angle among equally near ones would hang on the last digit.
    where = median(angle[shares <= share])
    missing = share - 1
    se = math.hypot(
        missing * NO_RIGID_ARM,
        missing * motion.mounting.lever_se_m / reach,
        missing * motion.tolerance.gyroscope,
        missing * tilt_se_rad / math.tan(where),
        reach * noise / (STANDARD_GRAVITY_M_S2 * math.sin(where)),
    )
    return Held(share=share, se=se)


def _slope(values: FloatArray) -> FloatArray:
    """Change per sample, central but for the ends: NumPy's own of so few takes four times as long."""
    out = np.empty(len(values))
    out[1:-1] = 0.5 * (values[2:] - values[:-2])
    out[0], out[-1] = values[1] - values[0], values[-1] - values[-2]
    return out


def lowering_window(angle_rad: FloatArray, bottom_rad: float, top_rad: float) -> np.ndarray:
    """Which angles of a lowering count, shape (n,): between 20° above its bottom and 10° below the top."""
    return np.asarray(
        (angle_rad >= bottom_rad + ABOVE_BOTTOM_RAD)
        & (angle_rad <= top_rad - BELOW_TOP_RAD)
        & (np.sin(angle_rad) >= LEAST_LEVER)
    )
