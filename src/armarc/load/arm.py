"""The arm as one rigid body about the shoulder, with or without a bent elbow.

Arm axes: x from the shoulder to the wrist, y across it toward the side the elbow bends to (the thumb side),
z completes the right-handed frame. With a straight arm the choice of y does not matter.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from armarc.errors import UsageError
from armarc.load.lifter import CompleteBody
from armarc.load.segments import SegmentShares
from armarc.recording import FloatArray

LARGEST_ELBOW_RAD = math.radians(120)


@dataclass(frozen=True, slots=True, kw_only=True)
class ArmBody:
    """Mass properties about the shoulder, arm axes.

    Parameters
    ----------
    mass_kg : float, kg
    first_moment_kg_m : ndarray, shape (3,), kg m
        Sum of mass times position from the shoulder.
    inertia_kg_m2 : ndarray, shape (3, 3), kg m²
        About the shoulder.
    grip_m : ndarray, shape (3,), m
        Middle of the gripped handle.
    wrist_m : ndarray, shape (3,), m
    """

    mass_kg: float
    first_moment_kg_m: FloatArray
    inertia_kg_m2: FloatArray
    grip_m: FloatArray
    wrist_m: FloatArray

    def with_point(self, mass_kg: float, position_m: FloatArray) -> ArmBody:
        """Add a point mass at `position_m` (arm axes, m)."""
        return ArmBody(
            mass_kg=self.mass_kg + mass_kg,
            first_moment_kg_m=self.first_moment_kg_m + mass_kg * position_m,
            inertia_kg_m2=self.inertia_kg_m2 + mass_kg * _square_distance(position_m),
            grip_m=self.grip_m,
            wrist_m=self.wrist_m,
        )

    @property
    def reach_to_grip_m(self) -> float:
        """Distance from the shoulder to the grip, m."""
        return float(np.linalg.norm(self.grip_m))


def _square_distance(position: FloatArray) -> FloatArray:
    return np.asarray(position @ position * np.eye(3) - np.outer(position, position))


def bent_arm(upper_arm_m: float, forearm_m: float, elbow_rad: float) -> tuple[float, float, float]:
    """Angles between the shoulder-wrist line and the two segments, and the length of that line.

    Parameters
    ----------
    upper_arm_m, forearm_m : float, m
    elbow_rad : float, rad
        0 straight.

    Returns
    -------
    upper_rad, fore_rad, reach_m : float
        Plane geometry: ``upper_rad + fore_rad == elbow_rad``.
    """
    upper = math.atan2(forearm_m * math.sin(elbow_rad), upper_arm_m + forearm_m * math.cos(elbow_rad))
    reach = math.sqrt(
        upper_arm_m**2 + forearm_m**2 + 2 * upper_arm_m * forearm_m * math.cos(elbow_rad),
    )
    return upper, elbow_rad - upper, reach


def arm_body(body: CompleteBody, elbow_rad: float = 0.0) -> ArmBody:
    """Build the arm from upper arm, forearm and hand.

    Parameters
    ----------
    body : CompleteBody
    elbow_rad : float, rad
        Bend held through the rep, 0 straight, at most 120°.

    Raises
    ------
    UsageError
        For an elbow bend outside 0-120°.
    """
    if not 0 <= elbow_rad <= LARGEST_ELBOW_RAD:
        raise UsageError(f"the elbow bend is expected between 0 and 120°, got {math.degrees(elbow_rad):g}°")
    table = body.table
    upper, fore, reach = bent_arm(body.upper_arm_m, body.forearm_m, elbow_rad)
    along_upper = np.array([math.cos(upper), -math.sin(upper), 0.0])
    along_fore = np.array([math.cos(fore), math.sin(fore), 0.0])
    elbow = body.upper_arm_m * along_upper
    wrist = np.array([reach, 0.0, 0.0])
    arm = ArmBody(
        mass_kg=0.0,
        first_moment_kg_m=np.zeros(3),
        inertia_kg_m2=np.zeros((3, 3)),
        grip_m=wrist + body.grip_m * along_fore,
        wrist_m=wrist,
    )
    pieces: tuple[tuple[SegmentShares, FloatArray, FloatArray, float], ...] = (
        (table.upper_arm, np.zeros(3), along_upper, body.upper_arm_m),
        (table.forearm, elbow, along_fore, body.forearm_m),
        (table.hand, wrist, along_fore, body.hand_m),
    )
    for shares, proximal, direction, length in pieces:
        mass = shares.mass * body.body_mass_kg
        arm = arm.with_point(mass, proximal + shares.centre * length * direction)
        along = np.outer(direction, direction)
        own = (shares.gyration * length) ** 2 * (np.eye(3) - along) + (
            shares.gyration_long * length
        ) ** 2 * along
        arm = ArmBody(
            mass_kg=arm.mass_kg,
            first_moment_kg_m=arm.first_moment_kg_m,
            inertia_kg_m2=arm.inertia_kg_m2 + mass * own,
            grip_m=arm.grip_m,
            wrist_m=arm.wrist_m,
        )
    return arm


def unbent(arm: ArmBody) -> ArmBody:
    """Drop everything off the shoulder-wrist line, for when the side the elbow bends to is unknown."""
    line = np.array([1.0, 0.0, 0.0])
    across = 0.5 * (arm.inertia_kg_m2[1, 1] + arm.inertia_kg_m2[2, 2])
    return ArmBody(
        mass_kg=arm.mass_kg,
        first_moment_kg_m=arm.first_moment_kg_m * line,
        inertia_kg_m2=np.diag([arm.inertia_kg_m2[0, 0], across, across]),
        grip_m=arm.grip_m * line,
        wrist_m=arm.wrist_m,
    )
