"""A raise without a recording: an arm line that goes up and down in one plane along a minimum-jerk path."""

from __future__ import annotations

import math

import numpy as np

from armarc.errors import UsageError
from armarc.load.mechanics import ArmKinematics
from armarc.load.resistance import body_axes
from armarc.recording import FloatArray


def minimum_jerk(fraction: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Minimum-jerk course from 0 to 1 (Flash and Hogan 1985, J Neurosci 5:1688) and its two derivatives.

    Parameters
    ----------
    fraction : ndarray
        Share of the duration, clipped to 0…1.

    Returns
    -------
    position, rate, acceleration : ndarray
        Derivatives by the share, so divide by the duration and its square.
    """
    u = np.clip(fraction, 0.0, 1.0)
    return (
        u**3 * (10 - 15 * u + 6 * u * u),
        30 * u * u * (1 - u) ** 2,
        60 * u * (1 - u) * (1 - 2 * u),
    )


def planar_motion(
    time_s: FloatArray,
    angle_rad: FloatArray,
    rate_rad_s: FloatArray,
    acceleration_rad_s2: FloatArray,
    shoulder_m: FloatArray | None = None,
    shoulder_m_s: FloatArray | None = None,
    shoulder_m_s2: FloatArray | None = None,
) -> ArmKinematics:
    """Arm in the global x-z plane: hanging at angle 0, along +x at 90°, the axis is -y.

    Parameters
    ----------
    time_s, angle_rad, rate_rad_s, acceleration_rad_s2 : ndarray, shape (n,)
    shoulder_m, shoulder_m_s, shoulder_m_s2 : ndarray, shape (n, 3), or None
        A fixed shoulder when None.
    """
    n = len(time_s)
    c, s = np.cos(angle_rad), np.sin(angle_rad)
    zero = np.zeros(n)
    along = np.stack([s, zero, -c], axis=1)
    across = np.stack([zero, np.ones(n), zero], axis=1)
    rotation = np.stack([along, across, np.cross(along, across)], axis=2)
    still = np.zeros((n, 3))
    return ArmKinematics(
        time_s=time_s,
        angle_rad=angle_rad,
        rotation=rotation,
        angular_velocity_rad_s=-rate_rad_s[:, None] * across,
        angular_acceleration_rad_s2=-acceleration_rad_s2[:, None] * across,
        shoulder_m=still if shoulder_m is None else shoulder_m,
        shoulder_m_s=still if shoulder_m_s is None else shoulder_m_s,
        shoulder_m_s2=still if shoulder_m_s2 is None else shoulder_m_s2,
    )


PLANAR_AXIS: FloatArray = np.array([0.0, -1.0, 0.0])


def planar_body(plane_rad: float, side: str = "right") -> FloatArray:
    """Rows out, up, forward of the body for `planar_motion` in a plane of elevation."""
    return body_axes(side, plane_rad, np.array([1.0, 0.0, 0.0]))


def ideal_rep(
    *,
    bottom_rad: float = math.radians(5),
    top_rad: float = math.radians(90),
    concentric_s: float = 1.5,
    hold_s: float = 0.0,
    eccentric_s: float = 2.0,
    rate_hz: float = 200.0,
) -> tuple[ArmKinematics, int, int]:
    """One raise up and down with a fixed shoulder.

    Parameters
    ----------
    bottom_rad, top_rad : float, rad
    concentric_s, hold_s, eccentric_s : float, s
    rate_hz : float, Hz

    Returns
    -------
    motion : ArmKinematics
    top_start, top_end : int
        First sample of the hold and first of the eccentric.

    Raises
    ------
    UsageError
        When the angles do not rise or a phase has no time.
    """
    if not 0 <= bottom_rad < top_rad <= math.pi:
        raise UsageError(
            f"a raise goes up from 0° or more to 180° or less, got {math.degrees(bottom_rad):g} to "
            f"{math.degrees(top_rad):g}°"
        )
    if not (0.1 <= concentric_s <= 60 and 0.1 <= eccentric_s <= 60 and 0 <= hold_s <= 60):
        raise UsageError("a phase is expected to last 0.1 to 60 s (a hold 0 to 60 s)")
    total = concentric_s + hold_s + eccentric_s
    time = np.arange(round(total * rate_hz) + 1) / rate_hz
    up, up_rate, up_acc = minimum_jerk(time / concentric_s)
    down, down_rate, down_acc = minimum_jerk((time - concentric_s - hold_s) / eccentric_s)
    rom = top_rad - bottom_rad
    motion = planar_motion(
        time,
        bottom_rad + rom * (up - down),
        rom * (up_rate / concentric_s - down_rate / eccentric_s),
        rom * (up_acc / concentric_s**2 - down_acc / eccentric_s**2),
    )
    return motion, round(concentric_s * rate_hz), round((concentric_s + hold_s) * rate_hz)
