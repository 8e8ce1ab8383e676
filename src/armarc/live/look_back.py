"""What the offline counter sees in the stretch at hand: so far, in the newest movement, and at the end of a set."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from operator import mul

import numpy as np

from armarc.live.angle import TurnFromRest
from armarc.live.judge import rate_of
from armarc.live.mount import turn_of
from armarc.live.rows import ANGLE, FORCE, QUATERNION, RATE
from armarc.live.stretch import Stretch
from armarc.motion import fuse
from armarc.recording import FloatArray
from armarc.reps.counting import Counted, count_sets, counting_rules, full_rate, run_in_progress
from armarc.reps.likeness import Template
from armarc.reps.movements import Movement
from armarc.reps.path import sensor_path

LEFT_BEFORE_S = 1.0
"""How long before the angle told it the arm may have left its bottom."""
SAME_AXIS, SAME_REST_RAD = math.cos(math.radians(20)), math.radians(15)
"""A turn counted about nearly the same axis and from nearly the same rest stays as it is."""


def so_far(
    stretch: Stretch,
    table: FloatArray,
    first: int,
    known: tuple[Template, ...],
    running: Template | None,
) -> Counted:
    """The sets of a stream that goes on, on the causal orientation.

    Parameters
    ----------
    stretch : Stretch
    table : ndarray, shape (n, 14)
        Rows from `first` on.
    first : int
    known : tuple of Template
        Sets that have ended.
    running : Template or None
        The set under way as it was seen last.
    """
    rules = replace(
        counting_rules(stretch.exercise, stretch.known_axis),
        starts=first == stretch.began_row,
        ends=False,
        running=running,
    )
    quaternion, omega = _causal(stretch, table)
    force = table[:, FORCE : FORCE + 3]
    return count_sets(quaternion, omega, force, rate_of(table), rules, known, alone=False, explain=False)


def at_last(
    stretch: Stretch,
    table: FloatArray,
    first: int,
    known: tuple[Template, ...],
    *,
    is_over: bool,
    reps: int,
) -> Counted:
    """The last word on a set: with the orientation that is known afterwards, as offline.

    Parameters
    ----------
    stretch : Stretch
    table : ndarray, shape (n, 14)
    first : int
    known : tuple of Template
    is_over : bool
        Whether the stream ends here, so that a movement may be cut.
    reps : int
        Reps counted so far: one alone before a rest was handling.
    """
    rules = replace(
        counting_rules(stretch.exercise, stretch.known_axis), starts=first == stretch.began_row, ends=is_over
    )
    omega, force = (np.ascontiguousarray(table[:, k : k + 3]) for k in (RATE, FORCE))
    orientation = fuse(omega, force, rate_of(table))
    return count_sets(
        orientation.quaternion,
        omega - orientation.gyroscope_bias_rad_s,
        force,
        rate_of(table),
        rules,
        known,
        alone=is_over or reps > 1,
        explain=False,
    )


def in_progress(
    stretch: Stretch, table: FloatArray, since: int, known: tuple[Template, ...]
) -> tuple[list[Movement], Template | None]:
    """Too few to be a set so far: the newest movement and those like it right before it, and their look.

    Parameters
    ----------
    stretch : Stretch
    table : ndarray, shape (n, 14)
    since : int
        Row of the table at which the newest movement was seen to leave its bottom.
    known : tuple of Template
    """
    path = sensor_path(*_causal(stretch, table), rate_of(table))
    left = max(since - round(LEFT_BEFORE_S * stretch.rate_hz), 0) // path.every
    run = run_in_progress(path, left, counting_rules(stretch.exercise, stretch.known_axis), known)
    if run is None:
        return [], None
    return [full_rate(m, path.every, len(table) - 1) for m in run.movements], run.template


def with_turn_of(stretch: Stretch, table: FloatArray, newest: Movement, first: int) -> FloatArray:
    """Count a turn from the bottom of the newest rep and about its axis, where it was counted otherwise.

    Returns
    -------
    ndarray, shape (n, 14)
        The rows of `table` with the angles that hold now.
    """
    now = stretch.angle
    turn = turn_of(table, newest, stretch.fusion.bias_rad_s, stretch.exercise.coordinate)
    if isinstance(now, TurnFromRest) and now.axis is not None and turn.axis is not None:
        is_same = sum(map(mul, now.axis, turn.axis)) > SAME_AXIS
        if is_same and abs(float(table[newest.bottom, ANGLE])) < SAME_REST_RAD:
            return table
    stretch.change_angle(turn)
    return stretch.rows.table(first, first + len(table))


def _causal(stretch: Stretch, table: FloatArray) -> tuple[FloatArray, FloatArray]:
    quaternion = np.ascontiguousarray(table[:, QUATERNION : QUATERNION + 4])
    return quaternion, table[:, RATE : RATE + 3] - np.array(stretch.fusion.bias_rad_s)


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
