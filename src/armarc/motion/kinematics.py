"""What the gyroscope says about the acceleration of a point on a turning arm."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from armarc.motion.filters import low_pass
from armarc.recording import FloatArray

ANGULAR_ACCELERATION_CUTOFF_HZ = 12.0
"""Bandwidth of the angular acceleration unless stated: a raise has no content above some 8 Hz, and at 12 Hz a
gyroscope of 7 mdps/√Hz adds only 0.03 rad/s² of noise."""


def angular_acceleration(
    angular_velocity_rad_s: ArrayLike, rate_hz: float, *, cutoff_hz: float = ANGULAR_ACCELERATION_CUTOFF_HZ
) -> FloatArray:
    """Rate of change of the angular velocity in sensor axes, low-passed at `cutoff_hz`.

    Central differences of the zero-phase low-passed signal. A vector's rate of change is the same in turning
    and in fixed axes when the vector is the angular velocity itself, so no transport term is needed.

    Parameters
    ----------
    angular_velocity_rad_s : array_like, shape (n, 3), rad/s
    rate_hz : float, Hz
    cutoff_hz : float, Hz
        Bandwidth; compare only with a specific force of the same bandwidth.

    Returns
    -------
    ndarray, shape (n, 3), rad/s²
        Zero for a single sample.
    """
    return rate_of_change(low_pass(angular_velocity_rad_s, rate_hz, cutoff_hz), rate_hz)


def rate_of_change(values: FloatArray, rate_hz: float) -> FloatArray:
    """Derivative with time along the first axis, by central differences of fourth order (ends: of second and first).

    At 25 Hz those of second order take a tenth of what turns at 3 Hz, these a hundredth (Abramowitz and Stegun 25.3,
    from memory).

    Parameters
    ----------
    values : ndarray, shape (n, …)
    rate_hz : float, Hz

    Returns
    -------
    ndarray, same shape, per second
        Zero for a single sample.
    """
    if len(values) < 2:
        return np.zeros_like(values)
    out = np.empty_like(values)
    np.subtract(values[2:], values[:-2], out=out[1:-1])
    out[1:-1] *= 0.5 * rate_hz
    out[0] = (values[1] - values[0]) * rate_hz
    out[-1] = (values[-1] - values[-2]) * rate_hz
    if len(values) > 4:
        inner = out[2:-2]
        inner *= 4 / 3
        inner -= (values[4:] - values[:-4]) * (rate_hz / 12)
    return out


def curvature(values: FloatArray, rate_hz: float) -> FloatArray:
    """Second derivative with time along the first axis, by central differences of fourth order.

    0.4 % short at eight samples a cycle (Abramowitz and Stegun 25.3, from memory). The two values at either end repeat
    their neighbour.

    Parameters
    ----------
    values : ndarray, shape (n, …)
    rate_hz : float, Hz

    Returns
    -------
    ndarray, same shape, per second squared
        Zero for fewer than five samples.
    """
    out = np.zeros_like(values)
    if len(values) < 5:
        return out
    inner = out[2:-2]
    np.add(values[3:-1], values[1:-3], out=inner)
    inner *= 16
    inner -= values[4:]
    inner -= values[:-4]
    inner -= 30 * values[2:-2]
    inner *= rate_hz**2 / 12
    out[:2], out[-2:] = inner[0], inner[-1]
    return out


def lever_acceleration(
    angular_velocity_rad_s: ArrayLike, angular_acceleration_rad_s2: ArrayLike, lever_arm_m: ArrayLike
) -> FloatArray:
    """Acceleration of the end of a rigid lever relative to its pivot: ``α × r + ω × (ω × r)``.

    Parameters
    ----------
    angular_velocity_rad_s : array_like, shape (n, 3), rad/s
    angular_acceleration_rad_s2 : array_like, shape (n, 3), rad/s²
    lever_arm_m : array_like, shape (3,) or (n, 3), m
        From the pivot to the sensor, sensor axes.

    Returns
    -------
    ndarray, shape (n, 3), m/s²
        Sensor axes.
    """
    omega = np.asarray(angular_velocity_rad_s, dtype=np.float64)
    alpha = np.asarray(angular_acceleration_rad_s2, dtype=np.float64)
    lever = np.asarray(lever_arm_m, dtype=np.float64)
    # ω × (ω × r) = ω (ω·r) − r ω²
    along = np.einsum("...i,...i->...", omega, lever)
    square = np.einsum("...i,...i->...", omega, omega)
    out = omega * along[..., None] - lever * square[..., None]
    for i, j, k in ((0, 1, 2), (1, 2, 0), (2, 0, 1)):
        out[..., i] += alpha[..., j] * lever[..., k] - alpha[..., k] * lever[..., j]
    return np.asarray(out)


def lever_matrix(angular_velocity_rad_s: ArrayLike, angular_acceleration_rad_s2: ArrayLike) -> FloatArray:
    """The matrix ``[α]× + [ω]×²`` that gives the lever acceleration when multiplied with the lever arm.

    Parameters
    ----------
    angular_velocity_rad_s : array_like, shape (n, 3), rad/s
    angular_acceleration_rad_s2 : array_like, shape (n, 3), rad/s²

    Returns
    -------
    ndarray, shape (n, 3, 3), 1/s²
    """
    omega = np.asarray(angular_velocity_rad_s, dtype=np.float64)
    alpha = np.asarray(angular_acceleration_rad_s2, dtype=np.float64)
    # Each axis in one piece of memory: NumPy takes a third of the time.
    u, v, w = np.ascontiguousarray(omega.reshape(-1, 3).T)
    x, y, z = np.ascontiguousarray(alpha.reshape(-1, 3).T)
    uu, vv, ww, uv, vw, wu = u * u, v * v, w * w, u * v, v * w, w * u
    matrix = np.empty((len(u), 3, 3))
    matrix[:, 0, 0], matrix[:, 0, 1], matrix[:, 0, 2] = -vv - ww, uv - z, wu + y
    matrix[:, 1, 0], matrix[:, 1, 1], matrix[:, 1, 2] = uv + z, -ww - uu, vw - x
    matrix[:, 2, 0], matrix[:, 2, 1], matrix[:, 2, 2] = wu - y, vw + x, -uu - vv
    return matrix.reshape(*omega.shape, 3)
