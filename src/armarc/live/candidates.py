"""The movement under way, and a rep that counts."""

from __future__ import annotations

from dataclasses import dataclass

from armarc.live.angle import Vector
from armarc.reps.movements import Movement
from armarc.reps.types import Rep


@dataclass(frozen=True, slots=True, kw_only=True)
class Counted:
    """A rep that counts: its movement in absolute rows, and its measures."""

    movement: Movement
    top_s: float
    rep: Rep


@dataclass(slots=True, kw_only=True)
class Current:
    """The movement under way."""

    number: int
    armed: bool
    told: bool
    speed_rad_s: float | None = None
    verdict: str | None = None
    gate_s: float | None = None
    up: Vector | None = None


def group_with_top(
    groups: tuple[tuple[Movement, ...], ...], top: int, within: int
) -> tuple[Movement, ...] | None:
    """The group that holds the movement with its top at a row."""
    for group in groups:
        if any(abs(m.top - top) <= within for m in group):
            return group
    return None
