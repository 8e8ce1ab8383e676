"""From one evenly sampled piece to the arm's motion: fusion, mounting and angles, in two passes.

An orientation that knows no arm is good enough to find the sets. The first pass fits the lever arm to them on that
orientation and says where their lowerings end. The second fits it to the quiet parts so told and fuses again with the
arm's own acceleration taken away.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from itertools import pairwise

import numpy as np

from armarc.choices import Choices
from armarc.guided_mount import with_stored_mount
from armarc.motion import (
    ArmMotion,
    LeverArm,
    Mounting,
    Orientation,
    choose_mounting,
    elevation,
    elevation_rate,
    find_twist,
    fit_lever_arm,
    fuse,
    low_pass,
    up_in_sensor,
)
from armarc.motion.bent_elbow import off_plane
from armarc.motion.lever_arm import WOBBLES_ABOVE_HZ, LeverEquations
from armarc.motion.mounting import ArmEvidence
from armarc.motion.orientation import dead_reckoning, fuse_reckoned
from armarc.motion.place import place_of
from armarc.motion.smoother import Smoothed
from armarc.motion.strap_lean import StrapLean, read_strap_lean, without_lean
from armarc.motion.strapdown import DeadReckoning
from armarc.motion.tolerance import UNKNOWN_TOLERANCE
from armarc.motion.turned_angle import MOVING_RAD_S, QUIET_RAD_S, turned_angle
from armarc.motion.twist import Twist
from armarc.recording import FloatArray, Piece
from armarc.worn import hand_axes, height_over_bone, outward_axis

RATE_CUTOFF_HZ = 6.0
"""Bandwidth of θ̇."""
WOBBLING_RAD = math.radians(0.2)
"""A strap that wobbles more than this moves the edges of a 10° gate by 2–3 %: θ and θ̇ then end below the wobble."""
LONGEST_KEPT_S = 1200.0
"""Of a longer piece the dead reckoning, half as large again as the recording, is made anew for every fusion."""
SETTLED_M = 0.004
"""A lever arm that moved by less than this between two rounds has settled."""
HANGS_BEFORE_S, HANGS_AFTER_S = 1.0, 0.3
"""How far around the lowest instant between two reps the arm is looked for at rest …"""
STILL_S, STILL_RAD_S = 0.1, math.radians(5)
"""… for so long; a sensor that turns slower than the second is as good as still."""
TWIST_AGREES_RAD = math.radians(10)


@dataclass(frozen=True, slots=True, kw_only=True)
class SetWindows:
    """Where the first pass found sets, as half-open sample ranges, and each sample's worth for the mounting.

    ``bottoms`` are samples where the arm rests between reps.
    """

    ranges: tuple[tuple[int, int], ...]
    weight: FloatArray
    bottoms: tuple[tuple[int, ...], ...]


@dataclass(slots=True)
class Workings:
    """What the passes over one piece have in common, made once: `equations` and `twists`, the one there is or None
    once it was looked for, are those of `orientation`.

    `lever` is what the last pass fitted; `arm_hz` how fast the arm of `reckoning` may turn, None for any speed;
    `smoothed` what the next fusion begins with.
    """

    reckoning: DeadReckoning | None = None
    smoothed: Smoothed | None = None
    arm_hz: float | None = None
    lever: LeverArm | None = None
    orientation: Orientation | None = None
    equations: LeverEquations = field(default_factory=dict)
    twists: tuple[Twist | None, ...] = ()

    def restart(self) -> None:
        """Forget all of it: the readings are others."""
        self.reckoning = self.smoothed = self.arm_hz = self.lever = None
        self.turn_to(None)

    def turn_to(self, orientation: Orientation | None) -> None:
        """Forget what was made of another orientation."""
        if orientation is None or self.orientation is not orientation:
            self.orientation, self.equations, self.twists = orientation, {}, ()


def track(
    piece: Piece,
    choices: Choices,
    windows: SetWindows | None = None,
    workings: Workings | None = None,
) -> ArmMotion:
    """Work out what the arm did.

    Parameters
    ----------
    piece : Piece
    choices : Choices
    windows : SetWindows or None
        None where no set was found.
    workings : Workings or None
        Kept by the caller from pass to pass over this piece, so that nothing is worked out twice: a pass starts from
        the orientation that the one before found, and where there is no set takes it as it is.

    Returns
    -------
    ArmMotion
        Without plane and hand rotation; `armarc.reference` adds them. Where a strap gives, that of a case that sits as
        firmly as if nothing pulled at it.
    """
    workings = Workings() if workings is None else workings
    motion = _tracked(piece, choices, windows, workings)
    lean = None if windows is None else _lean(motion, windows)
    if lean is None:
        return motion
    omega, force = without_lean(
        piece.angular_velocity_rad_s,
        piece.specific_force_m_s2,
        piece.rate_hz,
        motion.mounting.arm_axis,
        lean.believed * lean.turns,
    )
    del motion  # as large as the recording
    firm = replace(piece, angular_velocity_rad_s=omega, specific_force_m_s2=force)
    workings.restart()
    motion = _tracked(firm, choices, windows, workings)
    lever = workings.lever
    workings.restart()  # the next pass begins with the piece as it was read
    workings.lever = lever
    said = (
        f"the strap gives: the sensor leans by {math.degrees(lean.level_rad):.1f}° from a hanging to a level arm, as "
        "its trembling shows; that was taken out as far as it is sure: fasten it"
    )
    mounting = replace(motion.mounting, lean_se_rad_s2_m=lean.left)
    return replace(motion, mounting=mounting, notes=(*motion.notes, said))


def _lean(motion: ArmMotion, windows: SetWindows) -> StrapLean | None:
    """How far a strap gives, where it does and the arm is raised; a firm one is None."""
    if motion.coordinate != "elevation" or motion.mounting.method != "lever_arm":
        return None
    lean = read_strap_lean(
        motion.quaternion,
        motion.angular_velocity_rad_s,
        motion.specific_force_m_s2,
        motion.rate_hz,
        motion.mounting.arm_axis,
        windows.ranges,
        motion.missing,
    )
    return lean if lean is not None and lean.believed > 0 else None


def _tracked(piece: Piece, choices: Choices, windows: SetWindows | None, workings: Workings) -> ArmMotion:
    orientation = orientation_so_far(piece, choices, workings)
    notes: list[str] = []
    mounting, lever = _mount(piece, choices, orientation, windows, notes, workings)
    is_fused_again = windows is not None and mounting.method in ("lever_arm", "twist")
    if is_fused_again and choices.fusion == "smoother":
        # Gravity is seen far better once the arm's own acceleration is known; then the lever arm is, too.
        for _ in range(2):
            if lever is None:
                break
            del orientation
            workings.turn_to(None)  # the next one needs the room
            orientation = _fused(piece, choices, lever, workings)
            notes.clear()
            known = lever
            mounting, lever = _mount(piece, choices, orientation, windows, notes, workings)
            if lever is not None and float(np.linalg.norm(lever.vector_m - known.vector_m)) < SETTLED_M:
                break
        workings.reckoning = None  # as large as the recording, and seldom wanted again
    workings.lever = lever
    omega = piece.angular_velocity_rad_s - orientation.gyroscope_bias_rad_s
    angle, rate, lifted, coordinate = _angles(choices, orientation, omega, mounting, windows, notes)
    if coordinate != "elevation":
        notes.append(
            "the angle counts from an arbitrary zero: bottoms and tops have no standard error, ranges and speeds have"
        )
    bandwidth_hz = RATE_CUTOFF_HZ
    if mounting.wobble_rad > WOBBLING_RAD:
        bandwidth_hz = WOBBLES_ABOVE_HZ
        angle, lifted = (low_pass(each, piece.rate_hz, bandwidth_hz) for each in (angle, lifted))
    return ArmMotion(
        time_s=piece.time_s,
        rate_hz=piece.rate_hz,
        coordinate=coordinate,
        angle_rad=angle,
        angle_rate_rad_s=low_pass(rate, piece.rate_hz, bandwidth_hz),
        elevation_rad=lifted,
        quaternion=orientation.quaternion,
        angular_velocity_rad_s=omega,
        specific_force_m_s2=_levelled(piece, lever),
        missing=piece.missing,
        clipped=piece.clipped,
        orientation=orientation,
        mounting=mounting,
        side=choices.side,
        tolerance=choices.tolerance or UNKNOWN_TOLERANCE,
        notes=tuple(notes),
    )


def _angles(
    choices: Choices,
    orientation: Orientation,
    omega: FloatArray,
    mounting: Mounting,
    windows: SetWindows | None,
    notes: list[str],
) -> tuple[FloatArray, FloatArray, FloatArray, str]:
    """Angle, its rate, the elevation and the coordinate it became."""
    up = up_in_sensor(orientation.quaternion)
    lifted, coordinate = elevation(up, mounting.arm_axis), choices.exercise.coordinate
    if coordinate == "elevation":
        return lifted, elevation_rate(up, omega, mounting.arm_axis), lifted, coordinate
    sets = [] if windows is None else list(zip(windows.ranges, windows.bottoms, strict=True))
    angle, rate, coordinate = turned_angle(
        orientation.quaternion, omega, mounting.arm_axis, coordinate, sets, notes
    )
    return angle, rate, lifted, coordinate


def first_angle(piece: Piece, choices: Choices, windows: SetWindows, workings: Workings) -> FloatArray:
    """The angle as the first pass shows it, on the orientation so far, shape (n,), rad; parameters as in `track`."""
    orientation = orientation_so_far(piece, choices, workings)
    mounting, _ = _mount(piece, choices, orientation, windows, [], workings)
    if choices.exercise.coordinate == "elevation":
        angle = elevation(up_in_sensor(orientation.quaternion), mounting.arm_axis)
    else:
        omega = piece.angular_velocity_rad_s - orientation.gyroscope_bias_rad_s
        angle = _angles(choices, orientation, omega, mounting, windows, [])[0]
    wobbles = mounting.wobble_rad > WOBBLING_RAD
    return low_pass(angle, piece.rate_hz, WOBBLES_ABOVE_HZ) if wobbles else angle


def orientation_so_far(piece: Piece, choices: Choices, workings: Workings) -> Orientation:
    """The orientation that the last pass found; before any, one that knows no arm and is good enough to count by.

    Parameters
    ----------
    piece : Piece
    choices : Choices
    workings : Workings
        Keeps it.
    """
    if workings.orientation is None:
        workings.turn_to(_fused(piece, choices, None, workings))
    assert workings.orientation is not None
    return workings.orientation


def mount_on(
    piece: Piece, choices: Choices, orientation: Orientation, windows: SetWindows | None
) -> tuple[Mounting, LeverArm | None]:
    """Which way the arm lies, as the sets of a piece show it on an orientation that is known already.

    Raises
    ------
    UsageError
        When the way of mounting asked for finds no evidence.
    """
    return _mount(piece, choices, orientation, windows, [], Workings())


def _levelled(piece: Piece, lever: LeverArm | None) -> FloatArray:
    """Specific force with the accelerometer's zero-g offset taken out."""
    return piece.specific_force_m_s2 if lever is None else piece.specific_force_m_s2 - lever.offset_m_s2


def _fused(piece: Piece, choices: Choices, lever: LeverArm | None, workings: Workings) -> Orientation:
    omega, force, rate_hz = piece.angular_velocity_rad_s, piece.specific_force_m_s2, piece.rate_hz
    if choices.fusion != "smoother":
        return fuse(omega, force, rate_hz, method=choices.fusion)
    arm_hz = lever.bandwidth_hz if lever is not None and lever.wobble_rad > 0 else None
    reckoning = workings.reckoning
    if reckoning is None or workings.arm_hz != arm_hz:
        reckoning = dead_reckoning(omega, force, rate_hz, missing=piece.missing, arm_hz=arm_hz)
    workings.reckoning = reckoning if len(omega) <= LONGEST_KEPT_S * rate_hz else None
    workings.arm_hz = arm_hz
    orientation, workings.smoothed = fuse_reckoned(
        reckoning,
        lever_arm_m=None if lever is None else lever.vector_m,
        offset_m_s2=None if lever is None else lever.offset_m_s2,
        sampling="instants",
        begun=workings.smoothed,
    )
    return orientation


def _mount(
    piece: Piece,
    choices: Choices,
    orientation: Orientation,
    windows: SetWindows | None,
    notes: list[str],
    workings: Workings,
) -> tuple[Mounting, LeverArm | None]:
    workings.turn_to(orientation)
    omega = piece.angular_velocity_rad_s - orientation.gyroscope_bias_rad_s
    weight = (_speed(omega) > MOVING_RAD_S).astype(float) if windows is None else windows.weight
    is_elevation = choices.exercise.coordinate == "elevation"
    hanging = _hanging(orientation.quaternion, omega, piece.rate_hz, windows) if is_elevation else None
    twist = None
    if is_elevation and choices.mounting in ("auto", "twist"):
        workings.twists = workings.twists or (find_twist(omega, orientation.quaternion, piece.rate_hz),)
        twist = workings.twists[0]
    lever = fit_lever_arm(
        orientation.quaternion,
        omega,
        piece.specific_force_m_s2,
        piece.rate_hz,
        weight,
        hanging=hanging,
        missing=piece.missing if piece.missing.any() else None,
        height_m=height_over_bone(choices),
        made=workings.equations,
    )
    exercise = choices.exercise
    if lever is not None and is_elevation and exercise.sensor_place == "wrist":
        lever = off_plane(lever, hand_axes(choices), height_over_bone(choices))
    if twist is not None and choices.mounting == "auto" and lever is not None:
        # The arm cannot point elsewhere than from the shoulder to the sensor; a rotation about another
        # vertical axis (turning on the spot, shaking out the arm) is no twist.
        apart = float(twist.arm_axis @ lever.vector_m) / max(lever.reach_m, 1e-9)
        twist = twist if apart > math.cos(TWIST_AGREES_RAD) else None
    mounting, said = choose_mounting(
        ArmEvidence(lever=lever, twist=twist, hanging=hanging),
        method=choices.mounting,
        hand_axis=choices.hand_axis,
        outward=outward_axis(choices),
        sensor_height_m=choices.sensor_height_m,
        reach_m=choices.reach_m,
        tolerance=choices.tolerance or UNKNOWN_TOLERANCE,
        place=place_of(choices.exercise.sensor_place, choices.exercise.coordinate),
    )
    mounting, from_mount = with_stored_mount(mounting, choices.kept_mount)
    if choices.exercise.coordinate != "movement":
        notes.extend((*said, *from_mount))
    return mounting, lever


def _hanging(
    quaternion: FloatArray, omega: FloatArray, rate_hz: float, windows: SetWindows | None
) -> FloatArray | None:
    """Down in sensor axes while the arm hangs: between the reps, or else in the longest first rest."""
    if windows is not None:
        still = [each for group in windows.bottoms for each in _stillest(omega, rate_hz, group)]
        if still:
            # A trunk that tips as the arm sets off takes it out of the plane it is raised in: a pose counts the
            # less, the faster the sensor turns there.
            at, rate = (np.array(column) for column in zip(*still, strict=True))
            return _mean_direction(-up_in_sensor(quaternion[at]) / (rate**2 + STILL_RAD_S**2)[:, None])
    quiet = _speed(omega) < QUIET_RAD_S
    least = round(0.4 * rate_hz)
    edges = np.flatnonzero(np.diff(np.concatenate([[False], quiet, [False]]).astype(np.int8)))
    for first, stop in zip(edges[::2], edges[1::2], strict=True):
        if stop - first >= least:
            return _mean_direction(-up_in_sensor(quaternion[first:stop]))
    return None


def _stillest(omega: FloatArray, rate_hz: float, bottoms: tuple[int, ...]) -> list[tuple[int, float]]:
    """Where the sensor turns least around each bottom of a set: the sample, and how fast it turns there, rad/s."""
    edges = [0, *((one + other) // 2 for one, other in pairwise(bottoms)), len(omega) - 1]
    found = []
    for bottom, (before, after) in zip(bottoms, pairwise(edges), strict=True):
        # Half the way to a neighbouring bottom is its top, which may be held as still.
        first = max(bottom - round(HANGS_BEFORE_S * rate_hz), (bottom + before) // 2)
        last = min(bottom + round(HANGS_AFTER_S * rate_hz), (bottom + after) // 2)
        width = min(max(round(STILL_S * rate_hz), 1), last + 1 - first)
        square = np.convolve(_speed(omega[first : last + 1]) ** 2, np.full(width, 1 / width), mode="valid")
        least = int(np.argmin(square))
        found.append((first + least + width // 2, math.sqrt(square[least])))
    return found


def _speed(omega: FloatArray) -> FloatArray:
    return np.asarray(np.sqrt(np.einsum("ij,ij->i", omega, omega)))


def _mean_direction(vectors: FloatArray) -> FloatArray:
    mean = vectors.mean(axis=0)
    return np.asarray(mean / max(float(np.linalg.norm(mean)), 1e-9))
