"""What any recording shows of its sensor: the gyroscope's noise where the arm is quietest, gravity where it rests."""

from __future__ import annotations

import math

import numpy as np

from armarc.motion.tolerance import Tolerance, loosened, tolerance_by_noise
from armarc.recording import BoolArray, FloatArray, Piece
from armarc.recording.rests import gravity_at_rest

WINDOW_S = 0.5
QUIETEST = 0.15
"""Share of the windows that is looked at: hanging between reps, holding at the top."""
LEAST_WINDOWS = 8
MOST_DENSITY_RAD_S = math.radians(0.03)
"""No gyroscope worn on a wrist is noisier than this (30 mdps/√Hz; datasheets name 2.8 to 14): what is seen then is the
arm, which was never quiet."""
_THIRD_DIFFERENCE_GAIN = math.sqrt(20.0)


def gyroscope_noise_density(
    angular_velocity_rad_s: FloatArray, rate_hz: float, missing: BoolArray | None = None
) -> float | None:
    """One-sided noise density of the angular velocity.

    Parameters
    ----------
    angular_velocity_rad_s : ndarray, shape (n, 3), rad/s
    rate_hz : float, Hz
    missing : ndarray of bool, shape (n,), or None
        Filled samples are left out.

    Returns
    -------
    float or None, rad/s/√Hz
        None for a recording shorter than four seconds and for an arm that is never quiet. Tremor can only make the
        density larger, a filter inside the sensor smaller.

    Notes
    -----
    Third differences take out what is smooth and leave white noise √20 times as large (the root of the sum of the
    squared binomial coefficients 1, 3, 3, 1). White noise of standard deviation σ has the density σ·√(2/rate).
    """
    n = len(angular_velocity_rad_s)
    width = max(round(WINDOW_S * rate_hz), 8)
    count = (n - 3) // width
    if count < LEAST_WINDOWS:
        return None
    rough = np.diff(angular_velocity_rad_s, n=3, axis=0)[: count * width] / _THIRD_DIFFERENCE_GAIN
    variance = np.square(rough).reshape(count, width, 3).mean(axis=(1, 2))
    if missing is not None and missing.any():
        touched = missing[:-3] | missing[1:-2] | missing[2:-1] | missing[3:]
        variance = variance[~touched[: count * width].reshape(count, width).any(axis=1)]
        if len(variance) < LEAST_WINDOWS:
            return None
    sigma = math.sqrt(float(np.quantile(variance, QUIETEST)))
    density = sigma * math.sqrt(2.0 / rate_hz)
    return density if density <= MOST_DENSITY_RAD_S else None


def tolerance_seen(piece: Piece, known: Tolerance | None) -> tuple[Tolerance, list[str]]:
    """How far the sensor's scales may be off: what is known of it, unless the recording shows worse.

    Parameters
    ----------
    piece : Piece
    known : Tolerance or None
        None for a sensor nobody calibrated: its noise says it then.

    Returns
    -------
    Tolerance
    list of str
        A warning where the accelerometer is damaged or far from calibrated.
    """
    rate = piece.angular_velocity_rad_s
    if known is None:
        known = tolerance_by_noise(gyroscope_noise_density(rate, piece.rate_hz, piece.missing))
    rests = gravity_at_rest(piece.time_s, piece.specific_force_m_s2, rate, piece.missing)
    return (known, []) if rests is None else (loosened(known, rests.excess), rests.warning())
