"""The one road from a raw recording to measured sets."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from armarc.arm_track import SetWindows, Workings, track
from armarc.choices import Choices, choose, hand_axis_notes
from armarc.errors import UsageError
from armarc.exercises import Exercise
from armarc.motion import ArmMotion, remove_drift, shoulder_acceleration, up_in_sensor
from armarc.motion.tolerance import Tolerance, tolerance_by_noise
from armarc.recording import FloatArray, Piece, Recording, uniform_pieces
from armarc.reference import add_reference
from armarc.reps import MeasuredSet
from armarc.reps.grouping import Grouping, group_movements
from armarc.reps.measure import RawRep, bound_reps, finish_set, measure_rep, shoulder_motion
from armarc.reps.movements import Movement
from armarc.reps.steadiness import moved_sets
from armarc.reps.swing import BANDWIDTH_HZ as SWING_BANDWIDTH_HZ
from armarc.reps.uncertainty import angle_errors
from armarc.sensor.calibration.mounts import StoredMount
from armarc.sensor.noise_seen import gyroscope_noise_density
from armarc.settings import Settings

if TYPE_CHECKING:
    import pandas as pd

CONCENTRIC_WORTH = 0.2
"""Weight of the concentric in the fit of the lever arm, where the body does not swing; less where it does."""
UNKNOWN = "unknown"
"""Key of the entry for an exercise nobody named: its range is not known either."""
HANGING_BELOW_RAD = math.radians(40)
SAME_TOP_S = 0.6
"""Passes agree on a rep when its top moved by less than this: a held top is flat."""
LEAST_ROM_RAD = math.radians(8)


@dataclass(frozen=True, slots=True, kw_only=True)
class Session:
    """A measured recording.

    Parameters
    ----------
    recording : Recording
    choices : Choices
        What it was measured with.
    motions : tuple of ArmMotion
        One per unbroken piece of the recording that holds a set (or the longest piece when none does).
    sets : tuple of MeasuredSet
    motion_of_set : tuple of int
        For each set the index of its motion.
    warnings : tuple of str
    """

    recording: Recording
    choices: Choices
    motions: tuple[ArmMotion, ...]
    sets: tuple[MeasuredSet, ...]
    motion_of_set: tuple[int, ...]
    warnings: tuple[str, ...]

    def to_dict(self) -> dict[str, Any]:
        """Everything as one JSON-ready object, schema ``armarc.sets/1``; degrees at this edge."""
        from armarc.records import session_record

        return session_record(
            self.recording, self.choices, self.motions, self.motion_of_set, self.sets, self.warnings
        )

    def frame(self) -> pd.DataFrame:
        """All reps as one table: ``set`` and the contract's rep keys as columns, one row per rep."""
        from armarc.reps.records import reps_frame

        return reps_frame(self.sets)


def process(
    recording: Recording,
    *,
    exercise: str | Exercise | None = None,
    side: str | None = None,
    band_deg_s: tuple[float, float] | None = None,
    gate_deg: tuple[float, float] | None = None,
    loaded_range_deg: tuple[float, float] | None = None,
    rest_s: float | None = None,
    load_kg: float | None = None,
    fusion: str | None = None,
    mounting: str | None = None,
    strap: str | None = None,
    hand_axis: str | None = None,
    reach_cm: float | None = None,
    sensor_height_cm: float | None = None,
    reference: str | None = None,
    kept_mount: StoredMount | None = None,
    tolerance: Tolerance | None = None,
    settings: Settings | None = None,
) -> Session:
    """Find and measure the sets and reps of a recording.

    Parameters
    ----------
    recording : Recording
    exercise : str or Exercise or None
        Catalogue name (``armarc exercises``); None takes the recording's own, then the settings', then the
        lateral raise.
    side : str or None
        ``"right"`` or ``"left"``.
    band_deg_s : pair of float or None, °/s
        Target band of the start velocity.
    gate_deg : pair of float or None, °
        Start gate above the bottom of the rep.
    loaded_range_deg : pair of float or None, °
    rest_s : float or None, s
        A pause at the bottom this long ends a set.
    load_kg : float or None, kg
    fusion : str or None
        One of ``armarc.motion.FUSION_METHODS``.
    mounting : str or None
        ``"auto"``, ``"twist"``, ``"lever_arm"``, ``"hanging"`` or ``"stated"``.
    strap, hand_axis : str or None
        Place of the strap and the sensor axis that points to the hand.
    reach_cm, sensor_height_cm : float or None, cm
        Shoulder to sensor, and the sensor's height above the bone.
    reference : str or None
        ``"front-raise"``: the recording's first movement is a front raise that shows where the lifter faces.
    kept_mount : StoredMount or None
        How this sensor sits, from ``armarc sensor mount``.
    tolerance : Tolerance or None
        Scale errors of the sensor, from its calibration; None tells them by the recording's noise.
    settings : Settings or None
        The lifter's saved choices; None means none (the command line loads them).

    Returns
    -------
    Session
        Without sets when there is nothing to measure.

    Raises
    ------
    UsageError
        For choices that make no sense.
    InputError
        For a recording that cannot be used.
    """

    def rad(pair: tuple[float, float] | None) -> tuple[float, float] | None:
        return None if pair is None else (math.radians(pair[0]), math.radians(pair[1]))

    choices = choose(
        recording.metadata,
        settings,
        exercise=exercise,
        side=side,
        band_rad_s=rad(band_deg_s),
        gate_rad=rad(gate_deg),
        loaded_range_rad=rad(loaded_range_deg),
        rest_s=rest_s,
        load_kg=load_kg,
        fusion=fusion,
        mounting=mounting,
        strap=strap,
        hand_axis=hand_axis,
        reach_m=None if reach_cm is None else reach_cm / 100,
        sensor_height_m=None if sensor_height_cm is None else sensor_height_cm / 100,
        reference=reference,
        kept_mount=kept_mount,
        tolerance=tolerance,
    )
    return measure(recording, choices)


def measure(recording: Recording, choices: Choices) -> Session:
    """Measure a recording with settled choices; see `process`."""
    if choices.reference not in (None, "front-raise"):
        raise UsageError(f"{choices.reference!r} is not a reference", "leave it out or say front-raise")
    motions: list[ArmMotion] = []
    sets: list[MeasuredSet] = []
    motion_of_set: list[int] = []
    warnings = [*recording.warnings, *choices.assumed]
    left_out = 0
    pieces = uniform_pieces(recording)
    for piece in pieces:
        motion, found, dropped = _measure_piece(piece, choices, len(sets), warnings)
        left_out += dropped
        if found or (not motions and piece is max(pieces, key=lambda p: len(p.missing))):
            motions.append(motion)
            sets.extend(found)
            motion_of_set.extend([len(motions) - 1] * len(found))
    for note in dict.fromkeys(note for motion in motions for note in motion.notes):
        warnings.append(note)
    for motion in motions:
        warnings.extend(hand_axis_notes(choices, motion.mounting))
    if left_out:
        what = "movement was" if left_out == 1 else "movements were"
        warnings.append(
            f"{left_out} {what} not counted as reps: unlike the reps beside them (handling, walking)"
        )
    if len(pieces) > 1:
        warnings.append(f"the recording has long gaps: it was measured in {len(pieces)} separate pieces")
    return Session(
        recording=recording,
        choices=choices,
        motions=tuple(motions),
        sets=tuple(sets),
        motion_of_set=tuple(motion_of_set),
        warnings=tuple(dict.fromkeys(warnings)),
    )


def _measure_piece(
    piece: Piece, choices: Choices, sets_before: int, warnings: list[str]
) -> tuple[ArmMotion, list[MeasuredSet], int]:
    exercise = choices.exercise
    if choices.tolerance is None:
        seen = gyroscope_noise_density(piece.angular_velocity_rad_s, piece.rate_hz, piece.missing)
        choices = replace(choices, tolerance=tolerance_by_noise(seen))
    workings = Workings()
    motion = track(piece, choices, workings=workings)
    grouping = _grouped(motion, exercise)
    if exercise.key == UNKNOWN and not any(len(movements) > 2 for movements in grouping.sets):
        exercise = replace(exercise, smallest_rom_rad=_smaller_rom(motion, exercise))
        grouping = _grouped(motion, exercise)
    for _ in range(2):
        if not grouping.sets:
            return motion, [], grouping.left_out
        windows = _windows(motion, grouping)
        motion = _without_drift(track(piece, choices, windows, motion, workings), windows)
        found, grouping = grouping, _grouped(motion, exercise)
        if _same_tops(found, grouping, motion.rate_hz):
            break
    if not grouping.sets:
        return motion, [], grouping.left_out
    if motion.coordinate == "movement":
        # Loaded here: its signal package takes half a second that nobody else needs.
        from armarc.reps.cycles import by_cycles

        grouping = by_cycles(
            grouping,
            motion.angle_rad,
            motion.angular_velocity_rad_s,
            motion.specific_force_m_s2,
            motion.rate_hz,
        )
    windows = _windows(motion, grouping)
    front_raise = _front_raise(motion, choices, grouping, warnings)
    motion = add_reference(motion, choices, windows.bottoms, front_raise)
    moved = _moved(motion, windows)
    if any(moved):
        warnings.append("the sensor moved on the arm: angles of the flagged sets are less certain")
    return motion, _measured(motion, grouping, choices, sets_before, moved), grouping.left_out


def _moved(motion: ArmMotion, windows: SetWindows) -> tuple[bool, ...]:
    """Whether the strap had moved, for every set; only an arm that hangs between reps can tell."""
    if motion.coordinate != "elevation":
        return tuple(False for _ in windows.bottoms)
    up = up_in_sensor(motion.quaternion)
    hanging = []
    for group in windows.bottoms:
        at = np.asarray(group)
        hanging.append(-up[at[motion.elevation_rad[at] < HANGING_BELOW_RAD]])
    return moved_sets(hanging)


def _same_tops(one: Grouping, other: Grouping, rate_hz: float) -> bool:
    """Whether a further pass would be told the same sets."""
    tops = [[m.top for movements in g.sets for m in movements] for g in (one, other)]
    sizes = [[len(movements) for movements in g.sets] for g in (one, other)]
    return sizes[0] == sizes[1] and all(
        abs(a - b) < SAME_TOP_S * rate_hz for a, b in zip(tops[0], tops[1], strict=True)
    )


def _smaller_rom(motion: ArmMotion, exercise: Exercise) -> float:
    """Smallest range of a rep for an exercise whose movement stays below the usual one, rad."""
    low, high = np.quantile(motion.angle_rad, [0.05, 0.95])
    return float(np.clip(0.4 * (high - low), LEAST_ROM_RAD, exercise.smallest_rom_rad))


def _grouped(motion: ArmMotion, exercise: Exercise) -> Grouping:
    return group_movements(
        motion.angle_rad,
        up_in_sensor(motion.quaternion),
        motion.rate_hz,
        exercise.smallest_rom_rad,
        exercise.rest_s,
    )


def _windows(motion: ArmMotion, grouping: Grouping) -> SetWindows:
    """Where the sets are, and how much each sample says about the lever arm."""
    n = len(motion.time_s)
    weight = np.zeros(n)
    ranges, bottoms = [], []
    margin = round(0.5 * motion.rate_hz)
    for movements in grouping.sets:
        first = max(movements[0].bottom - margin, 0)
        stop = min(movements[-1].bottom_after + margin, n)
        ranges.append((first, stop))
        for m in movements:
            weight[m.bottom : m.top] = CONCENTRIC_WORTH
            weight[m.top : m.bottom_after + 1] = 1.0
        bottoms.append(_bottoms(movements))
    return SetWindows(ranges=tuple(ranges), weight=weight, bottoms=tuple(bottoms))


def _bottoms(movements: tuple[Movement, ...]) -> tuple[int, ...]:
    at = [m.bottom for m in movements]
    if not movements[-1].is_open:
        at.append(movements[-1].bottom_after)
    return tuple(dict.fromkeys(at))


def _without_drift(motion: ArmMotion, windows: SetWindows) -> ArmMotion:
    """Straighten an angle that has no absolute reference, set by set."""
    if motion.coordinate == "elevation" or not windows.bottoms:
        return motion
    longest = max(windows.bottoms, key=len)
    return replace(motion, angle_rad=remove_drift(motion.angle_rad, np.asarray(longest)))


def _front_raise(motion: ArmMotion, choices: Choices, grouping: Grouping, warnings: list[str]) -> int | None:
    """Top of the reference front raise: the first large raise before the first counted rep."""
    if choices.reference != "front-raise":
        return None
    before = grouping.sets[0][0].bottom
    angle = motion.angle_rad[:before]
    if len(angle) and float(angle.max()) > math.radians(50):
        return int(angle.argmax())
    warnings.append(
        "a front raise was promised as a reference, but no raise was found before the first rep "
        "(or it looks like the reps: pause two seconds after it)"
    )
    return None


def _measured(
    motion: ArmMotion, grouping: Grouping, choices: Choices, sets_before: int, moved: tuple[bool, ...]
) -> list[MeasuredSet]:
    exercise = choices.exercise
    errors = angle_errors(motion)
    shoulder: FloatArray | None = None
    mounting = motion.mounting
    if motion.coordinate != "movement" and mounting.lever_arm_m is not None:
        shoulder = shoulder_acceleration(
            motion.quaternion,
            motion.angular_velocity_rad_s,
            motion.specific_force_m_s2,
            motion.rate_hz,
            mounting.lever_arm_m,
            bandwidth_hz=SWING_BANDWIDTH_HZ,
        )
    sets: list[MeasuredSet] = []
    for movements, has_moved in zip(grouping.sets, moved, strict=True):
        raw: list[RawRep] = bound_reps(motion, movements)
        if not raw:
            continue
        swinging = None if shoulder is None else shoulder_motion(motion, raw, shoulder)
        reps = [
            measure_rep(motion, each, exercise, errors, swinging, number)
            for number, each in enumerate(raw, start=1)
        ]
        finished = finish_set(reps, motion)
        if has_moved:
            finished = tuple(replace(rep, quality=(*rep.quality, "unsteady_sensor")) for rep in finished)
        sets.append(
            MeasuredSet(
                set=sets_before + len(sets) + 1,
                start_s=finished[0].phases.start_s,
                end_s=finished[-1].phases.end_s,
                reps=finished,
                exercise=exercise.key,
                side=choices.side,
                band=exercise.band,
                load_kg=choices.load_kg,
            )
        )
    return sets
