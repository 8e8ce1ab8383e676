"""Which sets of a recording are of one exercise: another one turns another way, or starts from another pose."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from armarc.motion import elevation, up_in_sensor
from armarc.motion.quaternions import turn_between
from armarc.recording import FloatArray
from armarc.reps.likeness import Template
from armarc.reps.movements import Movement


def kinds(sets: Sequence[Sequence[Movement]], looks: Sequence[Template]) -> list[tuple[int, ...]]:
    """Sets that may be of one exercise, those with most reps first.

    Parameters
    ----------
    sets : sequence of sequence of Movement
    looks : sequence of Template
        What each set looks like.

    Returns
    -------
    list of tuple of int
        Every set once; each kind is what may be the exercise of its longest set.
    """
    left = sorted(range(len(sets)), key=lambda k: -len(sets[k]))
    found = []
    while left:
        alike = [k for k in left if k == left[0] or looks[k].may_be(looks[left[0]])]
        left = [k for k in left if k not in alike]
        found.append(tuple(sorted(alike)))
    return sorted(found, key=lambda kind: -sum(len(sets[k]) for k in kind))


def raised_share(quaternion: FloatArray, arm_axis: FloatArray, sets: Sequence[Sequence[Movement]]) -> float:
    """How much an arm rises while the sensor turns from the bottom to the top of a movement, the median of all.

    Parameters
    ----------
    quaternion : ndarray, shape (n, 4)
        Sensor → global, scalar first.
    arm_axis : ndarray, shape (3,)
        Shoulder → hand, sensor axes.
    sets : sequence of sequence of Movement
    """
    at = np.array([(m.bottom, m.top) for group in sets for m in group])
    low, top = quaternion[at[:, 0]], quaternion[at[:, 1]]
    rise = elevation(up_in_sensor(top), arm_axis) - elevation(up_in_sensor(low), arm_axis)
    return float(np.median(rise / np.maximum(turn_between(low, top), 1e-6)))
