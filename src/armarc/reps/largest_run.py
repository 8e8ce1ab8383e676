"""The run of movements that adds up to most, for many patterns at once.

A movement like the pattern adds to the sum, one in between that is unlike it takes away, a long rest ends the run: the
best run is found in one pass (Kadane's scheme for the largest partial sum, R. Bentley 1984, "Programming Pearls:
Algorithm design techniques", Commun ACM 27(9):865–873, from memory).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from armarc.recording import FloatArray
from armarc.reps.candidates import Candidates
from armarc.reps.likeness import Patterns, Template, of_same_exercise, unlikeness

GAIN = 3.0
"""What a movement just like its set adds: twenty to one that it is a rep."""
CUT_SHARE = 0.35
"""A movement that was half recorded tells less: two of them less than a whole one."""
OUTSIDER_COST = 1.5
UNHURRIED_CYCLE_S = 1.5
MOST_SWEPT = 2.0
"""An angle that changes by more than so many times what the sensor turned means nothing (working limit)."""

LEAST_KNOWN = 0.5
"""Of the smallest range that begins a set: less is no rep of a known exercise either, but how a body sways in a rest
(working limit)."""
BARRIER = 1e4
"""More than any run of a stretch adds up to."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CountingRules:
    """What is known beforehand.

    Parameters
    ----------
    smallest_rad : float, rad
        Smallest range that may begin a set; where the exercise has been seen already half of it will do.
    rest_s : float, s
        A rest this long ends a set.
    curves : tuple of str
        ``"tilt"`` (angle of the vertical about the turning axis), ``"yaw"`` (angle about the vertical), or both.
    arm_axis : ndarray, shape (3,), or None
        Shoulder → hand in sensor axes where it is known: the bottom is then the end at which it hangs lower.
    has_bottom : bool
        Whether the exercise says which end of it is the bottom.
    starts, ends : bool
        Whether the stretch starts and ends where the recording does, so that a movement there is cut; a stream that
        goes on will bring the rest of it.
    running : Template or None
        The set under way as it was seen last: the end taken for its bottom is changed only for a better reason.
    is_named : bool
        Whether somebody said what is done: a raise goes out and comes back, something else may go round.
    is_raise : bool
        Whether that is a raise with the sensor on the wrist: it turns about the shoulder.
    """

    smallest_rad: float
    rest_s: float
    curves: tuple[str, ...]
    arm_axis: FloatArray | None = None
    has_bottom: bool = True
    starts: bool = True
    ends: bool = True
    running: Template | None = None
    is_named: bool = True
    is_raise: bool = False


def gains(
    found: Candidates, patterns: Patterns, rules: CountingRules, known: tuple[Template, ...]
) -> FloatArray:
    """What each of n candidates adds to a run of each of k patterns, shape (k, n); not above 0: it is unlike."""
    # About an axis that is nearly vertical the vertical's angle sweeps while the sensor sways by a few degrees.
    sizes = np.minimum(patterns.range_rad, patterns.turned_rad)
    likely = np.minimum(1.0, sizes / rules.smallest_rad)
    if known and likely.min(initial=1.0) < 1:
        likely[of_same_exercise(patterns, known) & (sizes >= LEAST_KNOWN * rules.smallest_rad)] = 1.0
    likely *= np.minimum(1.0, MOST_SWEPT * patterns.turned_rad / patterns.range_rad)
    likely *= np.minimum(1.0, 2 * patterns.up_s / UNHURRIED_CYCLE_S)
    return GAIN * likely[:, None] * np.where(found.is_cut, CUT_SHARE, 1.0) - unlikeness(found, patterns)


def largest_runs(
    found: Candidates, gain: FloatArray, ranges_rad: FloatArray, rest_s: float, most: int
) -> list[list[int]]:
    """Members of the best runs of the `most` best patterns, the best one first.

    Parameters
    ----------
    found : Candidates
        n of them.
    gain : ndarray, shape (k, n)
        What each adds to a run of each pattern.
    ranges_rad : ndarray, shape (k,), rad
        Of the patterns.
    rest_s : float, s
    most : int
    """
    loss = losses(found, ranges_rad[:, None])
    order = range(len(gain))
    if len(gain) > most:
        at_most = _at_most(found, gain, loss, rest_s)
        order = np.argsort(-at_most, kind="stable").tolist()
    best: list[tuple[float, int, list[int]]] = []
    for k in order:
        if len(best) == most and at_most[k] < best[-1][0]:
            break
        run = largest_run(found, gain[k], loss[k], rest_s)
        if run is not None:
            best = sorted([*best, (run[0], k, run[1])], key=lambda run: (-run[0], -run[1]))[:most]
    return [members for _, _, members in best]


def losses(found: Candidates, range_rad: FloatArray | float) -> FloatArray:
    """What each candidate takes away where it is unlike a pattern of some range."""
    return OUTSIDER_COST * np.minimum(1.0, found.range_rad / range_rad)


def _at_most(found: Candidates, gain: FloatArray, loss: FloatArray, rest_s: float) -> FloatArray:
    """What the best run of each pattern adds up to, but for rounding, so that most need not be gone through.

    The largest sum of neighbours among the look-alikes of all patterns, laid one behind another: what lies between two
    takes away what it costs, a long rest or another pattern is too high a barrier.
    """
    pattern, at = (gain > 0).nonzero()
    through = np.cumsum(loss, axis=1)
    passed = through[pattern, at]
    between = passed[1:] - loss[pattern[1:], at[1:]] - passed[:-1]
    begins = np.ones(len(at), dtype=np.bool_)
    begins[1:] = (pattern[1:] != pattern[:-1]) | (found.leaves_s[at[1:]] - found.returns_s[at[:-1]] >= rest_s)
    own = gain[pattern, at]
    adds = own - BARRIER * begins
    adds[1:] -= np.where(begins[1:], 0.0, between)
    sums = np.cumsum(adds)
    sums -= np.minimum.accumulate(sums - own)
    best = np.full(len(gain), -np.inf)
    np.maximum.at(best, pattern, sums)
    return best + 1e-6


def largest_run(
    found: Candidates, adds: FloatArray, loss: FloatArray, rest_s: float
) -> tuple[float, list[int]] | None:
    """Sum and members of the best run of one pattern, from what each candidate adds or, being unlike it, takes away.

    None where nothing is like it.
    """
    at = (adds > 0).nonzero()[0]
    if not len(at):
        return None
    alike, of_alike = (
        at.tolist(),
        (adds[at].tolist(), found.leaves_s[at].tolist(), found.returns_s[at].tolist()),
    )
    returned_s = -math.inf
    running, first, before = 0.0, 0, -1
    best, best_first, best_last = -math.inf, 0, -1
    for j, gain, leaves_s, returns_s in zip(alike, *of_alike, strict=True):
        if leaves_s - returned_s >= rest_s:
            running = 0.0
        elif running > 0 and j - before > 1:
            # One stranger after the other: they may use up all there is before the next look-alike.
            for lost in loss[before + 1 : j].tolist():
                running -= lost
                if running <= 0:
                    break
        if running <= 0:
            running, first = 0.0, j
        running += gain
        before, returned_s = j, returns_s
        if running > best:
            best, best_first, best_last = running, first, j
    return best, [j for j in alike if best_first <= j <= best_last]
