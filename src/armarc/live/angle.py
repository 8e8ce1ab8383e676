"""The exercise's angle, sample by sample: elevation of the arm line, or the turn away from the resting pose."""

from __future__ import annotations

from dataclasses import dataclass
from math import atan2, sqrt

import numpy as np

from armarc.motion import elevation, elevation_rate, up_in_sensor
from armarc.motion.quaternions import conjugate, multiply, rotate
from armarc.recording import FloatArray

Vector = tuple[float, float, float]
Quaternion = tuple[float, float, float, float]


@dataclass(frozen=True, slots=True)
class Elevation:
    """Angle of the arm line (a unit vector in sensor axes, shoulder → hand) from straight down."""

    axis: Vector

    def step(self, q: Quaternion, omega: Vector) -> tuple[float, float]:
        """θ (rad) and θ̇ (rad/s) of one sample; ω without its bias."""
        w, x, y, z = q
        ux, uy, uz = 2.0 * (x * z - w * y), 2.0 * (y * z + w * x), 1.0 - 2.0 * (x * x + y * y)
        ax, ay, az = self.axis
        ox, oy, oz = omega
        cosine = -(ux * ax + uy * ay + uz * az)
        sine = sqrt(max(1.0 - cosine * cosine, 0.0))
        change = (oy * uz - oz * uy) * ax + (oz * ux - ox * uz) * ay + (ox * uy - oy * ux) * az
        return atan2(sine, cosine), -change / max(sine, 1e-4)

    def table(self, quaternion: FloatArray, omega: FloatArray) -> tuple[FloatArray, FloatArray]:
        """The same over arrays of shape (n, 4) and (n, 3)."""
        up, axis = up_in_sensor(quaternion), np.array(self.axis)
        return elevation(up, axis), elevation_rate(up, omega, axis)


@dataclass(frozen=True, slots=True)
class TurnFromRest:
    """Turn away from a resting pose: about a known axis (global frame), or, before one is known, in all."""

    rest: Quaternion
    axis: Vector | None = None

    def step(self, q: Quaternion, omega: Vector) -> tuple[float, float]:
        """θ (rad) and θ̇ (rad/s) of one sample; ω without its bias."""
        w, x, y, z = q
        rw, rx, ry, rz = self.rest
        # relative = q ⊗ rest*, global frame
        dw = w * rw + x * rx + y * ry + z * rz
        dx = -w * rx + x * rw - y * rz + z * ry
        dy = -w * ry + x * rz + y * rw - z * rx
        dz = -w * rz - x * ry + y * rx + z * rw
        ox, oy, oz = omega
        # ω in the global frame: v + 2 u × (u × v + w v)
        cx, cy, cz = y * oz - z * oy + w * ox, z * ox - x * oz + w * oy, x * oy - y * ox + w * oz
        gx, gy, gz = ox + 2 * (y * cz - z * cy), oy + 2 * (z * cx - x * cz), oz + 2 * (x * cy - y * cx)
        if self.axis is None:
            size = sqrt(dx * dx + dy * dy + dz * dz)
            if dw < 0.0:
                dw, dx, dy, dz = -dw, -dx, -dy, -dz
            scale = 1.0 / max(size, 1e-6)
            return 2.0 * atan2(size, dw), (gx * dx + gy * dy + gz * dz) * scale
        ax, ay, az = self.axis
        along = dx * ax + dy * ay + dz * az
        # Reps reach from about −90° to 270° of the resting pose.
        angle = 2.0 * atan2(along, dw)
        if angle > 4.71238898038469:
            angle -= 6.283185307179586
        elif angle < -1.5707963267948966:
            angle += 6.283185307179586
        return angle, gx * ax + gy * ay + gz * az

    def table(self, quaternion: FloatArray, omega: FloatArray) -> tuple[FloatArray, FloatArray]:
        """The same over arrays of shape (n, 4) and (n, 3)."""
        rest = np.broadcast_to(conjugate(np.array(self.rest)[None]), quaternion.shape)
        relative = multiply(quaternion, rest)
        turning = rotate(quaternion, omega)
        if self.axis is None:
            relative = relative * np.where(relative[:, :1] < 0, -1.0, 1.0)
            size = np.linalg.norm(relative[:, 1:], axis=1)
            rate = (turning * relative[:, 1:]).sum(axis=1) / np.maximum(size, 1e-6)
            return 2 * np.arctan2(size, relative[:, 0]), rate
        axis = np.array(self.axis)
        angle = 2 * np.arctan2(relative[:, 1:] @ axis, relative[:, 0])
        angle = np.where(angle > 1.5 * np.pi, angle - 2 * np.pi, angle)
        return np.where(angle < -0.5 * np.pi, angle + 2 * np.pi, angle), turning @ axis


ArmAngle = Elevation | TurnFromRest
