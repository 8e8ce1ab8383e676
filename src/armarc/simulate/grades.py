"""How wrong cheap sensors are, in four classes."""

from __future__ import annotations

import math
from dataclasses import dataclass

from armarc.recording import STANDARD_GRAVITY_M_S2


@dataclass(frozen=True, slots=True, kw_only=True)
class SensorGrade:
    """How wrong one class of cheap sensor is.

    The classes follow datasheet figures of wearable-class parts: gyroscope noise 2.8–14 mdps/√Hz, accelerometer
    noise 60–400 µg/√Hz, zero-rate offset up to a few °/s, zero-g offset 5–50 mg, sensitivity tolerance 0.5–3 %
    (from memory where no datasheet table was at hand).

    Densities are one-sided: a reading at rate f has the standard deviation density·√(f/2). Offsets and
    scale errors are drawn evenly between ± the given size for every axis; cross-axis errors are half the
    scale's.
    ``bias_walk_rad_s`` is the gyroscope's slow drift, rad/s per √s.
    """

    gyroscope_density_rad_s: float = 0.0
    accelerometer_density_m_s2: float = 0.0
    gyroscope_bias_rad_s: float = 0.0
    bias_walk_rad_s: float = 0.0
    zero_g_m_s2: float = 0.0
    scale: float = 0.0
    bits: int | None = None


def _grade(mdps: float, ug: float, bias_dps: float, walk_dps: float, mg: float, scale: float) -> SensorGrade:
    return SensorGrade(
        gyroscope_density_rad_s=math.radians(mdps / 1000),
        accelerometer_density_m_s2=ug * 1e-6 * STANDARD_GRAVITY_M_S2,
        gyroscope_bias_rad_s=math.radians(bias_dps),
        bias_walk_rad_s=math.radians(walk_dps),
        zero_g_m_s2=mg * 1e-3 * STANDARD_GRAVITY_M_S2,
        scale=scale,
        bits=16,
    )


SENSOR_GRADES = {
    "ideal": SensorGrade(),
    "good": _grade(2.8, 70, 0.3, 0.001, 5, 0.003),
    "common": _grade(7, 160, 1.0, 0.003, 20, 0.008),
    "poor": _grade(14, 400, 3.0, 0.01, 40, 0.015),
}
