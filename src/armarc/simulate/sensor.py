"""What a cheap sensor makes of perfect signals: noise, offsets, scale, range, resolution, losses."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from armarc.recording import BoolArray, FloatArray, Gap
from armarc.simulate.grades import SENSOR_GRADES
from armarc.simulate.plan import SensorPlan

GAP_S = 0.05


@dataclass(frozen=True, slots=True, kw_only=True)
class Readings:
    """What arrived.

    ``kept`` (shape (n,)) marks the perfect samples that arrived; everything else has the length of those.
    """

    kept: BoolArray
    time_s: FloatArray
    specific_force_m_s2: FloatArray
    angular_velocity_rad_s: FloatArray
    clipped: BoolArray
    gaps: tuple[Gap, ...]
    temperature_c: FloatArray | None
    gyroscope_bias_rad_s: FloatArray
    zero_g_m_s2: FloatArray


def _distort(scale: float, rng: np.random.Generator) -> FloatArray:
    matrix = rng.uniform(-0.5 * scale, 0.5 * scale, (3, 3))
    matrix[np.diag_indices(3)] = 1 + rng.uniform(-scale, scale, 3)
    return matrix


def _read_out(
    values: FloatArray, limit: float, bits: int | None, ideal: bool
) -> tuple[FloatArray, BoolArray]:
    if ideal:
        return values, np.zeros(len(values), bool)
    if bits is not None:
        step = limit / 2 ** (bits - 1)
        values = np.round(values / step) * step
    clipped = np.any(np.abs(values) >= limit, axis=1)
    return np.clip(values, -limit, limit), clipped


def _losses(time_s: FloatArray, plan: SensorPlan, rng: np.random.Generator) -> BoolArray:
    kept = np.ones(len(time_s), bool)
    packets = np.arange(len(time_s)) // plan.packet_samples
    lost = rng.random(int(packets[-1]) + 1) < plan.drop_fraction
    kept &= ~lost[packets]
    for at, length in plan.gaps_s:
        kept &= ~((time_s >= at) & (time_s < at + length))
    # The first and last samples anchor the clock.
    kept[[0, -1]] = True
    return kept


def _stamps(time_s: FloatArray, plan: SensorPlan, rng: np.random.Generator) -> FloatArray:
    if plan.jitter_s == 0:
        return time_s
    stamps = time_s + rng.normal(0, plan.jitter_s, len(time_s))
    stamps[0] = time_s[0]
    # A driver hands samples over in order: a late stamp pushes the next ones, by a tenth of a period each.
    least = 0.1 / plan.rate_hz
    steps = least * np.arange(len(stamps))
    ordered: FloatArray = np.maximum.accumulate(stamps - steps) + steps
    return ordered


def sense(
    time_s: FloatArray,
    specific_force_m_s2: FloatArray,
    angular_velocity_rad_s: FloatArray,
    plan: SensorPlan,
    rng: np.random.Generator,
) -> Readings:
    """Read perfect signals with an imperfect sensor.

    Parameters
    ----------
    time_s : ndarray, shape (n,), s
        Evenly spaced sampling instants.
    specific_force_m_s2, angular_velocity_rad_s : ndarray, shape (n, 3)
        Sensor axes.
    plan : SensorPlan
    rng : numpy.random.Generator
    """
    grade, n = SENSOR_GRADES[plan.noise], len(time_s)
    root_band = math.sqrt(plan.rate_hz / 2)
    bias = rng.uniform(-1, 1, 3) * grade.gyroscope_bias_rad_s
    if plan.gyroscope_bias_rad_s is not None:
        bias = np.array(plan.gyroscope_bias_rad_s, float)
    zero_g = rng.uniform(-1, 1, 3) * grade.zero_g_m_s2
    drift = np.cumsum(rng.normal(0, grade.bias_walk_rad_s / math.sqrt(plan.rate_hz), (n, 3)), axis=0)
    rate = angular_velocity_rad_s @ _distort(grade.scale, rng).T + bias + drift
    rate = rate + rng.normal(0, 1, (n, 3)) * grade.gyroscope_density_rad_s * root_band
    force = specific_force_m_s2 @ _distort(grade.scale, rng).T + zero_g
    force = force + rng.normal(0, 1, (n, 3)) * grade.accelerometer_density_m_s2 * root_band
    ideal = plan.noise == "ideal"
    force, force_clipped = _read_out(force, plan.accelerometer_range_m_s2, grade.bits, ideal)
    rate, rate_clipped = _read_out(rate, plan.gyroscope_range_rad_s, grade.bits, ideal)
    kept = _losses(time_s, plan, rng)
    stamps = _stamps(time_s, plan, rng)[kept]
    temperature = None
    if plan.temperature:
        warm = 31 - 7 * np.exp(-time_s / 240) + rng.normal(0, 0.02, n)
        temperature = np.round(warm, 2)[kept]
    return Readings(
        kept=kept,
        time_s=stamps,
        specific_force_m_s2=force[kept],
        angular_velocity_rad_s=rate[kept],
        clipped=(force_clipped | rate_clipped)[kept],
        gaps=_find_gaps(np.flatnonzero(kept), stamps, plan.rate_hz),
        temperature_c=temperature,
        gyroscope_bias_rad_s=bias,
        zero_g_m_s2=zero_g,
    )


def _find_gaps(index: NDArray[np.intp], time_s: FloatArray, rate_hz: float) -> tuple[Gap, ...]:
    missing = np.diff(index) - 1
    long = (np.diff(time_s) > max(GAP_S, 1.5 / rate_hz)) & (missing > 0)
    return tuple(
        Gap(start_s=float(time_s[i]), end_s=float(time_s[i + 1]), missing_samples=int(missing[i]))
        for i in np.flatnonzero(long)
    )
