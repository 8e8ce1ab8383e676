"""What the accelerometer reads at rest: gravity, as large at every attitude, unless the sensor is off."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from armarc.recording.types import STANDARD_GRAVITY_M_S2, BoolArray, FloatArray

WINDOW_S = 0.5
_MOST_WINDOWS = 240
_FEWEST_RESTS = 8
_STILL_RAD_S = 0.25
_STEADY_M_S2 = 0.3
"""A rest: neither sensor's reading moves by more than this within half a second; an arm that hangs or holds stays
below (working limits, no source). A gyroscope's bias does not count as moving."""
_BODY_SHARE = 0.015
"""So much do readings at rest differ from each other on people whose sensors are right: tremor, slow movement (between
the 5th and the 95th part half of 0.5 to 1.2 %; set after looking at 20 recordings of real arms and trunks)."""
_DAMAGED_SHARE = 0.05
"""Half-width beyond which angles cannot be trusted: a vertical some 3° off (working limit, no source)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class GravityAtRest:
    """Length of the accelerometer's reading over the rests of a recording: its 5th and 95th part.

    Parameters
    ----------
    least_m_s2, most_m_s2 : float, m/s²
    """

    least_m_s2: float
    most_m_s2: float

    @property
    def excess(self) -> float:
        """How far the reading at rest changes with the attitude, as a share of gravity, beyond what a body does."""
        half = 0.5 * (self.most_m_s2 - self.least_m_s2) / STANDARD_GRAVITY_M_S2
        return float(np.sqrt(max(half**2 - _BODY_SHARE**2, 0.0)))

    def warning(self) -> list[str]:
        """One line where the accelerometer is damaged or far from calibrated, else none."""
        if self.excess < _DAMAGED_SHARE:
            return []
        return [
            f"at rest the accelerometer reads between {self.least_m_s2:.1f} and {self.most_m_s2:.1f} m/s² "
            "depending on how it lies, and gravity is the same everywhere: an axis is damaged or far from "
            "calibrated (armarc sensor check, armarc sensor calibrate); angles from this recording cannot be trusted"
        ]


def gravity_at_rest(
    time_s: FloatArray,
    specific_force_m_s2: FloatArray,
    angular_velocity_rad_s: FloatArray,
    missing: BoolArray | None = None,
) -> GravityAtRest | None:
    """Look at up to 240 windows of half a second.

    Parameters
    ----------
    time_s : ndarray, shape (n,), s
        Evenly spaced but for gaps.
    specific_force_m_s2 : ndarray, shape (n, 3), m/s²
    angular_velocity_rad_s : ndarray, shape (n, 3), rad/s
    missing : ndarray of bool, shape (n,), or None
        Windows with filled samples are left out.

    Returns
    -------
    GravityAtRest or None
        None where the sensor hardly ever rests.
    """
    if len(time_s) < 2:
        return None
    width = max(round(WINDOW_S * (len(time_s) - 1) / max(float(time_s[-1] - time_s[0]), 1e-9)), 4)
    count = len(time_s) // width
    if count < _FEWEST_RESTS:
        return None
    looked_at = np.unique(np.linspace(0, count - 1, min(count, _MOST_WINDOWS)).astype(int))
    rows = (looked_at[:, None] * width + np.arange(width)).ravel()
    force = specific_force_m_s2[rows].reshape(len(looked_at), width, 3)
    rate = angular_velocity_rad_s[rows].reshape(len(looked_at), width, 3)
    still = np.ptp(rate, axis=1).max(axis=1) < _STILL_RAD_S
    still &= force.std(axis=1).max(axis=1) < _STEADY_M_S2
    if missing is not None and missing.any():
        still &= ~missing[rows].reshape(len(looked_at), width).any(axis=1)
    if int(still.sum()) < _FEWEST_RESTS:
        return None
    lengths = np.linalg.norm(force[still].mean(axis=1), axis=1)
    least, most = np.quantile(lengths, (0.05, 0.95))
    return GravityAtRest(least_m_s2=float(least), most_m_s2=float(most))
