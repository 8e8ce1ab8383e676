"""What is told at the gate: whether the movement looks like one of the set, and how far its speed may be off."""

from __future__ import annotations

import math
from collections.abc import Sequence

from armarc.live.angle import Vector
from armarc.reps.types import Rep

REMEMBERED = 12
ALIKE_AT_GATE = math.cos(math.radians(16))
FASTER_AT_GATE = 3.0


def passed_alike(seen: Sequence[tuple[Vector, float]], up: Vector, speed_rad_s: float) -> bool:
    """Whether the arm passes the gate the way it did in the reps before, if there were any.

    Parameters
    ----------
    seen : sequence of (up, speed)
        Global up in sensor axes and rad/s, of the reps before.
    up : tuple of 3 floats
    speed_rad_s : float, rad/s
    """
    if not seen:
        return True
    ups, speeds = zip(*seen, strict=True)
    mean = [sum(c) for c in zip(*ups, strict=True)]
    size = math.sqrt(sum(c * c for c in mean)) or 1.0
    cosine = sum(a * b for a, b in zip(mean, up, strict=True)) / size
    usual: float = sorted(speeds)[len(speeds) // 2]
    return cosine > ALIKE_AT_GATE and 1 / FASTER_AT_GATE < speed_rad_s / usual < FASTER_AT_GATE


class ToldErrors:
    """What the reps so far say of the next one: how sure their measures are, and how far from those was told."""

    def __init__(self) -> None:
        self._missed: list[float] = []
        self._share = math.nan

    def hear(self, rep: Rep) -> None:
        """A rep whose start was told has been measured."""
        told, measured, se = rep.told_velocity_rad_s, rep.start_velocity_rad_s, rep.start_velocity_se_rad_s
        if told is not None and measured is not None and se is not None:
            self._missed = [*self._missed[1 - REMEMBERED :], told / measured - 1.0]
            self._share = se / measured

    def of(self, speed_rad_s: float, expected_se_rad_s: float) -> float:
        """Standard error of a start velocity that is about to be told, rad/s; before any rep has been measured, the
        one expected of its gate."""
        if not self._missed:
            return expected_se_rad_s
        missed = math.sqrt(sum(share**2 for share in self._missed) / len(self._missed))
        return speed_rad_s * math.hypot(self._share, missed)
