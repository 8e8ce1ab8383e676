"""The one road from a raw recording to measured sets."""

from __future__ import annotations

from dataclasses import dataclass, replace
from operator import index as whole
from typing import TYPE_CHECKING, Any

from armarc import __version__
from armarc.choices import Choices, hand_axis_notes
from armarc.errors import InputError, UsageError
from armarc.motion import ArmMotion
from armarc.motion.place import is_upper_arms
from armarc.moved_arm import count, moved_arm
from armarc.recording import ArrayValue, Piece, Recording, uniform_pieces, without_frozen
from armarc.recording.captures import CHEST, PLACE
from armarc.reps import MeasuredSet
from armarc.reps.body import SetBody, body_warnings, set_bodies
from armarc.reps.left_out import LeftOutMovement, count_notes, gap_notes, left_out_movements
from armarc.reps.measure import RawRep, bound_reps, finish_set, measure_rep
from armarc.reps.movements import Movement
from armarc.reps.not_counted import unplaced
from armarc.reps.other_exercise import doubt_exercise, doubt_joints, doubt_kinds, flagged
from armarc.reps.planes import doubt_planes
from armarc.reps.swing import Swing, body_swings
from armarc.reps.uncertainty import angle_errors
from armarc.reps.unseen import unexplained_rad
from armarc.session_load import measured_loads
from armarc.strapped_anew import anew_words, cut, strapped_anew
from armarc.worn import forearms_of

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.figure import Figure

    from armarc.load import SetLoad
    from armarc.results import LaidTrunk, Result

LONGEST_GAP_S = 10.0
"""A longer gap splits a recording: a pause this long would end the set. Over a shorter one the arm and the strap stay
what they were, and gravity shows the orientation on both sides."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class Session(ArrayValue):
    """A measured recording.

    Parameters
    ----------
    recording : Recording
    choices : Choices
        What it was measured with.
    motions : tuple of ArmMotion
        One per unbroken piece of the recording that holds a set (or the longest piece when none does), and where the
        strap was put on anew in a piece one per part of it.
    sets : tuple of MeasuredSet
    motion_of_set : tuple of int
        For each set the index of its motion.
    loads : tuple of SetLoad
        What the shoulder had to do, one per set; none where the load is not known.
    warnings : tuple of str
    left_out : tuple of LeftOutMovement
        What was seen and not counted, in time order.
    trunk : LaidTrunk or None
        How a chest sensor's recording was laid over the wrist's, where there was one.

    Examples
    --------
    >>> import armarc
    >>> recording = armarc.read_csv("recordings/strict-raise.csv", kept=armarc.NOTHING_KEPT)
    >>> session = armarc.process(recording, load_kg=6, kept=armarc.NOTHING_KEPT)
    >>> [len(one.reps) for one in session.sets], session.summary_frame()["reps"].tolist()
    ([8], [8])
    >>> session.samples_frame().columns[:2].tolist(), len(session.loads)
    (['time_s', 'set'], 1)
    >>> session.plot(1).savefig("set.png")
    """

    recording: Recording
    choices: Choices
    motions: tuple[ArmMotion, ...]
    sets: tuple[MeasuredSet, ...]
    motion_of_set: tuple[int, ...]
    warnings: tuple[str, ...]
    left_out: tuple[LeftOutMovement, ...] = ()
    loads: tuple[SetLoad, ...] = ()
    trunk: LaidTrunk | None = None

    def result(self) -> Result:
        """What is published of it, typed; kept without the recording and its motions."""
        from armarc import results

        counted = [k for one, k in zip(self.sets, self.motion_of_set, strict=True) for _ in one.reps]
        most = max(range(len(self.motions)), key=counted.count, default=None)
        main = None if most is None else self.motions[most]
        loads = self.loads or [None] * len(self.sets)
        return results.Result(
            version=__version__,
            source=results.ReadSource.of(self.recording),
            settings=results.UsedSettings.of(self.choices, main, self.trunk),
            mounting=None if main is None else results.FoundMounting.of(main),
            sets=tuple(map(results.SetResult.of, self.sets, loads)),
            left_out=self.left_out,
            warnings=self.warnings,
        )

    def to_dict(self) -> dict[str, Any]:
        """Everything as one JSON-ready object, schema ``armarc.sets/1``: what ``armarc process --json`` prints."""
        return self.result().to_dict()

    def frame(self) -> pd.DataFrame:
        """All reps as one table, one row per rep; see `armarc.frames.reps_frame`."""
        from armarc.frames import reps_frame

        return reps_frame(self.result())

    def summary_frame(self) -> pd.DataFrame:
        """All sets as one table, one row per set; see `armarc.frames.summary_frame`."""
        from armarc.frames import summary_frame

        return summary_frame(self.result())

    def samples_frame(self) -> pd.DataFrame:
        """Angle, rate, orientation and phase sample by sample; see `armarc.frames.samples_frame`."""
        from armarc.frames import samples_frame

        return samples_frame(self.motions, self.motion_of_set, self.sets)

    def plot(self, number: int | None = None, *, dark: bool = False) -> Figure:
        """Picture of one set or of the whole recording; ``figure.savefig("set.png")`` writes it.

        Parameters
        ----------
        number : int or None
            Of a set, from 1; None takes the only set, or shows all of them.
        dark : bool
            Light on dark.

        Raises
        ------
        UsageError
            There is no such set, or nothing was recorded that could be drawn.
        """
        from armarc.report.session_figure import draw_session
        from armarc.report.set_figure import draw_set

        if not self.motions:
            raise UsageError("there is nothing to draw", "the recording holds no movement")
        if number is None and len(self.sets) != 1:
            return draw_session(self.motions, self.sets, exercise=self.choices.exercise, dark=dark)
        try:
            index = 0 if number is None else whole(number) - 1
        except TypeError:
            raise UsageError(f"a set is drawn by its number, got {number!r}", "the first one is 1") from None
        if not 0 <= index < len(self.sets):
            raise UsageError(f"there is no set {number} to draw", f"the recording has {len(self.sets)}")
        motion = self.motions[self.motion_of_set[index]]
        return draw_set(motion, self.sets[index], exercise=self.choices.exercise, dark=dark)


def measure(recording: Recording, choices: Choices, *, load: bool = True, first_set: int = 1) -> Session:
    """Find and measure the sets and reps of a recording.

    Parameters
    ----------
    recording : Recording
    choices : Choices
        What it is measured with, settled.
    load : bool
        Work out the shoulder's moment too, where the load is known.
    first_set : int
        Number of the first set: part of a session counts on.

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
    if choices.reference not in (None, "front-raise"):
        raise UsageError(f"{choices.reference!r} is not a reference", "leave it out or say front-raise")
    if recording.metadata.other.get(PLACE) == CHEST:
        raise InputError(
            "this is the recording of a chest sensor: an arm cannot be measured from it",
            "measure the wrist's recording, with this one as its trunk (armarc process WRIST.csv --trunk CHEST.csv)",
            file=recording.source.file,
        )
    motions: list[ArmMotion] = []
    sets: list[MeasuredSet] = []
    swings: list[tuple[Swing, ...]] = []
    motion_of_set: list[int] = []
    seen, repeated = without_frozen(recording)
    warnings = [*recording.warnings, *repeated, *choices.assumed]
    left_out: list[LeftOutMovement] = []
    pieces = uniform_pieces(seen, longest_gap_s=LONGEST_GAP_S)
    for piece in pieces:
        is_longest = piece is max(pieces, key=lambda p: len(p.missing))
        for motion, found, moved, dropped in _measure_piece(
            piece, choices, first_set - 1 + len(sets), warnings
        ):
            left_out.extend(dropped)
            if found or (not motions and is_longest):
                motions.append(motion)
                sets.extend(found)
                swings.extend(moved)
                motion_of_set.extend([len(motions) - 1] * len(found))
    in_motion = [motions[k] for k in motion_of_set]
    warnings.extend(note for motion in motions for note in motion.notes)
    sets, doubts = doubt_planes(sets, choices.exercise)
    warnings.extend(doubts)
    warnings.extend(note for motion in motions for note in hand_axis_notes(choices, motion.mounting))
    warnings.extend(count_notes(sets, left_out))
    warnings.extend(gap_notes(sets, in_motion))
    if len(pieces) > 1:
        warnings.append(f"the recording has long gaps: it was measured in {len(pieces)} separate pieces")
    loads, said = measured_loads(choices, list(zip(in_motion, sets, strict=True)) if load else [], swings)
    warnings.extend(said)
    return Session(
        recording=recording,
        choices=choices,
        motions=tuple(motions),
        sets=tuple(sets),
        loads=loads,
        motion_of_set=tuple(motion_of_set),
        warnings=tuple(dict.fromkeys(warnings)),
        left_out=tuple(left_out),
    )


_Part = tuple[ArmMotion, list[MeasuredSet], list[tuple[Swing, ...]], list[LeftOutMovement]]
"""Motion, sets, how the shoulder moved in their reps, what was not counted."""


def _measure_piece(piece: Piece, choices: Choices, sets_before: int, warnings: list[str]) -> list[_Part]:
    """What a piece holds, part by part where the strap was put on anew in a rest."""
    exercise = choices.exercise
    seen: list[str] = []
    counting = count(piece, choices, seen)
    if cuts := strapped_anew(piece, counting):
        del counting
        return _measure_apart(cut(piece, cuts), choices, sets_before, warnings)
    warnings.extend(seen)
    moved = moved_arm(piece, counting, warnings)
    del counting  # as large again
    motion, counted, windows = moved.motion, moved.counted, moved.windows
    if windows is None:
        return [
            (motion, [], [], left_out_movements([*counted.left_out, *unplaced(counted.sets, ())], motion))
        ]
    lever = moved.lever
    bodies, motion = set_bodies(
        motion,
        windows.ranges,
        windows.bottoms,
        windows.weight,
        lever,
        choices.reach_m,
        beyond_elbow=exercise.sensor_place == "wrist" or not is_upper_arms(motion.mounting.reach_m),
        forearms=forearms_of(choices, motion, lever),
    )
    warnings.extend(body_warnings(bodies, sets_before + 1))
    measured, swings, placed = _measured(motion, moved.sets, choices, sets_before, bodies)
    doubts = [*doubt_joints(measured, counted, motion, exercise), *doubt_exercise(measured, motion, exercise)]
    said = {number for doubt in doubts for number in doubt.sets if doubt.is_sure}
    doubts += doubt_kinds(
        [one for one in measured if one.set not in said], counted, moved.raises, motion, exercise
    )
    warnings.extend(doubt.words for doubt in doubts)
    measured = flagged(measured, doubts)
    nowhere = unplaced(counted.sets, placed)
    left_out = sorted([*counted.left_out, *nowhere], key=lambda out: out.first)
    return [(motion, measured, swings, left_out_movements(left_out, motion))]


def _measure_apart(
    pieces: list[Piece], choices: Choices, sets_before: int, warnings: list[str]
) -> list[_Part]:
    """The parts of a piece in which the strap was worn in one way each, one after the other."""
    parts: list[_Part] = []
    begins = []
    for piece in pieces:
        before = sets_before + sum(len(found) for _, found, *_ in parts)
        of_piece = _measure_piece(piece, choices, before, warnings)
        if any(found for _, found, *_ in of_piece):
            begins.append(before + 1)
        parts += of_piece
    warnings.extend(anew_words(begins[1:]))
    return parts


def _measured(
    motion: ArmMotion,
    found: tuple[tuple[Movement, ...], ...],
    choices: Choices,
    sets_before: int,
    bodies: tuple[SetBody, ...],
) -> tuple[list[MeasuredSet], list[tuple[Swing, ...]], list[Movement]]:
    """The sets, how the shoulder moved in their reps, and the movements that these are."""
    exercise = choices.exercise
    of_motion = angle_errors(motion)
    sets: list[MeasuredSet] = []
    swings: list[tuple[Swing, ...]] = []
    placed: list[Movement] = []
    for movements, body in zip(found, bodies, strict=True):
        errors = of_motion.of_set(body)
        raw: list[RawRep] = bound_reps(motion, movements)
        if not raw:
            continue
        placed += [each.movement for each in raw]
        hidden_m = unexplained_rad(body.signs.unexplained_share) * (motion.mounting.reach_m or 0.0)
        moved = body_swings(motion, [each.instants for each in raw], hidden_m)
        swings.append(moved)
        reps = [
            measure_rep(motion, each, exercise, errors, swing, number)
            for number, (each, swing) in enumerate(zip(raw, moved, strict=True), start=1)
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
    return sets, swings, placed
