"""What a second sensor on the chest says about the trunk: its lean, and how it moves the shoulder.

The trunk's long axis is what was vertical while the lifter stood still; lean is counted from there. Which way is
forward is told by the sensor's face, which points away from the breastbone. Vectors are in the chest sensor's own
global frame (z up, heading arbitrary) unless said.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from armarc.motion.angles import up_in_sensor
from armarc.motion.filters import low_pass
from armarc.motion.kinematics import lever_acceleration, rate_of_change
from armarc.motion.quaternions import rotate
from armarc.recording import FloatArray

BANDWIDTH_HZ = 4.0
"""A trunk moves slower than this."""
SHOULDER_FROM_CHEST_M = (-0.08, 0.18, 0.10)
"""Forward, toward the arm's side and up from a sensor on the breastbone to the shoulder's centre (working values)."""
SHOULDER_FROM_HIPS_M = (0.0, 0.18, 0.50)
"""The same from between the hips, about which a trunk tips."""


@dataclass(frozen=True, slots=True, kw_only=True)
class TrunkMotion:
    """The trunk over one stretch; n samples at the instants of the wrist's samples.

    Parameters
    ----------
    rate_hz : float, Hz
    quaternion : ndarray, shape (n, 4)
        Chest sensor → its global frame.
    up_axis, forward_axis : ndarray, shape (3,)
        Long axis of the trunk and its front, sensor axes, unit vectors across each other.
    angular_velocity_rad_s : ndarray, shape (n, 3), rad/s, sensor axes
    acceleration_m_s2 : ndarray, shape (n, 3), m/s²
        Of the sensor, global.
    """

    rate_hz: float
    quaternion: FloatArray
    up_axis: FloatArray
    forward_axis: FloatArray
    angular_velocity_rad_s: FloatArray
    acceleration_m_s2: FloatArray

    @property
    def spine(self) -> FloatArray:
        """Long axis, global, shape (n, 3)."""
        return rotate(self.quaternion, np.broadcast_to(self.up_axis, (len(self.quaternion), 3)))

    @property
    def heading_rad(self) -> FloatArray:
        """Azimuth the front faces, shape (n,), rad, anticlockwise from x."""
        front = rotate(self.quaternion, np.broadcast_to(self.forward_axis, (len(self.quaternion), 3)))
        return np.asarray(np.arctan2(front[:, 1], front[:, 0]))

    def tilts(self, side: str) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Lean in all, forward, and toward the side of the arm, shape (n,) each, rad."""
        spine, heading = self.spine, self.heading_rad
        ahead = spine[:, 0] * np.cos(heading) + spine[:, 1] * np.sin(heading)
        right = spine[:, 0] * np.sin(heading) - spine[:, 1] * np.cos(heading)
        aside = right if side == "right" else -right
        level = np.hypot(spine[:, 0], spine[:, 1])
        return (
            np.arctan2(level, spine[:, 2]),
            np.arctan2(ahead, spine[:, 2]),
            np.arctan2(aside, spine[:, 2]),
        )

    def carried(self, place_m: tuple[float, float, float], side: str) -> FloatArray:
        """Global path, shape (n, 3), of a place given forward, toward the arm's side and up of the sensor."""
        return rotate(self.quaternion, np.broadcast_to(self._place(place_m, side), (len(self.quaternion), 3)))

    def shoulder_acceleration(self, side: str) -> FloatArray:
        """Acceleration of the shoulder as the trunk moves it, global, shape (n, 3), m/s²."""
        place = self._place(SHOULDER_FROM_CHEST_M, side)
        turning = low_pass(self.angular_velocity_rad_s, self.rate_hz, min(BANDWIDTH_HZ, 0.4 * self.rate_hz))
        own = lever_acceleration(turning, rate_of_change(turning, self.rate_hz), place)
        return self.acceleration_m_s2 + rotate(self.quaternion, own)

    def _place(self, place_m: tuple[float, float, float], side: str) -> FloatArray:
        right = np.cross(self.forward_axis, self.up_axis)
        aside = right if side == "right" else -right
        forward, out, up = place_m
        return np.asarray(forward * self.forward_axis + out * aside + up * self.up_axis)


def trunk_motion(
    quaternion: FloatArray,
    angular_velocity_rad_s: FloatArray,
    specific_force_m_s2: FloatArray,
    rate_hz: float,
    *,
    standing: slice,
    forward: FloatArray,
) -> TrunkMotion:
    """Put the trunk into the chest sensor.

    Parameters
    ----------
    quaternion : ndarray, shape (n, 4)
    angular_velocity_rad_s : ndarray, shape (n, 3), rad/s
        Bias removed.
    specific_force_m_s2 : ndarray, shape (n, 3), m/s²
    rate_hz : float, Hz
    standing : slice
        Samples in which the lifter stands still and upright.
    forward : ndarray, shape (3,)
        Sensor axis that faces away from the breastbone.

    Raises
    ------
    ValueError
        When that axis points up or down while standing, so that it tells no direction.
    """
    up = up_in_sensor(quaternion[standing]).mean(axis=0)
    up = up / np.linalg.norm(up)
    across = forward - (forward @ up) * up
    if float(np.linalg.norm(across)) < 0.3:
        raise ValueError("the forward axis points up or down")
    acceleration = rotate(quaternion, specific_force_m_s2)
    # A trunk ends where it began: what is left on average is gravity and the accelerometer's zero-g offset.
    acceleration -= acceleration.mean(axis=0)
    return TrunkMotion(
        rate_hz=rate_hz,
        quaternion=quaternion,
        up_axis=up,
        forward_axis=across / np.linalg.norm(across),
        angular_velocity_rad_s=angular_velocity_rad_s,
        acceleration_m_s2=low_pass(acceleration, rate_hz, min(BANDWIDTH_HZ, 0.4 * rate_hz)),
    )
