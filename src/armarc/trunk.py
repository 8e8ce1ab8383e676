"""A second sensor on the chest: its clock, and what it adds to the measures of the wrist.

With one sensor the body's share is told from what the wrist cannot explain. A sensor on the chest knows it: how the
trunk leans, how it carries the shoulder, and what the arm does against it. What the trunk does to the shoulder is
taken from the wrist's readings before anything is fitted, so that a tipping trunk no longer bends the lever arm.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from armarc.choices import Choices
from armarc.errors import UsageError
from armarc.measures import without_unseen
from armarc.motion import ArmMotion, fuse, integrate_cycle, path_diameter, sensor_axis
from armarc.motion.quaternions import conjugate, rotate
from armarc.motion.trunk import SHOULDER_FROM_HIPS_M, TrunkMotion, trunk_motion
from armarc.pipeline import Session, measure
from armarc.recording import STANDARD_GRAVITY_M_S2, FloatArray, Recording, uniform_pieces
from armarc.recording.captures import CLOCK_OF, FORWARD
from armarc.reps import MeasuredSet, Rep
from armarc.reps.summary import is_clean
from armarc.reps.swing import Swing, SwingCourse
from armarc.results import LaidTrunk
from armarc.session_load import measured_loads

Clock = Literal["auto", "same", "jolt"]
CLOCKS: tuple[Clock, ...] = ("auto", "same", "jolt")
LEAST_COVER = 0.8
"""Share of the wrist's recording that the chest's has to cover."""
JOLT_RATE_HZ = 100.0
LEAST_JOLT_M_S2 = 6.0
"""A jolt is a blow to both sensors at once: more than a raise and less than a fall (working limit)."""
RIVAL_SHARE = 0.8
"""A second place that fits nearly as well leaves the clocks untold."""
STANDING_S = 0.5
REST_WITHIN_S = 0.8
SHORT_OF_S = 0.2
"""What a recording may lack at its ends: the last packets of another sensor."""
QUIET_ACCELERATION_M_S2, QUIET_RATE_RAD_S = 0.3, math.radians(10)
"""Equally loud, for the choice of the quietest instant."""
LEVEL_SHARE = 0.3
"""Only where the arm is raised by more than this share (of a level arm) does its heading say much."""
PATH_SE_M, PLACE_SE_M, PATH_SE_SHARE = 0.004, 0.05, 0.05
"""Standard error of a path: noise of two integrations, the place of the shoulder from the chest (times the turning
between), and a share for skin (working values)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Trunk:
    """A second sensor, on the chest.

    Parameters
    ----------
    recording : Recording
    clock : {"auto", "same", "jolt"} or float, s
        ``"same"``: its file counts time on the wrist's clock; ``"jolt"``: a blow that both sensors felt says how they
        lie; ``"auto"``: one clock where the times overlap, else a jolt; a number is added to its times.
    forward : str
        Its axis that faces away from the breastbone.
    """

    recording: Recording
    clock: Clock | float = "auto"
    forward: str = "+z"

    @classmethod
    def of(cls, recording: Recording, clock: Clock | float = "auto", forward: str | None = None) -> Trunk:
        """A chest's recording; its forward axis as stated, as its file's head says, else +z."""
        said = forward or recording.metadata.other.get(FORWARD) or "+z"
        return cls(recording=recording, clock=clock, forward=str(said))


def measure_with_trunk(wrist: Recording, trunk: Trunk, choices: Choices, *, first_set: int = 1) -> Session:
    """Measure a wrist recording with a second sensor on the chest; its first set has the number `first_set`.

    Raises
    ------
    UsageError
        When the two cannot be laid over each other, or the axis is none or points up.
    InputError
        For a recording that cannot be used.
    """
    if trunk.recording.source.sha256 and trunk.recording.source.sha256 == wrist.source.sha256:
        raise UsageError(
            "the chest's recording is the wrist's own", "give the file of the sensor on the chest"
        )
    shift_s, how = clock_shift(wrist, trunk.recording, trunk.clock)
    laid = LaidTrunk(shift_s=shift_s, forward=trunk.forward, sha256=trunk.recording.source.sha256)
    placed = _Placed(
        recording=trunk.recording,
        shift_s=shift_s,
        forward=sensor_axis(trunk.forward),
        side=choices.side,
    )
    plain = measure(wrist, choices, load=False, first_set=first_set)
    notes = [f"chest sensor: {how}; its {trunk.forward} axis was taken to face forward"]
    if not plain.sets or choices.exercise.coordinate != "elevation":
        notes.append("chest sensor: nothing was measured with it: no raise about the shoulder was found")
        return _noted(replace(measure(wrist, choices, first_set=first_set), trunk=laid), notes)
    session = measure(_freed(wrist, plain, placed), choices, load=False, first_set=first_set)
    if [len(each.reps) for each in session.sets] != [len(each.reps) for each in plain.sets]:
        notes.append("chest sensor: the arm was fitted without it, as other reps were found with it")
        session = plain
    trunks = [placed.during(motion, session) for motion in session.motions]
    if None in trunks:
        notes.append("chest sensor: its recording does not cover all of the wrist's")
    sets: list[MeasuredSet] = []
    swings: list[tuple[Swing, ...]] = []
    for measured, index in zip(session.sets, session.motion_of_set, strict=True):
        one, moved = _measured_set(session.motions[index], trunks[index], measured, choices)
        sets.append(one)
        swings.append(moved)
    loads, said = measured_loads(
        choices,
        [(session.motions[k], one) for k, one in zip(session.motion_of_set, sets, strict=True)],
        swings,
    )
    session = replace(session, recording=wrist, sets=tuple(sets), loads=loads, trunk=laid)
    return _noted(session, [*said, *notes])


NO_TRUNK = Swing(reason="the chest sensor says nothing here")


def _noted(session: Session, notes: Sequence[str]) -> Session:
    return replace(session, warnings=(*session.warnings, *notes))


def clock_shift(wrist: Recording, chest: Recording, clock: Clock | float = "auto") -> tuple[float, str]:
    """Seconds to add to the chest's times to have the wrist's, and how they were found.

    Raises
    ------
    UsageError
        When nothing says so.
    """
    if not isinstance(clock, str):
        return clock, "clocks laid over each other as stated"
    starts = wrist.source.clock_start_s, chest.source.clock_start_s
    theirs = {one.metadata.other.get(CLOCK_OF) for one in (wrist, chest)}
    if clock == "same" or (clock == "auto" and len(theirs) == 1):
        shift = (starts[1] or 0.0) - (starts[0] or 0.0)
        first, last = max(0.0, shift), min(wrist.duration_s, chest.duration_s + shift)
        if last - first >= LEAST_COVER * wrist.duration_s:
            return shift, "both files were taken to be on one clock"
        if clock == "same":
            raise UsageError(
                "on one clock the chest's recording hardly overlaps the wrist's",
                "say --trunk-clock jolt if both felt a jolt, or cut the files to the same stretch",
            )
    return _shift_by_jolt(wrist, chest), "clocks laid over each other by a shared jolt"


def _shift_by_jolt(wrist: Recording, chest: Recording) -> float:
    from scipy.signal import correlate

    signals = []
    for each in (wrist, chest):
        time = np.arange(0.0, float(each.time_s[-1]), 1 / JOLT_RATE_HZ)
        size = np.abs(np.linalg.norm(each.specific_force_m_s2, axis=1) - STANDARD_GRAVITY_M_S2)
        loud = np.interp(time, each.time_s, size)
        # Only what is loud counts, and the louder the more: reps are alike, a blow is not.
        signals.append(np.maximum(loud - LEAST_JOLT_M_S2 / 2, 0.0))
    if min(signal.max(initial=0.0) for signal in signals) < LEAST_JOLT_M_S2 / 2:
        raise UsageError(
            "no jolt is to be found in both recordings",
            "knock both sensors together, or clap them, before the set; or record on one clock",
        )
    match = correlate(signals[0], signals[1], mode="full")
    at = int(np.argmax(match))
    apart = np.abs(np.arange(len(match)) - at) > 0.5 * JOLT_RATE_HZ
    if match[apart].max(initial=0.0) > RIVAL_SHARE * match[at]:
        raise UsageError(
            "the jolts of the two recordings fit in more than one place",
            "jolt both sensors once, hard, before the set; or record on one clock",
        )
    return (at - (len(signals[1]) - 1)) / JOLT_RATE_HZ


@dataclass(frozen=True, slots=True, kw_only=True)
class _Placed:
    """The chest's recording, laid over the wrist's clock."""

    recording: Recording
    shift_s: float
    forward: FloatArray
    side: str

    def during(self, motion: ArmMotion, session: Session) -> TrunkMotion | None:
        """The trunk at the instants of a motion; None where the chest's recording does not cover its reps."""
        first, last = float(motion.time_s[0]), float(motion.time_s[-1])
        inside = [one for one in session.sets if first <= one.start_s <= last]
        if inside:
            first, last = min(one.start_s for one in inside), max(one.end_s for one in inside)
        for piece in uniform_pieces(self.recording):
            time = piece.time_s + self.shift_s
            if time[0] > first + SHORT_OF_S or time[-1] < last - SHORT_OF_S:
                continue
            found = fuse(
                piece.angular_velocity_rad_s, piece.specific_force_m_s2, piece.rate_hz, missing=piece.missing
            )
            quaternion = _interpolated(time, found.quaternion, motion.time_s)
            omega = _interpolated(
                time, piece.angular_velocity_rad_s - found.gyroscope_bias_rad_s, motion.time_s
            )
            try:
                return trunk_motion(
                    quaternion / np.linalg.norm(quaternion, axis=1)[:, None],
                    omega,
                    _interpolated(time, piece.specific_force_m_s2, motion.time_s),
                    motion.rate_hz,
                    standing=_standing(motion, omega, session),
                    forward=self.forward,
                )
            except ValueError:
                raise UsageError(
                    "the chest sensor's forward axis points up or down and so tells no direction",
                    "name the axis that faces away from the breastbone, such as --trunk-forward +x",
                ) from None
        return None


def _interpolated(time_s: FloatArray, values: FloatArray, at_s: FloatArray) -> FloatArray:
    return np.stack([np.interp(at_s, time_s, column) for column in values.T], axis=1)


def _standing(motion: ArmMotion, omega: FloatArray, session: Session) -> slice:
    """Quietest half second before the first rep: of the trunk and of the arm."""
    width = max(round(STANDING_S * motion.rate_hz), 2)
    start_s = min(measured.start_s for measured in session.sets)
    before = int(np.searchsorted(motion.time_s, start_s))
    if before <= width:
        return slice(0, width)
    loud = np.linalg.norm(omega[:before], axis=1) + np.abs(motion.angle_rate_rad_s[:before])
    total = np.concatenate([[0.0], np.cumsum(loud)])
    first = int(np.argmin(total[width:] - total[:-width]))
    return slice(first, first + width)


def _turn_rad(motion: ArmMotion, trunk: TrunkMotion, reps: Sequence[Rep], choices: Choices) -> FloatArray:
    """Azimuth to add to the chest's global frame to have the wrist's, at every sample, from where the arm goes.

    Two sensors without a compass share no heading: the arm goes out in the plane of the exercise, and the trunk
    faces forward.
    """
    along = motion.arm_direction
    turns, when = [], []
    for rep in reps:
        up = slice(rep.first_sample, rep.top_sample + 1)
        level = 1 - along[up, 2] ** 2
        level = np.where(level > LEVEL_SHARE, level, 0.0)
        if not level.any():
            continue
        plane = rep.plane_rad if rep.plane_rad is not None else choices.exercise.plane_rad or 0.0
        ahead = plane - math.pi / 2 if choices.side == "right" else math.pi / 2 - plane
        east, north = float(level @ along[up, 0]), float(level @ along[up, 1])
        faces = trunk.heading_rad[up]
        front = math.atan2(float(level @ np.sin(faces)), float(level @ np.cos(faces)))
        turns.append(math.atan2(north, east) - ahead - front)
        when.append(0.5 * (up.start + up.stop))
    if not turns:
        return np.zeros(len(along))
    return np.interp(np.arange(len(along)), when, np.unwrap(turns))


def _turned(vectors: FloatArray, azimuth_rad: FloatArray) -> FloatArray:
    c, s = np.cos(azimuth_rad), np.sin(azimuth_rad)
    x, y, z = vectors.T
    return np.stack([c * x - s * y, s * x + c * y, z], axis=1)


def _freed(wrist: Recording, plain: Session, placed: _Placed) -> Recording:
    """The wrist's recording as it would have been with the trunk standing still."""
    force = np.array(wrist.specific_force_m_s2)
    for index, motion in enumerate(plain.motions):
        trunk = placed.during(motion, plain)
        if trunk is None:
            continue
        reps = [
            rep
            for k, measured in enumerate(plain.sets)
            if plain.motion_of_set[k] == index
            for rep in measured.reps
        ]
        turn = _turn_rad(motion, trunk, reps, plain.choices)
        moved = _turned(trunk.shoulder_acceleration(plain.choices.side), turn)
        felt = rotate(conjugate(motion.quaternion), moved)
        inside = (wrist.time_s >= motion.time_s[0]) & (wrist.time_s <= motion.time_s[-1])
        force[inside] -= _interpolated(motion.time_s, felt, wrist.time_s[inside])
    return replace(wrist, specific_force_m_s2=force)


def _measured_set(
    motion: ArmMotion, trunk: TrunkMotion | None, measured: MeasuredSet, choices: Choices
) -> tuple[MeasuredSet, tuple[Swing, ...]]:
    if trunk is None:
        return measured, (NO_TRUNK,) * len(measured.reps)
    lean, ahead, aside = trunk.tilts(choices.side)
    turn = _turn_rad(motion, trunk, measured.reps, choices)
    spine, along = _turned(trunk.spine, turn), motion.arm_direction
    against = np.arccos(np.clip(-np.sum(spine * along, axis=1), -1.0, 1.0))
    moved = _turned(trunk.shoulder_acceleration(choices.side), turn)
    lever = _turned(trunk.carried(SHOULDER_FROM_HIPS_M, choices.side), turn)
    hz, origin = motion.rate_hz, float(motion.time_s[0])
    reps: list[Rep] = []
    swings: list[Swing] = []
    for number, rep in enumerate(measured.reps):
        start, top = (round((t - origin) * hz) for t in (rep.phases.start_s, rep.phases.top_start_s))
        up = slice(start, max(top, start + 1) + 1)
        swing, tipping, shifting = _swing(motion, trunk, moved, lever, measured.reps, number, up)
        quality = tuple(flag for flag in rep.quality if flag not in ("swung", "trunk_moved"))
        if swing.travel_m is not None and swing.travel_m - (swing.se_m or 0.0) > choices.exercise.swung_m:
            quality += ("swung",)
        trunk_seen = replace(
            rep,
            trunk_lean_rad=float(lean[start]),
            trunk_travel_rad=float(np.ptp(lean[up])),
            trunk_forward_rad=_farthest(ahead[up]),
            trunk_sideways_rad=_farthest(aside[up]),
            elevation_to_trunk_rad=float(against[rep.top_sample]),
            body_swing_m=swing.travel_m,
            body_swing_se_m=swing.se_m,
            body_swing_reason=swing.reason,
            swing_tipping_m=tipping,
            swing_shifting_m=shifting,
            quality=quality,
            clean=is_clean(quality),
        )
        reps.append(without_unseen(trunk_seen, rep.unseen))
        swings.append(swing)
    return replace(measured, reps=tuple(reps)), tuple(swings)


def _farthest(tilt_rad: FloatArray) -> float:
    """Farthest from where it starts, with its sign."""
    away = tilt_rad - tilt_rad[0]
    return float(away[int(np.argmax(np.abs(away)))])


def _swing(
    motion: ArmMotion,
    trunk: TrunkMotion,
    moved: FloatArray,
    lever: FloatArray,
    reps: Sequence[Rep],
    number: int,
    up: slice,
) -> tuple[Swing, float | None, float | None]:
    """Travel of the shoulder as the trunk moved it in a concentric, and its parts by tipping and shifting."""
    hz, origin, n = motion.rate_hz, float(motion.time_s[0]), len(motion.time_s)
    rep = reps[number]
    earliest, latest = rep.phases.start_s - REST_WITHIN_S, rep.phases.end_s + REST_WITHIN_S
    if number:
        earliest = max(earliest, reps[number - 1].phases.end_s)
    if number + 1 < len(reps):
        latest = min(latest, reps[number + 1].phases.start_s)
    loud = np.linalg.norm(moved, axis=1) / QUIET_ACCELERATION_M_S2
    loud = loud + np.linalg.norm(trunk.angular_velocity_rad_s, axis=1) / QUIET_RATE_RAD_S
    loud = loud + np.abs(motion.angle_rate_rad_s) / QUIET_RATE_RAD_S

    def quietest(from_s: float, to_s: float) -> int:
        first = min(max(math.floor((from_s - origin) * hz), 0), n - 1)
        stop = min(max(math.ceil((to_s - origin) * hz), first), n - 1) + 1
        return first + int(np.argmin(loud[first:stop]))

    first, last = quietest(earliest, rep.phases.start_s), quietest(rep.phases.end_s, latest)
    if last - first < 3 or motion.missing[first : last + 1].any():
        return NO_TRUNK, None, None
    path = integrate_cycle(moved[first : last + 1], hz)
    tip = lever[first : last + 1] - lever[first]
    inside = slice(max(up.start - first, 0), up.stop - first)
    travel, tipping = path_diameter(path[inside]), path_diameter(tip[inside])
    se = math.sqrt(
        PATH_SE_M**2
        + (PATH_SE_SHARE * travel) ** 2
        + (PLACE_SE_M * tipping / float(np.linalg.norm(SHOULDER_FROM_HIPS_M))) ** 2
    )
    course = SwingCourse(first=first, path_m=path, swing_m=path)
    shifting = path_diameter((path - tip)[inside])
    return Swing(travel_m=travel, se_m=se, course=course), tipping, shifting
