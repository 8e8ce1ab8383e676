"""Movements that were seen and not counted, and those that may count wrongly, for people to read."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from armarc.motion import ArmMotion
from armarc.reps.not_counted import LeftOut
from armarc.reps.summary import PERHAPS_NO_REP
from armarc.reps.types import MeasuredSet

HIDES_SHARE = 0.25
"""Of the time a rep takes: a gap this long may hide a way up or down (working limit)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LeftOutMovement:
    """A movement that was seen and not counted as a rep; times from the recording's first sample."""

    start_s: float
    end_s: float
    reason: str


def left_out_movements(left_out: Sequence[LeftOut], motion: ArmMotion) -> list[LeftOutMovement]:
    """The movements left out of one piece, with their times."""
    first, last = float(motion.time_s[0]), len(motion.time_s) - 1
    return [
        LeftOutMovement(
            start_s=first + out.first / motion.rate_hz,
            end_s=first + min(out.stop, last) / motion.rate_hz,
            reason=out.reason,
        )
        for out in left_out
    ]


def count_notes(sets: Sequence[MeasuredSet], left_out: Sequence[LeftOutMovement]) -> list[str]:
    """Say how many reps each set may have whose count is not certain; then what was left out and why, in one line."""
    said = []
    for one in sets:
        doubtful = [str(rep.rep) for rep in one.reps if PERHAPS_NO_REP in rep.quality]
        most, is_one = len(one.reps), len(doubtful) == 1
        if len(doubtful) == most:
            said.append(
                f"set {one.set} may be none: {most} times picking up, putting down, reaching, drinking, a look at a "
                "watch, walking or circling"
            )
        elif doubtful:
            counts = f"{most - 1} or {most}" if is_one else f"{most - len(doubtful)} to {most}"
            which = f"rep{'s' * (not is_one)} {', '.join(doubtful)}"
            said.append(
                f"set {one.set} has {counts} reps: {which} may be picking up, putting down, reaching or circling"
            )
    if left_out:
        said.append(what_was_left_out(left_out))
    return said


def gap_notes(sets: Sequence[MeasuredSet], motions: Sequence[ArmMotion]) -> list[str]:
    """Say in which sets so much is missing that a rep may have gone with it.

    Parameters
    ----------
    sets : sequence of MeasuredSet
    motions : sequence of ArmMotion
        The motion each set lies in.
    """
    said = []
    for one, motion in zip(sets, motions, strict=True):
        if not motion.missing.any():
            continue
        rep_s = float(np.median([rep.phases.end_s - rep.phases.start_s for rep in one.reps]))
        # The first rep or the last one may be what is missing.
        first, stop = np.searchsorted(motion.time_s, (one.start_s - rep_s, one.end_s + rep_s))
        edges = np.flatnonzero(np.diff(motion.missing[first:stop].astype(np.int8), prepend=0, append=0))
        lengths = np.diff(edges)[::2] / motion.rate_hz
        hiding = lengths[lengths >= HIDES_SHARE * rep_s]
        if len(hiding):
            times = "" if len(hiding) == 1 else f"{len(hiding)} times, "
            said.append(
                f"set {one.set} has gaps in which a rep may be missing from its count ({times}up to "
                f"{hiding.max():.1f} s without samples)"
            )
    return said


def what_was_left_out(left_out: Sequence[LeftOutMovement]) -> str:
    """How many movements were no reps, and why, in words."""
    counts = Counter(out.reason for out in left_out)
    reasons = "; ".join(f"{reason} ({n})" if len(counts) > 1 else reason for reason, n in counts.items())
    if len(left_out) == 1:
        return f"1 movement was not counted as a rep: {reasons}"
    return f"{len(left_out)} movements were not counted as reps: {reasons}"
