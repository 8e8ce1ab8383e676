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
from armarc.motion import ArmMotion, remove_drift
from armarc.motion.tolerance import Tolerance, tolerance_by_noise
from armarc.recording import FloatArray, Piece, Recording, uniform_pieces
from armarc.reference import add_reference
from armarc.reps import MeasuredSet
from armarc.reps.body import SetBody, body_warnings, set_bodies
from armarc.reps.counting import Counted, count_sets, counting_rules
from armarc.reps.left_out import LeftOutMovement, left_out_movements, what_was_left_out
from armarc.reps.measure import RawRep, bound_reps, finish_set, measure_rep
from armarc.reps.movements import Movement, on_angle
from armarc.reps.runs import CountingRules
from armarc.reps.swing import body_swings
from armarc.reps.uncertainty import angle_errors
from armarc.sensor.calibration.mounts import StoredMount
from armarc.sensor.noise_seen import gyroscope_noise_density
from armarc.settings import Settings

if TYPE_CHECKING:
    import pandas as pd

CONCENTRIC_WORTH = 0.2
"""Weight of the concentric in the fit of the lever arm, where the body does not swing; less where it does."""


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
    left_out : tuple of LeftOutMovement
        What was seen and not counted, in time order.
    """

    recording: Recording
    choices: Choices
    motions: tuple[ArmMotion, ...]
    sets: tuple[MeasuredSet, ...]
    motion_of_set: tuple[int, ...]
    warnings: tuple[str, ...]
    left_out: tuple[LeftOutMovement, ...] = ()

    def to_dict(self) -> dict[str, Any]:
        """Everything as one JSON-ready object, schema ``armarc.sets/1``; degrees at this edge."""
        from armarc.records import session_record

        return session_record(
            self.recording,
            self.choices,
            self.motions,
            self.motion_of_set,
            self.sets,
            self.warnings,
            [(out.start_s, out.end_s, out.reason) for out in self.left_out],
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
    left_out: list[LeftOutMovement] = []
    pieces = uniform_pieces(recording)
    for piece in pieces:
        motion, found, dropped = _measure_piece(piece, choices, len(sets), warnings)
        left_out.extend(dropped)
        if found or (not motions and piece is max(pieces, key=lambda p: len(p.missing))):
            motions.append(motion)
            sets.extend(found)
            motion_of_set.extend([len(motions) - 1] * len(found))
    for note in dict.fromkeys(note for motion in motions for note in motion.notes):
        warnings.append(note)
    for motion in motions:
        warnings.extend(hand_axis_notes(choices, motion.mounting))
    if left_out:
        warnings.append(what_was_left_out(left_out))
    if len(pieces) > 1:
        warnings.append(f"the recording has long gaps: it was measured in {len(pieces)} separate pieces")
    return Session(
        recording=recording,
        choices=choices,
        motions=tuple(motions),
        sets=tuple(sets),
        motion_of_set=tuple(motion_of_set),
        warnings=tuple(dict.fromkeys(warnings)),
        left_out=tuple(left_out),
    )


def _measure_piece(
    piece: Piece, choices: Choices, sets_before: int, warnings: list[str]
) -> tuple[ArmMotion, list[MeasuredSet], list[LeftOutMovement]]:
    exercise = choices.exercise
    if choices.tolerance is None:
        seen = gyroscope_noise_density(piece.angular_velocity_rad_s, piece.rate_hz, piece.missing)
        choices = replace(choices, tolerance=tolerance_by_noise(seen))
    workings = Workings()
    motion = track(piece, choices, workings=workings)
    rules = counting_rules(exercise)
    counted = _counted(motion, rules)
    if not counted.sets:
        return motion, [], left_out_movements(counted.left_out, motion)
    motion = _settled(piece, choices, counted, motion, workings)
    upright = _other_end(motion, counted)
    if upright is not None:
        counted = _counted(motion, replace(rules, arm_axis=upright))
        motion = _settled(piece, choices, counted, motion, workings) if counted.sets else motion
    motion = _rising(motion, counted)
    sets = on_angle(counted.sets, motion.angle_rad, motion.rate_hz)
    if not sets:
        return motion, [], left_out_movements(counted.left_out, motion)
    windows = _windows(motion, sets)
    front_raise = _front_raise(motion, choices, sets, warnings)
    motion = add_reference(motion, choices, windows.bottoms, front_raise)
    bodies = set_bodies(motion, windows.ranges, windows.bottoms, windows.weight, workings.lever)
    warnings.extend(body_warnings(bodies, sets_before + 1))
    return (
        motion,
        _measured(motion, sets, choices, sets_before, bodies),
        left_out_movements(counted.left_out, motion),
    )


def _counted(motion: ArmMotion, rules: CountingRules) -> Counted:
    return count_sets(
        motion.quaternion,
        motion.angular_velocity_rad_s,
        motion.specific_force_m_s2,
        motion.rate_hz,
        rules,
    )


def _settled(
    piece: Piece, choices: Choices, counted: Counted, before: ArmMotion, workings: Workings
) -> ArmMotion:
    """The second pass: mounting and orientation from the sets themselves."""
    windows = _windows(before, counted.sets)
    return _without_drift(track(piece, choices, windows, before, workings), windows)


def _other_end(motion: ArmMotion, counted: Counted) -> FloatArray | None:
    """Direction of the arm when it shows that what was taken for the bottom of the reps is their top.

    The counting knows no arm and takes the end at which it rests for the bottom; a set cut by the recording, or with
    holds as long as its pauses, leaves that open. A lever arm knows.
    """
    if motion.coordinate != "elevation" or motion.mounting.method not in ("lever_arm", "twist"):
        return None
    rises = [
        motion.elevation_rad[m.top] - motion.elevation_rad[m.bottom] for group in counted.sets for m in group
    ]
    return motion.mounting.arm_axis if float(np.median(rises)) < 0 else None


def _rising(motion: ArmMotion, counted: Counted) -> ArmMotion:
    """Turn an angle without an absolute zero so that it rises with the reps."""
    if motion.coordinate == "elevation" or not counted.sets:
        return motion
    rises = [motion.angle_rad[m.top] - motion.angle_rad[m.bottom] for group in counted.sets for m in group]
    if float(np.median(rises)) >= 0:
        return motion
    return replace(motion, angle_rad=-motion.angle_rad, angle_rate_rad_s=-motion.angle_rate_rad_s)


def _windows(motion: ArmMotion, sets: tuple[tuple[Movement, ...], ...]) -> SetWindows:
    """Where the sets are, and how much each sample says about the lever arm."""
    n = len(motion.time_s)
    weight = np.zeros(n)
    ranges, bottoms = [], []
    margin = round(0.5 * motion.rate_hz)
    for movements in sets:
        first = max(movements[0].bottom - margin, 0)
        stop = min(movements[-1].bottom_after + margin, n)
        ranges.append((first, stop))
        for m in movements:
            weight[m.bottom : m.top] = CONCENTRIC_WORTH
            lowered = _lowered(motion.angle_rad, m)
            weight[m.top : lowered] = 1.0
            # A body that swings has begun to before the arm sets off again.
            weight[lowered : m.bottom_after + 1] = CONCENTRIC_WORTH
        bottoms.append(_bottoms(movements))
    return SetWindows(ranges=tuple(ranges), weight=weight, bottoms=tuple(bottoms))


def _lowered(angle_rad: FloatArray, movement: Movement) -> int:
    """First sample after the top at which the arm has come down to the last tenth of its way."""
    way = angle_rad[movement.top : movement.bottom_after + 1]
    return movement.top + int(np.argmax(way <= way[-1] + 0.1 * (way[0] - way[-1])))


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


def _front_raise(
    motion: ArmMotion, choices: Choices, sets: tuple[tuple[Movement, ...], ...], warnings: list[str]
) -> int | None:
    """Top of the reference front raise: the first large raise before the first counted rep."""
    if choices.reference != "front-raise":
        return None
    before = sets[0][0].bottom
    angle = motion.angle_rad[:before]
    if len(angle) and float(angle.max()) > math.radians(50):
        return int(angle.argmax())
    warnings.append(
        "a front raise was promised as a reference, but no raise was found before the first rep "
        "(or it looks like the reps: pause two seconds after it)"
    )
    return None


def _measured(
    motion: ArmMotion,
    found: tuple[tuple[Movement, ...], ...],
    choices: Choices,
    sets_before: int,
    bodies: tuple[SetBody, ...],
) -> list[MeasuredSet]:
    exercise = choices.exercise
    of_motion = angle_errors(motion)
    sets: list[MeasuredSet] = []
    for movements, body in zip(found, bodies, strict=True):
        errors = replace(of_motion, body=body)
        raw: list[RawRep] = bound_reps(motion, movements)
        if not raw:
            continue
        swings = body_swings(motion, [each.instants for each in raw])
        reps = [
            measure_rep(motion, each, exercise, errors, swing, number)
            for number, (each, swing) in enumerate(zip(raw, swings, strict=True), start=1)
        ]
        finished = finish_set(reps, motion)
        if body.flags:
            finished = tuple(replace(rep, quality=(*rep.quality, *body.flags)) for rep in finished)
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
