"""A check as JSON: degrees and standard units, no NaN."""

from __future__ import annotations

import math
from typing import Any

from armarc.recording.types import STANDARD_GRAVITY_M_S2
from armarc.sensor.bench.types import AxisCheck, SensorCheck, StillFacts
from armarc.sensor.bench.verdict import class_of

SCHEMA = "armarc.sensor_check/1"
CONVENTION = (
    "Overlapping Allan deviation, terms as in IEEE Std 952 Annex C: random walk N with the two-sided density N², bias "
    "instability = lowest point / 0.664. noise_density is one-sided as in datasheets: √2·N."
)


def check_record(check: SensorCheck) -> dict[str, Any]:
    """Plain dictionary of a check; JSON's own types only."""
    stream = check.stream
    se = check.start_velocity_se_rad_s
    return {
        "schema": SCHEMA,
        "source": {"file": check.file, "sensor": check.sensor or None},
        "convention": CONVENTION,
        "stream": {
            "samples": stream.samples,
            "duration_s": _round(stream.duration_s),
            "rate_hz": _round(stream.rate_hz),
            "stated_rate_hz": _round(stream.stated_rate_hz),
            "jitter_ms": _round(1000 * stream.jitter_s),
            "missing_samples": stream.missing_samples,
            "missing_pct": _round(100 * stream.missing_share),
            "gaps": stream.gaps,
            "longest_gap_s": _round(stream.longest_gap_s),
            "duplicate_samples": stream.duplicate_samples,
            "clipped_samples": stream.clipped_samples,
            "clock_drift_ppm": _round(stream.clock_drift_ppm),
        },
        "still": None if check.still is None else _still_record(check.still),
        "not_still": check.not_still or None,
        "start_velocity_se_deg_s": None if se is None else _round(math.degrees(se)),
        "start_velocity_se_span_deg_s": None
        if check.start_velocity_span_rad_s is None
        else [_round(math.degrees(one)) for one in check.start_velocity_span_rad_s],
        "gyroscope_scale_se_pct": _round(100 * check.scale_se),
        "rounding_m_s2": _round(check.rounding_m_s2),
        "rounding_deg_s": _round(math.degrees(check.rounding_rad_s)),
        "calibrated": check.is_calibrated,
        "findings": list(check.findings),
    }


def _still_record(still: StillFacts) -> dict[str, Any]:
    return {
        "start_s": _round(still.start_s),
        "end_s": _round(still.end_s),
        "duration_s": _round(still.duration_s),
        "quite_still": still.is_quite_still,
        "gravity_m_s2": _round(still.gravity_m_s2),
        "gravity_error_pct": _round(100 * (still.gravity_m_s2 / STANDARD_GRAVITY_M_S2 - 1)),
        "temperature_c": None
        if still.temperature_c is None
        else [_round(one) for one in still.temperature_c],
        "gyroscope": {name: _gyroscope(axis) for name, axis in zip("xyz", still.gyroscope, strict=True)},
        "accelerometer": {
            name: _accelerometer(axis) for name, axis in zip("xyz", still.accelerometer, strict=True)
        },
    }


def _gyroscope(axis: AxisCheck) -> dict[str, Any]:
    deg = math.degrees(1)
    terms = axis.terms
    out: dict[str, Any] = {
        "bias_deg_s": _round(deg * axis.mean),
        "bias_se_deg_s": _round(deg * axis.mean_se),
        "noise_deg_s": _round(deg * axis.sample_sd),
        "resolution_deg_s": _round(deg * axis.resolution),
        "bias_per_kelvin_deg_s": _scaled(axis.per_kelvin, deg),
        "bias_per_kelvin_se_deg_s": _scaled(axis.per_kelvin_se, deg),
        "random_walk_deg_rts": None,
        "random_walk_deg_rth": None,
        "random_walk_se_deg_rts": None,
        "noise_density_mdps_rthz": None,
        "bias_instability_deg_h": None,
        "bias_instability_tau_s": None,
        "bias_instability_is_upper_bound": None,
        "rate_random_walk_deg_s_rts": None,
        "whiteness": None,
        "class": None,
    }
    if terms is None:
        return out
    return out | {
        "random_walk_deg_rts": _round(deg * terms.random_walk),
        "random_walk_deg_rth": _round(60 * deg * terms.random_walk),
        "random_walk_se_deg_rts": _round(deg * terms.random_walk_se),
        "noise_density_mdps_rthz": _round(1000 * deg * terms.density),
        "bias_instability_deg_h": _scaled(terms.instability, 3600 * deg),
        "bias_instability_tau_s": _round(terms.instability_tau_s),
        "bias_instability_is_upper_bound": None if terms.instability is None else not terms.floor_seen,
        "rate_random_walk_deg_s_rts": _scaled(terms.rate_random_walk, deg),
        "whiteness": _round(terms.whiteness),
        "class": class_of(terms.density, "gyroscope"),
    }


def _accelerometer(axis: AxisCheck) -> dict[str, Any]:
    micro = 1e6 / STANDARD_GRAVITY_M_S2
    terms = axis.terms
    out: dict[str, Any] = {
        "mean_m_s2": _round(axis.mean),
        "mean_se_m_s2": _round(axis.mean_se),
        "noise_m_s2": _round(axis.sample_sd),
        "resolution_m_s2": _round(axis.resolution),
        "mean_per_kelvin_m_s2": _round(axis.per_kelvin),
        "mean_per_kelvin_se_m_s2": _round(axis.per_kelvin_se),
        "random_walk_m_s_rts": None,
        "noise_density_ug_rthz": None,
        "bias_instability_ug": None,
        "bias_instability_tau_s": None,
        "bias_instability_is_upper_bound": None,
        "whiteness": None,
        "class": None,
    }
    if terms is None:
        return out
    return out | {
        "random_walk_m_s_rts": _round(terms.random_walk),
        "noise_density_ug_rthz": _round(micro * terms.density),
        "bias_instability_ug": _scaled(terms.instability, micro),
        "bias_instability_tau_s": _round(terms.instability_tau_s),
        "bias_instability_is_upper_bound": None if terms.instability is None else not terms.floor_seen,
        "whiteness": _round(terms.whiteness),
        "class": class_of(terms.density, "accelerometer"),
    }


def _scaled(value: float | None, factor: float) -> float | None:
    return None if value is None else _round(value * factor)


def _round(value: float | None) -> float | None:
    """Six significant digits; None for nothing and for what is not finite."""
    if value is None or not math.isfinite(value):
        return None
    return float(f"{value:.6g}")
