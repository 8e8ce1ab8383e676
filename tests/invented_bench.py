"""Invented recordings of a sensor on a table: lying still, laid on its sides, turned along an edge."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation

from armarc.recording import STANDARD_GRAVITY_M_S2, Metadata, Recording

Array = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class Faults:
    """How the readings differ from the truth: reading = inverse(matrix) · truth + offset + noise."""

    force_offset_m_s2: Array = field(default_factory=lambda: np.zeros(3))
    force_matrix: Array = field(default_factory=lambda: np.eye(3))
    bias_rad_s: Array = field(default_factory=lambda: np.zeros(3))
    rate_matrix: Array = field(default_factory=lambda: np.eye(3))
    force_sd_m_s2: float = 0.011  # 160 µg/√Hz at 100 Hz
    rate_sd_rad_s: float = math.radians(0.05)  # 7 mdps/√Hz at 100 Hz


def still(
    duration_s: float,
    rate_hz: float = 100.0,
    *,
    faults: Faults | None = None,
    seed: int = 0,
    sensor: str = "bench",
) -> Recording:
    """A sensor lying still, z up."""
    n = round(duration_s * rate_hz)
    return _read(
        np.zeros((n, 3)), np.tile([0.0, 0.0, 1.0], (n, 1)), rate_hz, faults or Faults(), seed, sensor
    )


def handled(
    turns: Sequence[tuple[Sequence[float], float]],
    *,
    faults: Faults | None = None,
    rest_s: float = 2.0,
    speed_deg_s: float = 120.0,
    rate_hz: float = 100.0,
    seed: int = 0,
    sensor: str = "bench",
) -> Recording:
    """Rests with turns between them, z up at first.

    Each turn is an axis in the axes of the sensor and an angle in degrees, made with a smooth course.
    """
    dt = 1.0 / rate_hz
    resting = round(rest_s * rate_hz)
    place = Rotation.identity()
    rate, up = [np.zeros((resting, 3))], [np.tile([0.0, 0.0, 1.0], (resting, 1))]
    for axis, angle_deg in turns:
        unit = np.asarray(axis, float) / np.linalg.norm(axis)
        n = max(20, round(1.875 * abs(angle_deg) / speed_deg_s * rate_hz))
        s = np.arange(n + 1) / n
        course = np.diff(10 * s**3 - 15 * s**4 + 6 * s**5)
        rate += [np.outer(course * math.radians(angle_deg) / dt, unit), np.zeros((resting, 3))]
        on_the_way = place * Rotation.from_rotvec(np.outer(np.cumsum(course) * math.radians(angle_deg), unit))
        place = on_the_way[-1]
        up += [
            on_the_way.inv().apply([0.0, 0.0, 1.0]),
            np.tile(place.inv().apply([0.0, 0.0, 1.0]), (resting, 1)),
        ]
    return _read(np.concatenate(rate), np.concatenate(up), rate_hz, faults or Faults(), seed, sensor)


SIX_SIDES: list[tuple[Sequence[float], float]] = [
    ([1, 0, 0], 90), ([1, 0, 0], 90), ([1, 0, 0], 90), ([1, 0, 0], 90),
    ([0, 1, 0], 90), ([0, 1, 0], 90), ([0, 1, 0], 90), ([0, 1, 0], 90),
]  # fmt: skip
"""Over its x edge once round, then over its y edge: every side is up once."""
SIDEWAYS: list[tuple[Sequence[float], float]] = [
    ([1, 0, 0], 90),
    ([0, 0, 1], 180),
    ([0, 0, 1], -180),
    ([1, 0, 0], -90),
]
"""On its y edge, turned about z, which is level then."""
SKEW: list[tuple[Sequence[float], float]] = [
    ([1, 1, 0], 50),
    ([0, 1, 1], 70),
    ([1, 0, 1], 110),
    ([1, -1, 0], 65),
]

ROLLED: list[tuple[Sequence[float], float]] = [
    ([1, 0, 0], 90), ([0, 0, 1], 90), ([0, 0, 1], 90), ([0, 0, 1], 90), ([0, 0, 1], 90), ([1, 0, 0], -90),
]  # fmt: skip
"""Stood on its side and rolled over once: its third axis."""
GUIDED = SIX_SIDES + ROLLED + SKEW
"""What the guide asks for."""


def _read(omega: Array, up: Array, rate_hz: float, faults: Faults, seed: int, sensor: str) -> Recording:
    rng = np.random.default_rng(seed)
    n = len(omega)
    force = STANDARD_GRAVITY_M_S2 * up @ np.linalg.inv(faults.force_matrix).T + faults.force_offset_m_s2
    rate = omega @ np.linalg.inv(faults.rate_matrix).T + faults.bias_rad_s
    return Recording(
        time_s=np.arange(n) / rate_hz,
        specific_force_m_s2=force + rng.normal(0, 1, (n, 3)) * faults.force_sd_m_s2,
        angular_velocity_rad_s=rate + rng.normal(0, 1, (n, 3)) * faults.rate_sd_rad_s,
        rate_hz=rate_hz,
        metadata=Metadata(sensor=sensor),
    )
