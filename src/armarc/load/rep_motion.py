"""From a measured rep to the movement the mechanics want."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, fields, replace
from itertools import accumulate

import numpy as np

from armarc.load.arm_rate import SLOW_HZ, arm_rate, bent_by, lifting_axis
from armarc.load.mechanics import UP, ArmKinematics, movement_axis
from armarc.load.resistance import body_axes
from armarc.motion import ArmMotion, low_pass
from armarc.motion.kinematics import rate_of_change
from armarc.motion.quaternions import rotate
from armarc.recording import FloatArray
from armarc.reps import Rep
from armarc.reps.phases import Instants
from armarc.reps.swing import Swing, body_swings


@dataclass(frozen=True, slots=True, kw_only=True)
class RepMotion:
    """One rep, from its start to its end; from the rest before it and to the one after it where the shoulder's path
    is known.

    Parameters
    ----------
    motion : ArmKinematics
    axis : ndarray, shape (3,)
        Movement axis of the concentric, global frame.
    body : ndarray, shape (3, 3)
        Rows out, up, forward of the body.
    shoulder_moves : bool
        False where the path of the shoulder is unknown and it is taken as fixed.
    swing_m_s : ndarray, shape (n, 3), m/s, or None
        Velocity of the shoulder without what goes with the arm's angle (girdle, elbow); None where a swing cannot
        be told from it.
    drive_s : tuple of float, s
        From rest at the bottom (the start, where no rest is known) to the peak of θ̇.
    """

    motion: ArmKinematics
    axis: FloatArray
    body: FloatArray
    shoulder_moves: bool
    swing_m_s: FloatArray | None
    drive_s: tuple[float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class RepMotions:
    """All reps of a set, and the same one after another, N samples, so that the mechanics run over them at once.

    ``axis``, shape (N, 3), and ``body``, shape (N, 3, 3), are those of each sample's rep, ``cuts`` its samples.
    """

    reps: tuple[RepMotion, ...]
    motion: ArmKinematics
    axis: FloatArray
    body: FloatArray
    cuts: tuple[slice, ...]

    @classmethod
    def of(cls, reps: Sequence[RepMotion]) -> RepMotions:
        """One after another."""
        lengths = [len(rep.motion.time_s) for rep in reps]
        return cls(
            reps=tuple(reps),
            motion=ArmKinematics(
                **{
                    field.name: np.concatenate([getattr(rep.motion, field.name) for rep in reps])
                    for field in fields(ArmKinematics)
                }
            ),
            axis=np.repeat([rep.axis for rep in reps], lengths, axis=0),
            body=np.repeat([rep.body for rep in reps], lengths, axis=0),
            cuts=tuple(slice(stop - n, stop) for n, stop in zip(lengths, accumulate(lengths), strict=True)),
        )

    def shaken(self, error_m_s2: float) -> RepMotions:
        """With so much more upward acceleration of the shoulder in all reps at once, for error propagation."""
        shoulder = self.motion.shoulder_m_s2 + error_m_s2 * UP
        return replace(self, motion=replace(self.motion, shoulder_m_s2=shoulder))


MARGIN_S = 2.0
"""Around the reps of a set: the shoulder is followed from 0.8 s before a rep, and a second farther in a filter of
12 Hz no longer knows where its input ended."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SetMotion:
    """What is worked out once for all reps of a set, shape (n, 3) each, global frame.

    ``rotation`` has shape (n, 3, 3): arm axes into the global frame; ``first`` is their first sample in the motion,
    ``fixed`` the axes of an arm line fixed in the sensor and ``bent_rad``, shape (n,), how much higher it is.
    """

    first: int
    fixed: FloatArray
    bent_rad: FloatArray
    rotation: FloatArray
    angular_velocity_rad_s: FloatArray
    angular_acceleration_rad_s2: FloatArray

    def tilted(self, angle_rad: float) -> SetMotion:
        """With the arm line turned upward by this angle everywhere, for error propagation."""
        return replace(self, rotation=_tilted(self.fixed, self.bent_rad + angle_rad))


def set_motion(motion: ArmMotion, reps: Sequence[Rep], reach_m: float) -> SetMotion:
    """Smooth and differentiate the motion around some reps.

    Parameters
    ----------
    motion : ArmMotion
    reps : sequence of Rep
    reach_m : float, m
        From the shoulder to the sensor.
    """
    margin = round(MARGIN_S * motion.rate_hz)
    first = max(min((rep.first_sample for rep in reps), default=0) - margin, 0)
    near = slice(first, max((rep.stop_sample for rep in reps), default=0) + margin)
    q = motion.quaternion[near]
    rates, accelerations = arm_rate(motion, near, reach_m)
    mounting = motion.mounting
    along = np.asarray(mounting.arm_axis, float)
    across = _across(along, mounting.thumb_axis)
    third = np.cross(along, across)
    fixed = np.stack([rotate(q, axis) for axis in (along, across, third)], axis=2)
    bent = bent_by(motion, near, fixed[:, :, 0])
    return SetMotion(
        first=first,
        fixed=fixed,
        bent_rad=bent,
        rotation=_tilted(fixed, bent) if bent.any() else fixed,
        angular_velocity_rad_s=rates,
        angular_acceleration_rad_s2=accelerations,
    )


def shoulder_swings(motion: ArmMotion, reps: Sequence[Rep]) -> tuple[Swing, ...]:
    """Swing and path of the shoulder of every rep of a set, see `armarc.reps.swing`.

    Whether a swing can be told was decided with the set's body: what the reps say of it stands.
    """
    origin, hz = float(motion.time_s[0]), motion.rate_hz

    def instants(rep: Rep) -> Instants:
        p = rep.phases
        start, top_start, top_end, end = (
            (t - origin) * hz for t in (p.start_s, p.top_start_s, p.top_end_s, p.end_s)
        )
        return Instants(
            start=start,
            top_start=top_start,
            top_end=top_end,
            end=end,
            bottom_rad=float(motion.angle_rad[rep.first_sample])
            if rep.bottom_rad is None
            else rep.bottom_rad,
            bottom_after_rad=float(motion.angle_rad[rep.stop_sample - 1]),
            top_rad=float(motion.angle_rad[rep.top_sample]) if rep.top_rad is None else rep.top_rad,
            is_complete="end" not in rep.unseen,
            is_begun="start" in rep.unseen,
            unseen=rep.unseen,
        )

    found = body_swings(motion, [instants(rep) for rep in reps])
    return tuple(
        replace(
            swing,
            travel_m=rep.body_swing_m,
            se_m=rep.body_swing_se_m,
            reason=rep.body_swing_reason,
        )
        for swing, rep in zip(found, reps, strict=True)
    )


def rep_motion(
    motion: ArmMotion,
    whole: SetMotion,
    rep: Rep,
    swing: Swing,
    *,
    plane_rad: float = 0.0,
) -> RepMotion:
    """Cut one rep out.

    Parameters
    ----------
    motion : ArmMotion
    whole : SetMotion
    rep : Rep
    swing : Swing
        Of this rep, from `shoulder_swings`.
    plane_rad : float, rad
        Plane of elevation where the rep has none of its own.
    """
    hz, origin, n = motion.rate_hz, float(motion.time_s[0]), len(motion.time_s)
    first = max(math.floor((rep.phases.start_s - origin) * hz), 0)
    top = min(math.ceil((rep.phases.top_start_s - origin) * hz), n - 1)
    last = min(math.ceil((rep.phases.end_s - origin) * hz), n - 1)
    fastest = first + int(np.argmax(motion.angle_rate_rad_s[first : top + 1]))
    course = swing.course
    rising = whole.rotation[first - whole.first : max(top + 1, first + 2) - whole.first, :, 0]
    if course is not None:
        first, last = min(course.first, first), max(course.first + len(course.path_m) - 1, last)
    m = last + 1 - first
    path, swung = np.zeros((m, 3)), None
    if course is not None:
        there = slice(course.first - first, course.first - first + len(course.path_m))
        # Above this, the turning of the arm holds what the shoulder does as well.
        path[there] = low_pass(course.path_m, hz, min(SLOW_HZ, 0.4 * hz))
        if swing.travel_m is not None:
            swung = np.zeros((m, 3))
            swung[there] = rate_of_change(course.swing_m, hz)
    velocity = rate_of_change(path, hz)
    cut, near = slice(first, last + 1), slice(first - whole.first, last + 1 - whole.first)
    level = 1 - rising[:, 2] ** 2
    heading = np.array([np.sum(level * rising[:, 0]), np.sum(level * rising[:, 1]), 0.0])
    plane = plane_rad if rep.plane_rad is None else rep.plane_rad
    return RepMotion(
        motion=ArmKinematics(
            time_s=motion.time_s[cut],
            angle_rad=motion.angle_rad[cut],
            rotation=whole.rotation[near],
            angular_velocity_rad_s=whole.angular_velocity_rad_s[near],
            angular_acceleration_rad_s2=whole.angular_acceleration_rad_s2[near],
            shoulder_m=path,
            shoulder_m_s=velocity,
            shoulder_m_s2=rate_of_change(velocity, hz),
        ),
        axis=movement_axis(rising),
        body=body_axes(motion.side, plane, heading),
        shoulder_moves=course is not None,
        swing_m_s=swung,
        drive_s=(float(motion.time_s[first]), float(motion.time_s[fastest])),
    )


def _across(along: FloatArray, thumb: FloatArray | None) -> FloatArray:
    """Unit vector across the arm, toward the thumb where known."""
    if thumb is None:
        thumb = np.eye(3)[int(np.argmin(np.abs(along)))]
    across = thumb - (thumb @ along) * along
    return np.asarray(across / np.linalg.norm(across))


def _tilted(rotation: FloatArray, angle_rad: FloatArray) -> FloatArray:
    """Turn every arm toward straight up by a small angle of its own, shape (n,)."""
    axis = lifting_axis(rotation[:, :, 0])
    c, s = np.cos(angle_rad)[:, None], np.sin(angle_rad)[:, None]
    out = np.empty_like(rotation)
    for j in range(3):
        v = rotation[:, :, j]
        along = np.sum(axis * v, axis=1, keepdims=True)
        out[:, :, j] = c * v + s * np.cross(axis, v) + (1 - c) * along * axis
    return out
