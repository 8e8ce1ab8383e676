"""A sensor that repeats one sample: what it sent meanwhile is no rest, nor an even turn, but nothing at all."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from armarc.recording.recording import Recording
from armarc.recording.types import BoolArray

FROZEN_S = 0.25
"""All six readings to the last digit for so long: slow sensors written at a higher rate repeat for less (working
limit)."""
TURNS_RAD_S = math.radians(30)
JUMPS_M_S2 = 2.0
"""Who is still and sets off does not come to so much from one sample to the next, nor keeps turning exactly alike
(working limits). A repeated sample of a rest from which nothing jumps says what was there."""


def without_frozen(recording: Recording) -> tuple[Recording, tuple[str, ...]]:
    """Leave out what a sensor sent while it repeated one sample, so that it is a gap; also, what is to be said of it.

    Returns
    -------
    (Recording, tuple of str)
        The recording itself where nothing was repeated.
    """
    force, turning = recording.specific_force_m_s2, recording.angular_velocity_rad_s
    # Hardly any sample repeats one axis of the one before: the others are looked at there alone.
    at = np.flatnonzero(force[1:, 0] == force[:-1, 0])
    same = np.zeros(max(len(force) - 1, 0), dtype=np.bool_)
    same[at] = (force[at + 1] == force[at]).all(axis=1) & (turning[at + 1] == turning[at]).all(axis=1)
    edges = np.flatnonzero(np.diff(same.astype(np.int8), prepend=0, append=0)).tolist()
    drop: BoolArray = np.zeros(len(recording.time_s), dtype=np.bool_)
    lengths_s = []
    for first, last in zip(edges[::2], edges[1::2], strict=True):
        lasting_s = float(recording.time_s[last] - recording.time_s[first])
        after = min(last + 1, len(drop) - 1)
        jumps = (
            np.linalg.norm(turning[first]) > TURNS_RAD_S
            or np.linalg.norm(turning[after] - turning[first]) > TURNS_RAD_S
            or np.linalg.norm(force[after] - force[first]) > JUMPS_M_S2
        )
        if lasting_s >= FROZEN_S and jumps:
            drop[first + 1 : last + 1] = True
            lengths_s.append(lasting_s)
    if not lengths_s:
        return recording, ()
    times = "" if len(lengths_s) == 1 else f"{len(lengths_s)} times, "
    said = (
        f"the sensor repeated one sample ({times}up to {max(lengths_s):.1f} s): nothing is known of that time"
    )
    kept = ~drop
    temperature_c = recording.temperature_c
    left = replace(
        recording,
        time_s=recording.time_s[kept],
        specific_force_m_s2=force[kept],
        angular_velocity_rad_s=turning[kept],
        clipped=recording.is_clipped[kept],
        temperature_c=None if temperature_c is None else temperature_c[kept],
    )
    return left, (said,)
