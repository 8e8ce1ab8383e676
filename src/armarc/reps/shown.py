"""What some reps show of a rep, so that other movements can be held against it."""

from __future__ import annotations

from dataclasses import dataclass

from armarc.recording import FloatArray


@dataclass(frozen=True, slots=True)
class Shown:
    """What some reps show of a rep.

    Parameters
    ----------
    reps : int
        How many they are.
    axis : ndarray, shape (3,)
        Sensor axis about which their angle rises.
    usual, scatter : ndarray, shape (3,)
        Median of the logarithms of range, time up and speed, and by how much these scatter.
    lever : ndarray, shape (3, 3)
        What an angle's acceleration, its squared rate and a one have to do with what is felt.
    left, expected : ndarray, shape (2,), m/s²
        Root mean squares of what that leaves and of what it expects, going up and down.
    """

    reps: int
    axis: FloatArray
    usual: FloatArray
    scatter: FloatArray
    lever: FloatArray
    left: FloatArray
    expected: FloatArray
