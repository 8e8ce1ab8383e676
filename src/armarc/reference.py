"""Plane of elevation and hand rotation: where the lifter faces and where the thumb points.

A six-axis sensor has no absolute heading and a strap can sit at any roll, so both need a reference: a stated
strap place together with "thumb forward when hanging", or a front raise at the start of the recording. Without
one they stay empty, with the reason.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from armarc.choices import Choices
from armarc.motion import ArmMotion, thumb_axis
from armarc.motion.mounting import FACING_SE_RAD, STRAP_ROLL_SE_RAD
from armarc.motion.quaternions import rotate
from armarc.motion.types import Heading
from armarc.recording import FloatArray
from armarc.worn import outward_axis

IntArray = NDArray[np.int_]

NO_REFERENCE = (
    "plane and hand rotation need a reference: say where the strap sits (--strap back, inside, thumb or "
    "little-finger; the sensor's z axis pointing away from the skin) and let the thumb point forward when the arm "
    "hangs, or begin with one front raise and say --reference front-raise"
)

HANGING_BELOW_RAD = np.radians(30)
ROLL_DISAGREES_RAD = np.radians(35)
STRAP_DISAGREES = (
    "the front raise and the stated strap place disagree about where the thumb points by more than 35°: the front "
    "raise was believed; check the strap, or whether the thumb points forward when the arm hangs"
)


def add_reference(
    motion: ArmMotion,
    choices: Choices,
    bottoms: tuple[tuple[int, ...], ...],
    front_raise_top: int | None,
) -> ArmMotion:
    """Add plane and hand rotation where the recording allows them.

    Parameters
    ----------
    motion : ArmMotion
    choices : Choices
    bottoms : tuple of tuple of int
        For each set the samples where the arm hangs between reps.
    front_raise_top : int or None
        Sample at the top of the reference front raise.

    Returns
    -------
    ArmMotion
        With `forward`, which gives it plane and hand rotation, or with a note saying what is missing.
    """
    if motion.coordinate != "elevation":
        return motion
    outward = outward_axis(choices)
    thumb, thumb_se = None, motion.mounting.thumb_se_rad
    if outward is not None and choices.strap is not None:
        thumb = thumb_axis(motion.mounting.arm_axis, outward, choices.strap, motion.side)
        thumb_se = STRAP_ROLL_SE_RAD
    notes = motion.notes
    if thumb is None:
        thumb = motion.mounting.thumb_axis
    drift = _heading_drift(motion, bottoms)
    forward: Heading | None = None
    if front_raise_top is not None:
        arm = rotate(motion.quaternion[front_raise_top], motion.mounting.arm_axis)
        forward = drift.turned(float(np.arctan2(arm[1], arm[0]) - drift.at(np.array(front_raise_top))))
        # The hanging thumb shows the strap's true roll; the stated place only checks it.
        shown = _forward_in_sensor(motion, forward, bottoms)
        if thumb is not None and shown is not None and float(thumb @ shown) < np.cos(ROLL_DISAGREES_RAD):
            notes = (*notes, STRAP_DISAGREES)
        thumb = thumb if shown is None else shown
        thumb_se = FACING_SE_RAD
    elif thumb is not None:
        forward = _thumb_heading(motion, thumb, bottoms, drift)
    if forward is None:
        return replace(motion, notes=(*notes, NO_REFERENCE))
    return replace(
        motion,
        notes=notes,
        mounting=replace(motion.mounting, thumb_axis=thumb, thumb_se_rad=thumb_se),
        forward=forward,
    )


def _heading_drift(motion: ArmMotion, bottoms: tuple[tuple[int, ...], ...]) -> Heading:
    """Heading of the hanging hand over time: the drift of the heading."""
    places, headings = [], []
    probe = _across_probe(motion)
    for group in bottoms:
        if len(group) < 3:
            continue
        at = np.asarray(group)
        pointing = rotate(motion.quaternion[at], np.broadcast_to(probe, (len(at), 3)))
        heading = np.unwrap(np.arctan2(pointing[:, 1], pointing[:, 0]))
        first, second = np.triu_indices(len(at), 1)
        slope = float(np.median((heading[second] - heading[first]) / (at[second] - at[first])))
        level = float(np.median(heading - slope * at))
        for end in (at[0], at[-1]):
            places.append(float(end))
            headings.append(level + slope * float(end))
    if not places:
        return Heading(np.zeros(1), np.zeros(1))
    return Heading(np.array(places), np.unwrap(headings))


def _across_probe(motion: ArmMotion) -> FloatArray:
    axis = motion.mounting.arm_axis
    probe = np.eye(3)[int(np.argmin(np.abs(axis)))]
    probe = probe - (probe @ axis) * axis
    return np.asarray(probe / np.linalg.norm(probe))


def _hanging_samples(motion: ArmMotion, bottoms: tuple[tuple[int, ...], ...]) -> IntArray:
    """Bottoms where the arm really hangs; in a press it does not, and the thumb shows nothing there."""
    at = np.array([k for group in bottoms for k in group], dtype=int)
    return np.asarray(at[motion.elevation_rad[at] < HANGING_BELOW_RAD])


def _thumb_heading(
    motion: ArmMotion, thumb: FloatArray, bottoms: tuple[tuple[int, ...], ...], drift: Heading
) -> Heading | None:
    """Where the thumb points while the arm hangs is forward; slow drift follows the hanging hand."""
    at = _hanging_samples(motion, bottoms)
    if len(at) == 0:
        return None
    pointing = rotate(motion.quaternion[at], np.broadcast_to(thumb, (len(at), 3)))
    off = np.arctan2(pointing[:, 1], pointing[:, 0]) - drift.at(at)
    level = np.arctan2(np.median(np.sin(off)), np.median(np.cos(off)))
    return drift.turned(float(level))


def _forward_in_sensor(
    motion: ArmMotion, forward: Heading, bottoms: tuple[tuple[int, ...], ...]
) -> FloatArray | None:
    """The sensor axis that points forward while the arm hangs: the thumb, by the rule of the hanging hand."""
    at = _hanging_samples(motion, bottoms)
    if len(at) == 0:
        return None
    heading = forward.at(at)
    ahead = np.stack([np.cos(heading), np.sin(heading), np.zeros(len(at))], axis=1)
    q = motion.quaternion[at] * np.array([1.0, -1.0, -1.0, -1.0])
    seen = rotate(q, ahead).mean(axis=0)
    axis = motion.mounting.arm_axis
    seen = seen - (seen @ axis) * axis
    length = float(np.linalg.norm(seen))
    return None if length < 0.3 else np.asarray(seen / length)
