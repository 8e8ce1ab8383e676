"""Turning frames: orientation, angular velocity and angular acceleration along a chain of joints.

Every joint turns by a known smooth angle about an axis fixed in the frame before it, so that everything below
is exact: no difference quotients.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.spatial.transform import Rotation

from armarc.recording import FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class Frame:
    """A frame at n instants; vectors in the global frame.

    Parameters
    ----------
    rotation : Rotation, length n
        Its axes into the global frame.
    angular_velocity_rad_s, angular_acceleration_rad_s2 : ndarray, shape (n, 3)
    """

    rotation: Rotation
    angular_velocity_rad_s: FloatArray
    angular_acceleration_rad_s2: FloatArray

    def turned(self, axis: FloatArray, angle: FloatArray) -> Frame:
        """The frame after a joint.

        Parameters
        ----------
        axis : ndarray, shape (3,)
            Unit vector in this frame.
        angle : ndarray, shape (3, n), rad, rad/s, rad/s²
            Angle of the joint and its first two derivatives.
        """
        if not angle.any():
            return self
        along = self.rotation.apply(axis)
        step = angle[1][:, None] * along
        w = self.angular_velocity_rad_s
        return Frame(
            rotation=self.rotation * Rotation.from_rotvec(angle[0][:, None] * axis),
            angular_velocity_rad_s=w + step,
            angular_acceleration_rad_s2=self.angular_acceleration_rad_s2
            + angle[2][:, None] * along
            + np.cross(w, step),
        )

    def direction(self, axis: FloatArray) -> FloatArray:
        """A direction fixed in the frame, seen from outside, shape (n, 3)."""
        out: FloatArray = self.rotation.apply(axis)
        return out

    def carry(self, place: FloatArray, moving: FloatArray | None = None) -> tuple[FloatArray, FloatArray]:
        """Position and acceleration of a point relative to the frame's origin.

        Parameters
        ----------
        place : ndarray, shape (3,) or (n, 3), m
            Where the point is in the frame.
        moving : ndarray, shape (2, n, 3), m/s, m/s², or None
            How it moves in the frame.

        Returns
        -------
        position_m, acceleration_m_s2 : ndarray, shape (n, 3), global
            R(r̈ + …) = R r̈ + 2 ω×(R ṙ) + α×r + ω×(ω×r), rigid-body kinematics.
        """
        w, al = self.angular_velocity_rad_s, self.angular_acceleration_rad_s2
        r = self.rotation.apply(place)
        acceleration = np.cross(al, r) + np.cross(w, np.cross(w, r))
        if moving is not None:
            acceleration += self.rotation.apply(moving[1]) + 2 * np.cross(w, self.rotation.apply(moving[0]))
        return r, acceleration


def fixed_frame(n: int) -> Frame:
    """The global frame at n instants."""
    return Frame(
        rotation=Rotation.identity(n),
        angular_velocity_rad_s=np.zeros((n, 3)),
        angular_acceleration_rad_s2=np.zeros((n, 3)),
    )
