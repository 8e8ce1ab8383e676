"""Standard errors of angles, ranges and start velocities.

Three sources are carried: the direction of the arm in the sensor (mounting), the tilt left over by the fusion,
and the scale error of an uncalibrated gyroscope. Mounting is propagated by turning the arm axis by one standard
error in two directions and taking the change of the measure, so that a constant offset of θ costs nothing
where only a difference counts.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from armarc.motion import ArmMotion, Mounting, elevation, up_in_sensor
from armarc.recording import FloatArray
from armarc.sensor.uncalibrated import UNCALIBRATED_SCALE_SE

SHORT_TERM_RAD = math.radians(0.01)
"""Noise of θ differences over a gate's passage: 7 mdps/√Hz over 0.2 s, and the interpolation between samples."""
SCALE_LEFT = 0.5
"""Share of the gyroscope's scale error that is left in θ: gravity holds the ends of every movement. On synthetic sets
of all sensor grades this puts 93 to 95 of 100 errors within two standard errors."""
LEAST_SHARE_OF_SPEED = 0.2
"""The arm is taken to pass an edge of the gate at no less than this share of its speed through it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class AngleErrors:
    """What θ's errors are made of.

    Parameters
    ----------
    turned : tuple of ndarray, each shape (n,), rad
        Change of θ when the arm axis turns by one standard error, for two directions across it.
    tilt_rad : float, rad
        Standard error of the inclination left by the fusion.
    scale : float
        Relative scale error of the gyroscope.
    angle_rad : ndarray, shape (n,), rad
    rate_hz : float, Hz
    """

    turned: tuple[FloatArray, ...]
    tilt_rad: float
    scale: float
    angle_rad: FloatArray
    rate_hz: float

    def of_angle(self, at: int) -> float:
        """Standard error of θ at a sample, rad."""
        return _root_sum([self.tilt_rad, *(float(change[at]) for change in self.turned)])

    def of_range(self, top: int, bottom: float) -> float:
        """Standard error of the difference of θ between two samples, rad."""
        low = round(bottom)
        changes = [float(change[top] - change[low]) for change in self.turned]
        moved = float(self.angle_rad[top] - self.angle_rad[low])
        return _root_sum([self.tilt_rad, SCALE_LEFT * self.scale * moved, *changes])

    def of_speed(self, speed_rad_s: float, gate: tuple[float, float], bottom: float) -> float:
        """Standard error of the start velocity, rad/s: scale, noise of the passage, and mounting."""
        near, far, low = round(gate[0]), round(gate[1]), round(bottom)
        width = float(self.angle_rad[far] - self.angle_rad[near])
        if abs(width) < math.radians(1):
            return abs(speed_rad_s)
        noise = speed_rad_s * math.sqrt(2) * SHORT_TERM_RAD / abs(width)
        # A rise that reads δ more is seen to pass an edge δ/rate earlier; both edges move, and what matters is
        # how differently.
        rates = [max(self._rate(at), LEAST_SHARE_OF_SPEED * speed_rad_s) for at in (near, far)]
        duration_s = (gate[1] - gate[0]) / self.rate_hz
        turned = []
        for change in self.turned:
            earlier = [float(change[at] - change[low]) / r for at, r in zip((near, far), rates, strict=True)]
            turned.append(speed_rad_s * (earlier[1] - earlier[0]) / duration_s)
        return _root_sum([noise, SCALE_LEFT * self.scale * speed_rad_s, *turned])

    def _rate(self, at: int) -> float:
        """Slope of θ around a sample, rad/s."""
        before, after = max(at - 1, 0), min(at + 1, len(self.angle_rad) - 1)
        return float(self.angle_rad[after] - self.angle_rad[before]) * self.rate_hz / (after - before)


def angle_errors(motion: ArmMotion, *, scale: float = UNCALIBRATED_SCALE_SE) -> AngleErrors:
    """Work out how uncertain θ is, for `ArmMotion` of any coordinate.

    Parameters
    ----------
    motion : ArmMotion
    scale : float
        Relative scale error of the gyroscope.
    """
    turned: tuple[FloatArray, ...] = ()
    if motion.coordinate == "elevation":
        up, axis = up_in_sensor(motion.quaternion), motion.mounting.arm_axis
        changes = []
        for across, sigma in _spread(motion.mounting):
            tilted = math.cos(sigma) * axis + math.sin(sigma) * across
            changes.append(elevation(up, tilted) - elevation(up, axis))
        turned = tuple(changes)
    return AngleErrors(
        turned=turned,
        tilt_rad=motion.orientation.tilt_se_rad,
        scale=scale,
        angle_rad=motion.angle_rad,
        rate_hz=motion.rate_hz,
    )


def _spread(mounting: Mounting) -> list[tuple[FloatArray, float]]:
    """Two directions across the arm axis and the standard error along each, rad."""
    covariance = mounting.axis_covariance_rad2
    if covariance is None:
        across = np.eye(3) - np.outer(mounting.arm_axis, mounting.arm_axis)
        covariance = across * mounting.uncertainty_rad**2
    values, vectors = np.linalg.eigh(covariance)
    return [(vectors[:, k], math.sqrt(max(float(values[k]), 0.0))) for k in (1, 2)]


def _root_sum(parts: list[float]) -> float:
    return math.sqrt(sum(p * p for p in parts))
