"""Movements that were seen and not counted, for people to read."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from armarc.motion import ArmMotion
from armarc.reps.counting import LeftOut


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


def what_was_left_out(left_out: Sequence[LeftOutMovement]) -> str:
    """How many movements were left out and why, in one line."""
    counts = Counter(out.reason for out in left_out)
    reasons = "; ".join(f"{reason} ({n})" if len(counts) > 1 else reason for reason, n in counts.items())
    what = "movement was" if len(left_out) == 1 else "movements were"
    return f"{len(left_out)} {what} not counted as reps: {reasons}"
