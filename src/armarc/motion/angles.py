"""Angles of the arm and their rates, from orientation and angular velocity."""

from __future__ import annotations

import math

import numpy as np

from armarc.motion.quaternions import cached_pieces, conjugate, multiply
from armarc.recording import FloatArray

UNDEFINED_BELOW_RAD = math.radians(20)
"""Plane and axial rotation are undefined near hanging and overhead: their noise grows as 1/sin θ."""


def up_in_sensor(quaternion: FloatArray) -> FloatArray:
    """Global up in sensor axes, shape (n, 3): the third row of the rotation matrix."""
    up = np.empty((len(quaternion), 3))
    for part in cached_pieces(len(up)):
        w, x, y, z = np.ascontiguousarray(quaternion[part].T)
        up[part, 0] = 2 * (x * z - w * y)
        up[part, 1] = 2 * (y * z + w * x)
        up[part, 2] = 1 - 2 * (x * x + y * y)
    return up


def up_of(w: float, x: float, y: float, z: float) -> tuple[float, float, float]:
    """The same of one quaternion, in plain numbers."""
    return 2 * (x * z - w * y), 2 * (y * z + w * x), 1 - 2 * (x * x + y * y)


def elevation(up: FloatArray, arm_axis: FloatArray) -> FloatArray:
    """Angle of the arm line from straight down.

    Parameters
    ----------
    up : ndarray, shape (n, 3)
        Global up in sensor axes.
    arm_axis : ndarray, shape (3,) or (n, 3)
        Shoulder → hand in sensor axes.

    Returns
    -------
    ndarray, shape (n,), rad, 0 … π
        ISB: Wu et al. 2005, J Biomech 38:981–992 (elevation of the humerus; here of the forearm line).
    """
    downward = -(up @ arm_axis) if arm_axis.ndim == 1 else -np.einsum("ij,ij->i", up, arm_axis)
    return angle_from_down(up, downward)


def angle_from_down(up: FloatArray, downward: FloatArray) -> FloatArray:
    """Angle from straight down of a line that points so much downward: its cosine, shape (n,), from −1 to 1."""
    # atan2 keeps its accuracy near 0 and 180°, where acos loses it.
    sine = np.sqrt(np.maximum(np.einsum("ij,ij->i", up, up) - downward**2, 0.0))
    return np.asarray(np.arctan2(sine, downward))


def elevation_rate(up: FloatArray, angular_velocity_rad_s: FloatArray, arm_axis: FloatArray) -> FloatArray:
    """Component of the angular velocity that raises the arm line, shape (n,), rad/s.

    ``up`` is fixed in the global frame, so in sensor axes it turns with −ω; the angle itself is never
    differentiated.
    """
    x, y, z = angular_velocity_rad_s.T
    a, b, c = up.T
    change = arm_axis[0] * (y * c - z * b) + arm_axis[1] * (z * a - x * c) + arm_axis[2] * (x * b - y * a)
    cosine = -(up @ arm_axis)
    sine = np.sqrt(np.maximum(1 - cosine**2, 1e-8))
    return np.asarray(-change / sine)


def horizontal_angle(arm_direction: FloatArray) -> FloatArray:
    """Angle of the arm line about the vertical, shape (n,), rad, unwrapped, arbitrary zero."""
    return np.unwrap(np.arctan2(arm_direction[:, 1], arm_direction[:, 0]))


def horizontal_rate(arm_direction: FloatArray, angular_velocity_global_rad_s: FloatArray) -> FloatArray:
    """Rate of the horizontal angle from the gyroscope, shape (n,), rad/s."""
    turning_x, turning_y, turning_z = angular_velocity_global_rad_s.T
    x, y, z = arm_direction.T
    forward, aside = turning_y * z - turning_z * y, turning_z * x - turning_x * z
    return np.asarray((x * aside - y * forward) / np.maximum(x * x + y * y, 1e-4))


def dominant_axis(
    angular_velocity_global_rad_s: FloatArray, weight: FloatArray | None = None
) -> tuple[FloatArray, float]:
    """Axis that carries most of the turning.

    Returns
    -------
    axis : ndarray, shape (3,)
        Unit vector, global frame; its sign is arbitrary.
    share : float
        Share of the squared rate it carries, 1/3 (no axis) to 1 (a hinge).
    """
    omega = angular_velocity_global_rad_s
    weighted = omega if weight is None else omega * np.asarray(weight)[:, None]
    values, vectors = np.linalg.eigh(weighted.T @ omega)
    total = float(values.sum())
    return vectors[:, 2], float(values[2]) / total if total > 0 else 0.0


def angle_about(quaternion: FloatArray, axis: FloatArray, origin: int = 0) -> FloatArray:
    """Rotation about a global axis since sample `origin`, shape (n,), rad, unwrapped.

    The twist part of the swing–twist split of ``q(t)·q(origin)*``.
    """
    relative = multiply(quaternion, np.broadcast_to(conjugate(quaternion[[origin]]), quaternion.shape))
    angle = np.unwrap(2 * np.arctan2(relative[:, 1:] @ axis, relative[:, 0]))
    return np.asarray(angle - angle[origin])


def plane_of_elevation(arm_direction: FloatArray, forward_heading_rad: FloatArray, side: str) -> FloatArray:
    """Plane of elevation: 0 frontal (abduction), π/2 sagittal (flexion).

    Parameters
    ----------
    arm_direction : ndarray, shape (n, 3)
        Shoulder → hand, global frame.
    forward_heading_rad : ndarray, shape (n,) or scalar, rad
        Where the lifter faces, angle about global z from global x.
    side : str
        ``"right"`` or ``"left"``; the left arm is mirrored so that the same number means the same thing.

    Returns
    -------
    ndarray, shape (n,), rad
        NaN where the elevation is below 20° or above 160°. Wu et al. 2005, J Biomech 38:981–992.
    """
    angle = np.arctan2(arm_direction[:, 1], arm_direction[:, 0])
    angle -= forward_heading_rad
    # Seen from above, a right arm points sideways at −90° from forward, a left arm at +90°.
    if side != "right":
        np.negative(angle, out=angle)
    angle += 1.5 * math.pi
    angle %= 2 * math.pi
    angle -= math.pi
    angle[np.hypot(arm_direction[:, 0], arm_direction[:, 1]) < math.sin(UNDEFINED_BELOW_RAD)] = np.nan
    return angle


def hand_rotation(quaternion: FloatArray, thumb_axis: FloatArray) -> FloatArray:
    """Elevation of the thumb direction above horizontal, shape (n,), rad; thumb up is positive."""
    height = up_in_sensor(quaternion) @ thumb_axis
    return np.asarray(np.arcsin(np.clip(height, -1.0, 1.0, out=height), out=height))


def axial_change(before: FloatArray, after: FloatArray, arm_axis: FloatArray, side: str) -> float:
    """Rotation of the hand about the arm line between two instants, rad; toward thumb up is positive.

    Parameters
    ----------
    before, after : ndarray, shape (4,)
        Sensor → global at the two instants.
    arm_axis : ndarray, shape (3,)
    side : str

    Notes
    -----
    Tilt-and-torsion: the arm line is carried along the shortest arc, and what is left is rotation about it
    (Chénier et al. 2022, Clin Biomech 92:105573, recommend it over Y-X-Y near the hanging arm).
    """
    # The twist about the arm line of the turning in between; what is left of it carries the line along that arc.
    (w, x, y, z), (other, *turned) = before.tolist(), after.tolist()
    scalar = w * other + x * turned[0] + y * turned[1] + z * turned[2]
    across = cross_matrix(before[1:]) @ after[1:]
    along = float((w * after[1:] - other * before[1:] - across) @ arm_axis)
    angle = 2 * math.atan2(along, scalar) if scalar >= 0 else 2 * math.atan2(-along, -scalar)
    return angle if side == "right" else -angle


def cross_matrix(vector: FloatArray) -> FloatArray:
    """The matrix that takes the cross product of `vector`, shape (3,), with what it is multiplied with."""
    x, y, z = vector.tolist()
    return np.array([[0.0, -z, y], [z, 0.0, -x], [-y, x, 0.0]])


def remove_drift(angle_rad: FloatArray, at: np.ndarray) -> FloatArray:
    """Take a straight-line drift out of an angle, so that it returns to the same place at the samples `at`.

    Parameters
    ----------
    angle_rad : ndarray, shape (n,), rad
    at : ndarray of int, shape (k,)
        Samples where the arm rests in its bottom position; fewer than 3 leave the angle as it is.

    Returns
    -------
    ndarray, shape (n,), rad
        The slope is the median of all pairwise slopes (Theil 1950, Sen 1968).
    """
    if len(at) < 3:
        return angle_rad
    first, second = np.triu_indices(len(at), 1)
    slopes = (angle_rad[at[second]] - angle_rad[at[first]]) / (at[second] - at[first])
    return np.asarray(angle_rad - float(np.median(slopes)) * (np.arange(len(angle_rad)) - at[0]))
