"""What the samples of a piece show before anything is measured: its sets, and the arm that moved in them."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from armarc.arm_track import SetWindows, Workings, first_angle, orientation_so_far, track
from armarc.choices import Choices
from armarc.motion import ArmMotion, Orientation, up_in_sensor
from armarc.motion.lever_arm import LeverArm, fit_lever_arm
from armarc.motion.mounting import LEAST_EXPLAINED
from armarc.motion.place import place_of
from armarc.recording import FloatArray, Piece
from armarc.reference import add_reference
from armarc.reps.counting import Counted, count_sets, counting_rules
from armarc.reps.joint import may_be_raise
from armarc.reps.kinds import kinds, raised_share
from armarc.reps.largest_run import CountingRules
from armarc.reps.movements import Movement, any_from_above, on_angle, turned_over
from armarc.reps.other_exercise import RAISED_SHARE
from armarc.sensor.noise_seen import tolerance_seen

CONCENTRIC_WORTH = 0.2
"""Weight of the concentric in the fit of the lever arm, where the body does not swing; less where it does."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Counting:
    """What the sets of a piece were counted with, which the arm is looked for with, too.

    Parameters
    ----------
    counted : Counted
    choices : Choices
        With the scale errors that the samples show.
    workings : Workings
        As large as the piece.
    """

    counted: Counted
    choices: Choices
    workings: Workings


@dataclass(frozen=True, slots=True, kw_only=True)
class MovedArm:
    """The arm's motion and the sets in it.

    Parameters
    ----------
    motion : ArmMotion
    counted : Counted
        Sets as the counting sees them.
    sets : tuple of tuple of Movement
        The same where they rise on the motion's angle.
    windows : SetWindows or None
        Of these, with the bottoms of those that may be raises; None where there is none.
    lever : LeverArm or None
        As fitted.
    raises : tuple of int
        Which of the counted sets the arm was learned from.
    """

    motion: ArmMotion
    counted: Counted
    sets: tuple[tuple[Movement, ...], ...] = ()
    windows: SetWindows | None = None
    lever: LeverArm | None = None
    raises: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class RaiseArm:
    """The arm in some sets: unit vectors in sensor axes, shape (3,), along it as its movement shows and along it as it
    hangs between the reps."""

    direction: FloatArray
    hanging: FloatArray


def count(piece: Piece, choices: Choices, warnings: list[str]) -> Counting:
    """Find the sets of a piece.

    Parameters
    ----------
    piece : Piece
    choices : Choices
    warnings : list of str
        What is to be said of the sensor is added.
    """
    tolerance, said = tolerance_seen(piece, choices.tolerance)
    warnings.extend(said)
    choices, workings = replace(choices, tolerance=tolerance), Workings()
    counted = _counted(piece, orientation_so_far(piece, choices, workings), counting_rules(choices.exercise))
    return Counting(counted=counted, choices=choices, workings=workings)


def moved_arm(piece: Piece, counting: Counting, warnings: list[str]) -> MovedArm:
    """Find the arm that moved in the sets of a piece.

    Parameters
    ----------
    piece : Piece
    counting : Counting
        Of this piece.
    warnings : list of str
        What is to be said of the reference is added.

    Raises
    ------
    UsageError
        When the way of mounting asked for finds no evidence.
    """
    counted, choices, workings = counting.counted, counting.choices, counting.workings
    if not counted.sets:
        return MovedArm(motion=track(piece, choices, None, workings), counted=counted)
    raises = _raises(piece, counting)
    motion = _moved(piece, counting, raises)
    if (
        choices.mounting == "auto"
        and motion.coordinate == "elevation"
        and motion.mounting.method == "hanging"
    ):
        # No lever arm was found: one of the sets may hide it.
        fewer = _without_strangers(piece, counting)
        if fewer:
            raises, motion = fewer, _moved(piece, counting, fewer)
    upright = _other_end(motion, counted)
    if upright is not None:
        rules = replace(counting_rules(choices.exercise), arm_axis=upright)
        counted = _counted(piece, motion.orientation, rules)
        if counted.sets:
            raises = _raises(piece, replace(counting, counted=counted))
            windows = _windows(piece, _some(counted, raises), motion.angle_rad)
            motion = track(piece, choices, windows, workings)
    sets = on_angle(counted.sets, motion.angle_rad, motion.rate_hz)
    if not sets:
        return MovedArm(motion=motion, counted=counted)
    windows = _windows(piece, sets, motion.angle_rad)
    looks = counted.templates
    arms = tuple(k for k, look in enumerate(looks) if k in raises or may_be_raise(look))
    own = {m.bottom for group in _some(counted, arms) for m in group}
    hanging = (at if sets[k][0].bottom in own else () for k, at in enumerate(windows.bottoms))
    windows = replace(windows, bottoms=tuple(hanging))
    front_raise = _front_raise(motion, choices, sets, warnings)
    return MovedArm(
        motion=add_reference(motion, choices, windows.bottoms, front_raise),
        counted=counted,
        sets=sets,
        windows=windows,
        lever=workings.lever,
        raises=raises,
    )


def _moved(piece: Piece, counting: Counting, raises: tuple[int, ...]) -> ArmMotion:
    """The motion of the arm that some sets show, before the ends of their reps are known."""
    choices, workings, sets = counting.choices, counting.workings, _some(counting.counted, raises)
    windows = _windows(piece, sets, first_angle(piece, choices, _windows(piece, sets), workings))
    return track(piece, choices, windows, workings)


def _counted(piece: Piece, orientation: Orientation, rules: CountingRules) -> Counted:
    return count_sets(
        orientation.quaternion,
        piece.angular_velocity_rad_s - orientation.gyroscope_bias_rad_s,
        piece.specific_force_m_s2,
        piece.rate_hz,
        rules,
        missing=piece.missing if piece.missing.any() else None,
    )


def _some(counted: Counted, which: tuple[int, ...]) -> tuple[tuple[Movement, ...], ...]:
    return tuple(counted.sets[k] for k in which)


def _raises(piece: Piece, counting: Counting) -> tuple[int, ...]:
    """The sets that the arm is learned from: of several exercises the one with most reps that can be the raise.

    What turns about the elbow or goes along a line shows another arm. Where none of them can be a raise, nobody knows
    better: all of them.
    """
    counted = counting.counted
    every = tuple(range(len(counted.sets)))
    if counting.choices.exercise.coordinate != "elevation":
        return every
    found = kinds(counted.sets, counted.templates)
    if len(found) < 2:
        return every
    return next((kind for kind in found if raise_arm(piece, counting, kind) is not None), every)


def _without_strangers(piece: Piece, counting: Counting) -> tuple[int, ...]:
    """Sets of one kind that turn about one shoulder once those are left out that no arm explains beside them.

    Quick handling may look like the raises, and pushes harder than all of their reps. Which end was taken for the
    bottom is no matter. Empty where no kind keeps half of its reps so.
    """
    counted = counting.counted
    for kind in kinds(counted.sets, counted.templates):
        reps, left = sum(len(counted.sets[k]) for k in kind), kind
        while 2 * sum(len(counted.sets[k]) for k in left) >= reps:
            if (
                len(left) < len(counted.sets)
                and raise_arm(piece, counting, left, either_end=True) is not None
            ):
                return left
            if len(left) == 1:
                break
            fewer = [tuple(k for k in left if k != other) for other in left]
            levers = [_lever_of(piece, counting, _some(counted, few)) for few in fewer]
            explained = [-1.0 if lever is None else lever.explained for lever in levers]
            left = fewer[explained.index(max(explained))]
    return ()


def raise_arm(
    piece: Piece, counting: Counting, which: tuple[int, ...], *, either_end: bool = False
) -> RaiseArm | None:
    """The arm of some of a piece's sets, if it can be that of the raise they are called.

    Parameters
    ----------
    piece : Piece
    counting : Counting
        Of this piece.
    which : tuple of int
        Of its sets.
    either_end : bool
        Also where the counting may have taken tops for bottoms.
    """
    choices, sets = counting.choices, _some(counting.counted, which)
    place = place_of(choices.exercise.sensor_place, choices.exercise.coordinate)
    quaternion = orientation_so_far(piece, choices, counting.workings).quaternion
    for reps in (sets, turned_over(sets)) if either_end else (sets,):
        lever = _lever_of(piece, counting, reps) if reps else None
        if lever is None:
            return None
        arm = lever.vector_m / lever.reach_m
        raised = raised_share(quaternion, arm, reps)
        if (
            raised >= RAISED_SHARE
            and lever.explained >= LEAST_EXPLAINED
            and place.least_reach_m <= lever.reach_m <= place.most_reach_m
        ):
            bottoms = [m.bottom for group in reps for m in group]
            return RaiseArm(direction=arm, hanging=_down(quaternion, bottoms))
        if raised > -RAISED_SHARE:
            return None
    return None


def hanging(piece: Piece, counting: Counting, which: int) -> FloatArray:
    """Down in sensor axes where the reps of one of a piece's sets begin, a unit vector."""
    quaternion = orientation_so_far(piece, counting.choices, counting.workings).quaternion
    return _down(quaternion, [m.bottom for m in counting.counted.sets[which]])


def _down(quaternion: FloatArray, at: list[int]) -> FloatArray:
    mean = -up_in_sensor(quaternion[at]).mean(axis=0)
    return np.asarray(mean / np.linalg.norm(mean))


def _lever_of(piece: Piece, counting: Counting, sets: tuple[tuple[Movement, ...], ...]) -> LeverArm | None:
    """Fitted to some sets to see what they are: the way up tells as much as the way down then, which may be slow."""
    orientation = orientation_so_far(piece, counting.choices, counting.workings)
    return fit_lever_arm(
        orientation.quaternion,
        piece.angular_velocity_rad_s - orientation.gyroscope_bias_rad_s,
        piece.specific_force_m_s2,
        piece.rate_hz,
        (_windows(piece, sets).weight > 0).astype(float),
        missing=piece.missing if piece.missing.any() else None,
        made=counting.workings.equations,
    )


def _other_end(motion: ArmMotion, counted: Counted) -> FloatArray | None:
    """Direction of the arm when it shows that what was taken for the bottom of a set's reps is their top.

    The counting knows no arm and takes the end at which it rests for the bottom; a set cut by the recording, or with
    holds as long as its pauses, leaves that open. A lever arm knows.
    """
    if motion.coordinate != "elevation" or motion.mounting.method not in ("lever_arm", "twist"):
        return None
    return motion.mounting.arm_axis if any_from_above(counted.sets, motion.elevation_rad) else None


def _windows(
    piece: Piece, sets: tuple[tuple[Movement, ...], ...], angle_rad: FloatArray | None = None
) -> SetWindows:
    """Where the sets are, and how much each sample says about the lever arm; without the arm's angle, roughly."""
    n = len(piece.time_s)
    weight = np.zeros(n)
    ranges, bottoms = [], []
    margin = round(0.5 * piece.rate_hz)
    for movements in sets:
        first = max(movements[0].bottom - margin, 0)
        stop = min(movements[-1].bottom_after + margin, n)
        ranges.append((first, stop))
        for m in movements:
            weight[m.bottom : m.top] = CONCENTRIC_WORTH
            lowered = m.bottom_after if angle_rad is None else _lowered(angle_rad, m)
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
