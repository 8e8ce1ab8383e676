"""Files that give gravity in columns of its own beside the acceleration."""

from __future__ import annotations

import math

import numpy as np

from armarc.recording.types import FloatArray

_INCLUDED = 0.3
"""Without gravity an acceleration averages nothing along it, whatever the movement; with it, at least 0.4."""


def with_gravity(
    acceleration: FloatArray, gravity: FloatArray, names: tuple[str, str]
) -> tuple[FloatArray, str]:
    """The accelerometer's reading, and a sentence saying how it was had.

    Where the acceleration holds gravity already, whatever its columns are called, it stays as it is. Where it does
    not, the two are added: the open sensor interfaces (W3C Accelerometer, its LinearAccelerationSensor and
    GravitySensor) split the reading so, whichever way it points at rest.

    Parameters
    ----------
    acceleration, gravity : ndarray, shape (n, 3), one unit; NaN where blank
    names : pair of str
        What the first columns of acceleration and gravity are called.
    """
    sound = np.isfinite(acceleration).all(axis=1) & np.isfinite(gravity).all(axis=1)
    a, g = acceleration[sound], gravity[sound]
    lengths = math.sqrt(float((a**2).sum()) * float((g**2).sum()))
    along = float((a * g).sum()) / lengths if lengths > 0 else 0.0
    named, pull = names
    if abs(along) > _INCLUDED:
        return acceleration, f"{named} … hold gravity already; {pull} … were left aside"
    return acceleration + gravity, f"{named} … and {pull} … were added to give the accelerometer's reading"
