"""What the offline counter sees in the stretch at hand: so far, in the newest movement, and at the end of a set.

All of it works on a copy of what is known at one sample, so that it can be done beside the loop.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from operator import mul

import numpy as np

from armarc.choices import Choices
from armarc.live.angle import ArmAngle, TurnFromRest
from armarc.live.judge import measure_movement, rate_of
from armarc.live.mount import turn_of
from armarc.live.rows import ANGLE, ANGLE_RATE, FORCE, MISSING, QUATERNION, RATE, TIME
from armarc.live.stretch import Stretch, moved
from armarc.motion import Mounting, fuse
from armarc.motion.causal import CausalOrientation
from armarc.motion.tolerance import UNKNOWN_TOLERANCE
from armarc.recording import BoolArray, FloatArray
from armarc.reps.body import SetBody
from armarc.reps.candidates import find_candidates
from armarc.reps.counting import Counted, count_sets, counting_rules, run_in_progress
from armarc.reps.largest_run import GAIN, CountingRules, gains
from armarc.reps.likeness import Template, patterns_of
from armarc.reps.movements import Movement, any_from_above, full_rate, on_angle
from armarc.reps.path import angle_about, sensor_path
from armarc.reps.runs import wobble_rad
from armarc.reps.types import Rep

LEFT_BEFORE_S = 1.0
"""How long before the angle told it the arm may have left its bottom."""
SAME_AXIS, SAME_REST_RAD = math.cos(math.radians(20)), math.radians(15)
"""A turn counted about nearly the same axis and from nearly the same rest stays as it is."""

PLAINLY = 0.5 * GAIN
"""What adds half of what a movement just like its set does is one more of it (working limit; a look at all of the set
has the last word)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class View:
    """What a look back looks at: rows of the stretch, and what is known of it at the newest of them.

    ``table``, shape (n, 14), holds the rows from ``first`` on, ``fusion`` the filter's state after them; ``is_start``
    tells that the stretch begins there; ``tops`` are the rows of the tops counted so far, and tops within
    ``same_rows`` of each other are one.
    """

    table: FloatArray
    first: int
    is_start: bool
    choices: Choices
    known_axis: FloatArray | None
    angle: ArmAngle | None
    mounting: Mounting | None
    fusion: CausalOrientation
    body: SetBody
    known: tuple[Template, ...]
    tops: tuple[int, ...]
    same_rows: int

    def time_s(self, row: int) -> float:
        """When a row was taken; the newest for one that is still to come."""
        return float(self.table[min(row - self.first, len(self.table) - 1), TIME])

    @property
    def stop(self) -> int:
        """Row after the newest one."""
        return self.first + len(self.table)

    @property
    def rules(self) -> CountingRules:
        """What the exercise and the arm's direction say beforehand."""
        return replace(counting_rules(self.choices.exercise, self.known_axis), starts=self.is_start)

    @property
    def missing(self) -> BoolArray | None:
        """Samples that were filled in, shape (n,); None where there are none."""
        missing = self.table[:, MISSING] > 0
        return missing if missing.any() else None

    @property
    def causal(self) -> tuple[FloatArray, FloatArray]:
        """Orientation, shape (n, 4), and angular velocity without its bias, shape (n, 3), as the stream gave them."""
        quaternion = np.ascontiguousarray(self.table[:, QUATERNION : QUATERNION + 4])
        return quaternion, self.table[:, RATE : RATE + 3] - np.array(self.fusion.bias_rad_s)


def view_of(
    stretch: Stretch, stop: int, known: tuple[Template, ...], tops: Sequence[int], same_rows: int
) -> View:
    """What matters to the set at hand, up to a row.

    Parameters
    ----------
    stretch : Stretch
    stop : int
        Row after the newest one.
    known : tuple of Template
        Sets that have ended.
    tops : sequence of int
        Rows of the tops counted so far.
    same_rows : int
        Tops so close are one.
    """
    first = stretch.window_first
    return View(
        table=stretch.rows.table(first, stop),
        first=first,
        is_start=first == stretch.began_row,
        choices=stretch.choices,
        known_axis=stretch.known_axis,
        angle=stretch.angle,
        mounting=stretch.mounting,
        fusion=stretch.fusion,
        body=stretch.body,
        known=known,
        tops=tuple(tops),
        same_rows=same_rows,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Seen:
    """What a look has shown.

    ``movements`` are those that count, in absolute rows; ``groups`` the same set by set, with the looks in
    ``templates``; ``measured`` holds, by place, those that had not been counted: indices into the view's rows on the
    angle that is measured, and the measures. ``turn`` is the angle that holds from now on, where it has changed.
    """

    movements: list[Movement]
    groups: list[list[Movement]]
    templates: tuple[Template, ...]
    measured: dict[int, tuple[Movement, Rep]]
    turn: TurnFromRest | None = None


def so_far(view: View, running: Template | None, since: int | None, counted: Sequence[Movement] = ()) -> Seen:
    """The sets of a stream that goes on, on the causal orientation; too few to be a set, the newest movement.

    Parameters
    ----------
    view : View
    running : Template or None
        The set under way as it was seen last.
    since : int or None
        Row of the view's table at which the newest movement was seen to leave its bottom, if it may begin a set.
    counted : sequence of Movement
        Where these are sure, in absolute rows: they stay, and the newest movement, if it is plainly one more of the
        set, is looked at alone.
    """
    if running is not None and since is not None and counted:
        seen = _one_more(view, running, counted)
        if seen is not None:
            return seen
    rules = replace(view.rules, ends=False, running=running)
    quaternion, omega = view.causal
    force = view.table[:, FORCE : FORCE + 3]
    found = count_sets(
        quaternion,
        omega,
        force,
        rate_of(view.table),
        rules,
        view.known,
        alone=False,
        explain=False,
        missing=view.missing,
        judged=False,
    )
    if not found.sets and since is not None:
        return _measured(view, *_in_progress(view, since))
    return _measured(view, found.sets, found.templates)


def _one_more(view: View, running: Template, counted: Sequence[Movement]) -> Seen | None:
    """What is counted, and the only movement since, plainly one more of the set; None where it takes a whole look."""
    axis, first = running.level_axis, counted[-1].top - view.first
    if axis is None or first < 0:
        return None
    quaternion, omega = view.causal
    path = sensor_path(quaternion[first:], omega[first:], rate_of(view.table))
    # Where the sensor turns one way, the vertical turns the other way in it.
    curve = angle_about(path.up, -axis)
    found = find_candidates(path, curve, 0, wobble_rad(running.range_rad), is_start=False, is_end=False)
    if found is None or len(found) != 1:
        return None
    if gains(found, patterns_of([running]), view.rules, (running,))[0, 0] < PLAINLY:
        return None
    newest = moved(full_rate(found.movement(0), path.every, len(view.table) - 1 - first), first)
    before = [moved(m, -view.first) for m in counted]
    return _measured(view, ((*before, replace(newest, earliest=first)),), (running,))


def at_last(view: View, *, is_over: bool) -> Seen:
    """The last word on a set: with the orientation that is known afterwards, as offline.

    Parameters
    ----------
    view : View
    is_over : bool
        Whether the stream ends here, so that a movement may be cut.
    """
    # What is counted here knows no arm, as offline; which end is the bottom is the arm's to say, and then it may count
    # again with the arm's own acceleration taken away.
    rules = replace(view.rules, ends=is_over, arm_axis=None)
    found = _counted_at_last(view, rules, None)
    known = view.mounting if view.known_axis is not None else None
    if known is not None and any_from_above(found.sets, view.table[:, ANGLE]):
        found = _counted_at_last(view, replace(rules, arm_axis=view.rules.arm_axis), known.lever_arm_m)
    return _measured(view, found.sets, found.templates)


def _counted_at_last(view: View, rules: CountingRules, lever_arm_m: FloatArray | None) -> Counted:
    omega, force = (np.ascontiguousarray(view.table[:, k : k + 3]) for k in (RATE, FORCE))
    rate_hz = rate_of(view.table)
    orientation = fuse(
        omega,
        force,
        rate_hz,
        missing=view.missing,
        lever_arm_m=lever_arm_m,
        sampling="instants",
    )
    return count_sets(
        orientation.quaternion,
        omega - orientation.gyroscope_bias_rad_s,
        force,
        rate_hz,
        rules,
        view.known,
        # One alone before a rest was handling.
        alone=rules.ends or len(view.tops) > 1,
        explain=False,
        missing=view.missing,
    )


def _in_progress(view: View, since: int) -> tuple[tuple[tuple[Movement, ...], ...], tuple[Template, ...]]:
    """Too few to be a set so far: the newest movement and those like it right before it, and their look."""
    force = view.table[:, FORCE : FORCE + 3]
    path = sensor_path(*view.causal, rate_of(view.table), force, view.missing)
    left = max(since - round(LEFT_BEFORE_S * rate_of(view.table)), 0) // path.every
    rules = counting_rules(view.choices.exercise, view.known_axis)
    run = run_in_progress(path, left, rules, view.known)
    if run is None:
        return (), ()
    return (tuple(full_rate(m, path.every, len(view.table) - 1) for m in run.movements),), (run.template,)


def _measured(view: View, sets: tuple[tuple[Movement, ...], ...], templates: tuple[Template, ...]) -> Seen:
    """Measure what had not been counted."""
    flat = [m for group in sets for m in group]
    groups = [[moved(m, view.first) for m in group] for group in sets]
    shown = [m for group in groups for m in group]
    table, turn = view.table, None
    if flat and isinstance(view.angle, TurnFromRest):
        table, turn = _with_turn_of(view, flat[-1])
    again = set(seen_again(list(view.tops), shown, view.same_rows).values())
    is_turn = isinstance(view.angle, TurnFromRest)
    placed = _on(table, flat)
    measured = {}
    for place, labelled in enumerate(flat):
        if place in again:
            continue
        rep = _measure(view, table, placed.get(labelled.bottom), place + 1)
        if rep is None and is_turn:
            # Another set's axis, or that of another rep, shows no rise of it: its own does.
            own = _turned(view, table, labelled)
            rep = _measure(view, own, _on(own, [labelled]).get(labelled.bottom), place + 1)
        if rep is not None:
            measured[place] = rep
    return Seen(
        movements=shown,
        groups=groups,
        templates=templates,
        measured=measured,
        turn=turn,
    )


def _with_turn_of(view: View, newest: Movement) -> tuple[FloatArray, TurnFromRest | None]:
    """Count a turn from the bottom of the newest rep and about its axis, where it was counted otherwise.

    Returns
    -------
    (ndarray, shape (n, 14); TurnFromRest or None)
        The view's rows with the angles that hold now; the turn if it is another.
    """
    now, table = view.angle, view.table
    turn = turn_of(table, newest, view.fusion.bias_rad_s, view.choices.exercise.coordinate)
    if isinstance(now, TurnFromRest) and now.axis is not None and turn.axis is not None:
        is_same = sum(map(mul, now.axis, turn.axis)) > SAME_AXIS
        if is_same and abs(float(table[newest.bottom, ANGLE])) < SAME_REST_RAD:
            return table, None
    return _at(view, table, turn), turn


def _turned(view: View, table: FloatArray, movement: Movement) -> FloatArray:
    """The rows with the turn of one movement for their angle."""
    turn = turn_of(table, movement, view.fusion.bias_rad_s, view.choices.exercise.coordinate)
    return _at(view, table, turn)


def _at(view: View, table: FloatArray, turn: TurnFromRest) -> FloatArray:
    table = table.copy()
    table[:, ANGLE], table[:, ANGLE_RATE] = turn.table(*view.causal)
    return table


def _on(table: FloatArray, movements: Sequence[Movement]) -> dict[int, Movement]:
    """Movements as the rows' angle shows them, by their bottom as the counter sees it."""
    angle = np.ascontiguousarray(table[:, ANGLE])
    return {m.bottom: m for group in on_angle((tuple(movements),), angle, rate_of(table)) for m in group}


def _measure(
    view: View, table: FloatArray, movement: Movement | None, number: int
) -> tuple[Movement, Rep] | None:
    """A movement and its measures on the rows' angle; None where it has no rise there."""
    if movement is None or view.mounting is None:
        return None
    rep = measure_movement(
        table,
        movement,
        view.choices.exercise,
        view.mounting,
        view.fusion.bias_rad_s,
        view.fusion.tilt_se_rad,
        view.choices.side,
        number,
        view.choices.tolerance or UNKNOWN_TOLERANCE,
        view.body,
    )
    return None if rep is None else (movement, rep)


def seen_again(tops: list[int], movements: Sequence[Movement], within: int) -> dict[int, int]:
    """Which of the reps counted are shown again, and by which movement: their places.

    Where in a long hold the top is taken to be may change; it is the same rep as long as it lies in it.

    Parameters
    ----------
    tops : list of int
        Rows of the tops of the reps counted, rising.
    movements : sequence of Movement
        In rows, in time order. Each shows one rep at most.
    within : int
        A top so many rows outside a movement is still in it.
    """
    again: dict[int, int] = {}
    for place, m in enumerate(movements):
        low, high = min(m.bottom, m.top - within), max(m.bottom_after, m.top + within)
        inside = [k for k, top in enumerate(tops) if low <= top <= high and k not in again]
        if inside:
            again[min(inside, key=lambda k: abs(tops[k] - m.top))] = place
    return again
