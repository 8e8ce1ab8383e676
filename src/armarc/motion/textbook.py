"""Textbook orientation filters from the `ahrs` library, for comparison and cross-checks.

They are causal, know no gyroscope bias (Mahony's excepted) and loop over samples in Python: slower by a
factor of fifty and less accurate than the smoother. What has to be watched with `ahrs` 0.4, each pinned by a
test:

- ``frequency`` silently defaults to 100 Hz and must, like the gains, be a positive Python number;
- AQUA returns the conjugate of what the others return;
- the EKF's ``frame="NED"`` means z up for an accelerometer that reads +g up;
- Madgwick, Mahony and AQUA stand still, uncorrected, on samples whose angular velocity is exactly zero;
- Mahony's default integral gain (0.3) runs away in fast motion;
- without a first orientation the filters start with conventions of their own.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np

from armarc.errors import InputError, UsageError
from armarc.motion import quaternions
from armarc.recording import FloatArray

MADGWICK_GAIN = 0.033
MAHONY_PROPORTIONAL_GAIN, MAHONY_INTEGRAL_GAIN = 0.5, 0.005
EKF_GYROSCOPE_VARIANCE, EKF_ACCELEROMETER_VARIANCE = 0.3**2, 1.0**2
AQUA_GAIN = 0.01

TILT_SE_RAD = np.radians(2.0)
"""What these filters reach on arm movements with these gains; they give no standard error themselves."""

_LEAST_RATE_RAD_S = 1e-9  # in place of an exact zero


def run_textbook_filter(
    method: str, angular_velocity_rad_s: FloatArray, specific_force_m_s2: FloatArray, rate_hz: float
) -> FloatArray:
    """Orientation by one of the filters of `ahrs`, in this package's convention.

    Parameters
    ----------
    method : str
        ``"madgwick"``, ``"mahony"``, ``"ekf"`` or ``"aqua"``.
    angular_velocity_rad_s, specific_force_m_s2 : ndarray, shape (n, 3)
    rate_hz : float, Hz

    Returns
    -------
    ndarray, shape (n, 4)
        Sensor → global, Hamilton, scalar first.

    Raises
    ------
    UsageError
        Unknown method.
    InputError
        When the filter loses the orientation (AQUA cannot start upside down, for one).
    """
    if method not in _FILTERS:
        raise UsageError(f"unknown textbook filter {method!r}", hint=f"choose one of {', '.join(_FILTERS)}")
    zero = ~np.any(angular_velocity_rad_s, axis=1)
    rates = angular_velocity_rad_s
    if zero.any():
        rates = angular_velocity_rad_s.copy()
        rates[zero, 0] = _LEAST_RATE_RAD_S
    start = quaternions.between(specific_force_m_s2[0], np.array([0.0, 0.0, 1.0]))
    with np.errstate(all="ignore"):
        estimate = _FILTERS[method](rates, specific_force_m_s2, float(rate_hz), start)
    if not np.isfinite(estimate).all():
        first = int(np.argmin(np.isfinite(estimate).all(axis=1)))
        raise InputError(
            f"the {method} filter lost the orientation at sample {first}", hint="use the smoother instead"
        )
    return quaternions.normalize(estimate)


def _madgwick(rates: FloatArray, force: FloatArray, rate_hz: float, start: FloatArray) -> Any:
    from ahrs.filters import Madgwick

    return Madgwick(gyr=rates, acc=force, frequency=rate_hz, q0=start, gain=MADGWICK_GAIN).Q


def _mahony(rates: FloatArray, force: FloatArray, rate_hz: float, start: FloatArray) -> Any:
    from ahrs.filters import Mahony

    return Mahony(
        gyr=rates,
        acc=force,
        frequency=rate_hz,
        q0=start,
        k_P=MAHONY_PROPORTIONAL_GAIN,
        k_I=MAHONY_INTEGRAL_GAIN,
    ).Q


def _ekf(rates: FloatArray, force: FloatArray, rate_hz: float, start: FloatArray) -> Any:
    from ahrs.filters import EKF

    # a dip angle as the magnetic reference, unused here, spares the library its geomagnetic model
    return EKF(
        gyr=rates,
        acc=force,
        frequency=rate_hz,
        frame="NED",
        q0=start,
        var_gyr=EKF_GYROSCOPE_VARIANCE,
        var_acc=EKF_ACCELEROMETER_VARIANCE,
        magnetic_ref=60.0,
    ).Q


def _aqua(rates: FloatArray, force: FloatArray, rate_hz: float, start: FloatArray) -> Any:
    from ahrs.filters import AQUA

    q0 = quaternions.conjugate(start)
    return quaternions.conjugate(
        AQUA(gyr=rates, acc=force, frequency=rate_hz, q0=q0, alpha=AQUA_GAIN, adaptive=False).Q
    )


_FILTERS: dict[str, Callable[[FloatArray, FloatArray, float, FloatArray], Any]] = {
    "madgwick": _madgwick,
    "mahony": _mahony,
    "ekf": _ekf,
    "aqua": _aqua,
}

TEXTBOOK_FILTERS: tuple[str, ...] = tuple(_FILTERS)
