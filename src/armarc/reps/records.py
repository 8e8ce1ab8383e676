"""Degrees and seconds as they are published."""

from __future__ import annotations

import math

_SECONDS, _DEGREES = 4, 3


def deg(value_rad: float | None) -> float | None:
    """Radians as rounded degrees."""
    return None if value_rad is None else round(math.degrees(value_rad), _DEGREES) + 0.0


def seconds(value_s: float | None) -> float | None:
    """Seconds, rounded."""
    return None if value_s is None else round(value_s, _SECONDS) + 0.0
