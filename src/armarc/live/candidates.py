"""The movement under way, and a rep that counts."""

from __future__ import annotations

from dataclasses import dataclass

from armarc.live.angle import Vector
from armarc.reps.movements import Movement
from armarc.reps.types import Rep


@dataclass(frozen=True, slots=True, kw_only=True)
class Counted:
    """A rep that counts: its movement as the counter sees it, in absolute rows, and its measures."""

    movement: Movement
    top_s: float
    rep: Rep


@dataclass(slots=True, kw_only=True)
class Current:
    """The movement under way; `left_row` is where it left its bottom."""

    number: int
    armed: bool
    told: bool
    left_row: int
    speed_rad_s: float | None = None
    speed_se_rad_s: float | None = None
    verdict: str | None = None
    gate_s: float | None = None
    up: Vector | None = None
