"""Where arm and body rest beside the reps of a set."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from armarc.motion import ArmMotion, spatial_medians
from armarc.recording import FloatArray
from armarc.reps.phases import Instants

REST_WITHIN_S = 0.8
"""The body may set off this long before the arm and come home this long after it (working limit)."""
LEAST_PAUSE_S = 0.3
"""In a shorter pause the arm rests where it turns round; in a longer one there is a quietest instant."""
QUIET_S = 0.2
QUIET_ACCELERATION_M_S2, QUIET_RATE_RAD_S = 0.3, math.radians(10)
"""Equally loud, for the choice of the quietest instant."""


def rests_beside(
    motion: ArmMotion, acceleration: FloatArray, begin: int, reps: Sequence[Instants]
) -> list[tuple[int, int]]:
    """Samples before and after each rep of a set at which arm and body rest.

    Where the arm turns round, or the quietest of a longer pause.

    Parameters
    ----------
    motion : ArmMotion
    acceleration : ndarray, shape (m, 3), m/s²
        Of the shoulder, global frame, from sample `begin` on.
    begin : int
    reps : sequence of Instants
        Of one set, in order.
    """
    hz, last = motion.rate_hz, len(motion.angle_rate_rad_s) - 1
    pauses = [_pauses(reps, k, hz) for k in range(len(reps))]
    starts = {pause: min(max(math.floor(pause[0]), 0), last) for both in pauses for pause in both}
    stops = {pause: min(max(math.ceil(pause[1]), first), last) + 1 for pause, first in starts.items()}
    loud = {pause: np.abs(motion.angle_rate_rad_s[first : stops[pause]]) for pause, first in starts.items()}
    longer = [pause for pause, speed in loud.items() if len(speed) > LEAST_PAUSE_S * hz]
    pushes = [acceleration[starts[pause] - begin : stops[pause] - begin] for pause in longer]
    width = 2 * round(QUIET_S * hz / 2) + 1
    beyond = np.ones(width // 2)
    # What tilt and offset errors do to the acceleration is the same all through a pause.
    for pause, pushed, usual in zip(longer, pushes, spatial_medians(pushes), strict=True):
        push = pushed - usual
        both = np.sqrt(np.einsum("ij,ij->i", push, push)) / QUIET_ACCELERATION_M_S2
        both += loud[pause] / QUIET_RATE_RAD_S
        padded = np.concatenate([both[0] * beyond, both, both[-1] * beyond])
        loud[pause] = np.convolve(padded, np.full(width, 1 / width), mode="valid")
    at = {pause: first + int(np.argmin(loud[pause])) for pause, first in starts.items()}
    return [(at[before], at[after]) for before, after in pauses]


def _pauses(reps: Sequence[Instants], number: int, hz: float) -> tuple[tuple[float, float], ...]:
    """Where a rest is looked for before a rep and after it, in samples; of two reps a short pause is the same."""
    at, within = reps[number], REST_WITHIN_S * hz
    earliest = max(at.start - within, 0.0 if number == 0 else reps[number - 1].end)
    latest = at.end + within
    if number + 1 < len(reps):
        latest = min(latest, reps[number + 1].start)
    return (earliest, at.start), (at.end, latest)
