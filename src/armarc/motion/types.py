"""Orientation of the sensor, and what the arm did."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from armarc.motion.angles import hand_rotation, plane_of_elevation
from armarc.motion.quaternions import rotate
from armarc.motion.tolerance import UNKNOWN_TOLERANCE, Tolerance
from armarc.recording import ArrayValue, BoolArray, FloatArray


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class Orientation(ArrayValue):
    """Fused orientation of the sensor.

    Parameters
    ----------
    quaternion : ndarray, shape (n, 4)
        Hamilton, scalar first, unit: rotates sensor coordinates into the global frame (z up).
    gyroscope_bias_rad_s : ndarray, shape (3,), rad/s
        Estimated offset, already removed from what `quaternion` was made of.
    bias_se_rad_s : float, rad/s
        Standard error of one axis of the bias.
    tilt_se_rad : float, rad
        Typical standard error of the inclination.
    method : str
    """

    quaternion: FloatArray
    gyroscope_bias_rad_s: FloatArray
    bias_se_rad_s: float
    tilt_se_rad: float
    method: str


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class Mounting(ArrayValue):
    """Which way the arm lies in the sensor.

    Parameters
    ----------
    method : str
        ``"twist"``, ``"lever_arm"``, ``"hanging"``, ``"stated"`` or ``"stored"`` (an earlier guided move).
    arm_axis : ndarray, shape (3,)
        Unit vector in sensor axes from the shoulder toward the hand.
    uncertainty_rad : float, rad
        Standard error of the direction (root mean square over the two directions across the axis).
    reach_m : float or None, m
        Distance from the shoulder to the sensor.
    thumb_axis : ndarray, shape (3,), or None
        Unit vector in sensor axes, across the arm, toward the thumb; None without a reference.
    thumb_se_rad : float or None, rad
        Standard error of the thumb's direction about the arm, and of where the lifter faces.
    lever_arm_m : ndarray, shape (3,), or None, m
        Vector from the shoulder to the sensor in sensor axes.
    lever_se_m : float, m
        Standard error of the lever arm within the plane of movement.
    axis_covariance_rad2 : ndarray, shape (3, 3), rad², or None
        Covariance of the direction, zero along it; None stands for the same uncertainty all round.
    wobble_rad : float, rad
        How far the strap turns about the wrist while the arm moves (root mean square).
    height_known : bool
        Whether the sensor's height above the bone was taken out of the arm's direction.
    lean_se_rad_s2_m : float, rad per m/s²
        Standard error of how far a strap that gives lets the sensor lean per pull along the arm, beyond a firm one's.
    """

    method: str
    arm_axis: FloatArray
    uncertainty_rad: float
    reach_m: float | None = None
    thumb_axis: FloatArray | None = None
    thumb_se_rad: float | None = None
    lever_arm_m: FloatArray | None = None
    lever_se_m: float = 0.0
    axis_covariance_rad2: FloatArray | None = None
    wobble_rad: float = 0.0
    height_known: bool = False
    lean_se_rad_s2_m: float = 0.0


@dataclass(frozen=True, slots=True, eq=False, repr=False)
class Heading(ArrayValue):
    """A heading that drifts along straight lines between places (samples), held before the first and behind the last.

    ``places`` and ``headings_rad`` have shape (k,), k at least 1.
    """

    places: FloatArray
    headings_rad: FloatArray

    def at(self, samples: NDArray[np.int_]) -> FloatArray:
        """Heading at samples, rad, in their shape."""
        return np.asarray(np.interp(samples, self.places, self.headings_rad))

    def turned(self, by_rad: float) -> Heading:
        """The same, turned."""
        return Heading(self.places, self.headings_rad + by_rad)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class ArmMotion(ArrayValue):
    """What the arm did over one evenly sampled piece of a recording; n samples.

    Parameters
    ----------
    time_s : ndarray, shape (n,), s
        From the recording's first sample.
    rate_hz : float, Hz
    coordinate : str
        What ``angle_rad`` means: ``"elevation"``, ``"horizontal"`` or ``"movement"``.
    angle_rad : ndarray, shape (n,), rad
        θ of the contract.
    angle_rate_rad_s : ndarray, shape (n,), rad/s
        θ̇ from the gyroscope, low-passed.
    elevation_rad : ndarray, shape (n,), rad
        Angle of the arm line from straight down, whatever the coordinate.
    quaternion : ndarray, shape (n, 4)
        Sensor → global, scalar first.
    angular_velocity_rad_s : ndarray, shape (n, 3), rad/s
        Sensor axes, bias removed.
    specific_force_m_s2 : ndarray, shape (n, 3), m/s²
        Sensor axes.
    missing, clipped : ndarray of bool, shape (n,)
    orientation : Orientation
    mounting : Mounting
    side : str
        ``"right"`` or ``"left"``.
    forward : Heading or None
        Where the lifter faces; None without a reference.
    tolerance : Tolerance
        Scale errors of the sensor.
    notes : tuple of str
        Why something is missing, what was assumed.
    """

    time_s: FloatArray
    rate_hz: float
    coordinate: str
    angle_rad: FloatArray
    angle_rate_rad_s: FloatArray
    elevation_rad: FloatArray
    quaternion: FloatArray
    angular_velocity_rad_s: FloatArray
    specific_force_m_s2: FloatArray
    missing: BoolArray
    clipped: BoolArray
    orientation: Orientation
    mounting: Mounting
    side: str = "right"
    forward: Heading | None = None
    tolerance: Tolerance = UNKNOWN_TOLERANCE
    notes: tuple[str, ...] = ()

    @property
    def plane_rad(self) -> FloatArray | None:
        """Shape (n,), rad: plane of elevation (0 frontal, π/2 sagittal), NaN below 20° of elevation; None without a
        reference."""
        return self.plane_in(slice(0, len(self.time_s)))

    def plane_in(self, part: slice) -> FloatArray | None:
        """The same of some samples."""
        if self.forward is None:
            return None
        arm = rotate(self.quaternion[part], self.mounting.arm_axis[None])
        heading = self.forward.at(np.arange(*part.indices(len(self.time_s))))
        return plane_of_elevation(arm, heading, self.side)

    @property
    def hand_rotation_rad(self) -> FloatArray | None:
        """Shape (n,), rad: elevation of the thumb direction above horizontal; None without a reference."""
        return self.hand_rotation_in(slice(0, len(self.time_s)))

    def hand_rotation_in(self, part: slice) -> FloatArray | None:
        """The same of some samples."""
        thumb = self.mounting.thumb_axis
        return None if self.forward is None or thumb is None else hand_rotation(self.quaternion[part], thumb)

    @property
    def arm_direction(self) -> FloatArray:
        """Shape (n, 3): unit vector of the arm line, shoulder → hand, global frame."""
        return rotate(self.quaternion, np.broadcast_to(self.mounting.arm_axis, (len(self.time_s), 3)))
