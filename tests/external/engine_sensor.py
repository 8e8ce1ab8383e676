"""What a cheap sensor makes of the readings of the physics engine: rate, clock, noise, offsets, resolution, range."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from engine_body import GRAVITY_M_S2, RATE_HZ, Lifted
from scipy.signal import butter, sosfiltfilt

import armarc
from armarc.trunk import Trunk


@dataclass(frozen=True, kw_only=True)
class Sensor:
    """`late_s` is how far each sample's stamp lies off, at random; its filter ends at half the rate (parts let less
    through than they sample)."""

    rate_hz: float = 100.0
    most_g: float = 8.0
    most_deg_s: float = 1000.0
    late_s: float = 0.0


USUAL_SENSOR = Sensor()


def read(
    lifted: Lifted, force: np.ndarray, turning: np.ndarray, seed: int, sensor: Sensor, *, errors: float = 1.0
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Stamps, noise, offsets, scales, 16 bits; `errors` scales all but the resolution.

    Sizes as data sheets of common parts have them: offsets of ±30 mg and ±1 °/s, scales of ±0.5 %, 150 µg/√Hz and
    7 m°/s/√Hz to half the rate.
    """
    rng = np.random.default_rng([seed, 22])
    at = np.arange(0, lifted.time_s[-1], 1 / sensor.rate_hz)
    out = []
    for values, noise, offset, limit in (
        (force, 150e-6 * GRAVITY_M_S2, 0.03 * GRAVITY_M_S2, sensor.most_g * GRAVITY_M_S2),
        (turning, math.radians(0.007), math.radians(1.0), math.radians(sensor.most_deg_s)),
    ):
        if sensor.rate_hz < 100:
            values = sosfiltfilt(butter(2, 0.5 * sensor.rate_hz, fs=RATE_HZ, output="sos"), values, axis=0)
        seen = np.stack([np.interp(at, lifted.time_s, column) for column in values.T], axis=1)
        scale = 1 + errors * rng.uniform(-0.005, 0.005, 3)
        noise *= math.sqrt(0.5 * sensor.rate_hz)
        seen = seen * scale + errors * (rng.normal(0, noise, seen.shape) + rng.uniform(-offset, offset, 3))
        step = limit / 2**15
        out.append(np.clip(np.round(seen / step) * step, -limit, limit - step))
    stamps = at + sensor.late_s * np.abs(rng.normal(0, 1, len(at))) if sensor.late_s else at
    return np.maximum.accumulate(stamps + 1e-6 * np.arange(len(at))), *out


def recorded(lifted: Lifted, seed: int, sensor: Sensor, **how: float) -> armarc.Recording:
    """What the wrist's sensor sends."""
    return armarc.Recording.from_arrays(
        *read(lifted, lifted.specific_force_m_s2, lifted.turning_rad_s, seed, sensor, **how)
    )


def chest(lifted: Lifted, seed: int) -> Trunk:
    """A second sensor on the breastbone, its x axis forward, on the same clock."""
    readings = read(lifted, lifted.chest_force_m_s2, lifted.chest_turning_rad_s, seed + 1, USUAL_SENSOR)
    return Trunk(recording=armarc.Recording.from_arrays(*readings), clock=0.0, forward="+x")
