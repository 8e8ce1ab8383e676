"""The movement under way, a rep that counts, and whether the arm is down."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from operator import mul

from armarc.live.angle import Vector
from armarc.reps.body import BODY_FLAGS
from armarc.reps.left_out import HIDES_SHARE
from armarc.reps.likeness import Template
from armarc.reps.movements import Movement
from armarc.reps.summary import PERHAPS_NO_REP, is_clean
from armarc.reps.types import Rep

MOST_TILT = 2.0
"""A movement that turns so many times as far as it tilts does not show in the direction of the vertical."""

LOOKED_AT_EACH, LOOKED_AT_EVERY = 4, 3
"""Up to so many reps each one asks about the whole set and is learned from, later every third (working limits)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Counted:
    """A rep that counts: its movement as the counter sees it, in absolute rows, and its measures.

    ``is_doubted``: the newest look at the set left it out.
    """

    movement: Movement
    top_s: float
    rep: Rep
    is_doubted: bool = False


@dataclass(slots=True, kw_only=True)
class Current:
    """The movement under way; `left_row` is where it left its bottom.

    ``on_pose``: the gate was told on an angle that rested on a pose only taken to be hanging.
    """

    number: int
    armed: bool
    told: bool
    left_row: int
    speed_rad_s: float | None = None
    speed_se_rad_s: float | None = None
    verdict: str | None = None
    gate_s: float | None = None
    up: Vector | None = None
    on_pose: bool = False


def reps_of_set(members: Sequence[Counted], flags: Sequence[str]) -> tuple[Rep, ...]:
    """The reps of a set, numbered; what all of it has shown of body and strap holds for each of them."""
    return tuple(
        replace(c.rep, rep=k, quality=quality, clean=is_clean(quality))
        for k, c in enumerate(members, 1)
        for quality in [_quality(c, flags)]
    )


def _quality(counted: Counted, flags: Sequence[str]) -> tuple[str, ...]:
    own = (q for q in counted.rep.quality if q not in (*BODY_FLAGS, PERHAPS_NO_REP))
    return (*own, *[PERHAPS_NO_REP] * counted.movement.is_doubtful, *flags)


def may_hide_rep(counted: Sequence[Counted], length_s: float) -> bool:
    """Whether a gap of so many seconds may hide one more of the reps of a set, as the measured set will say."""
    took = sorted(c.rep.phases.end_s - c.rep.phases.start_s for c in counted)
    return bool(took) and length_s >= HIDES_SHARE * took[len(took) // 2]


def is_looked_at(reps: int) -> bool:
    """Whether after so many reps the whole set is looked at and learned from."""
    return reps <= LOOKED_AT_EACH or reps % LOOKED_AT_EVERY == 0


def is_low(running: Template | None, phase: str, up: Vector) -> bool:
    """Whether the arm is down: who rests at the top of a rep has not ended the set.

    Parameters
    ----------
    running : Template or None
        The set under way, as far as it is known.
    phase : str
        Of the tracker, which decides where the vertical shows nothing.
    up : tuple of 3 floats
        Global up in sensor axes.
    """
    if running is None or running.turned_rad > MOST_TILT * running.range_rad:
        return phase != "up"
    cosine = sum(map(mul, running.pose.tolist(), up))
    return math.acos(max(-1.0, min(1.0, cosine))) < 0.5 * running.range_rad
