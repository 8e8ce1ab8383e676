"""What the figures of a check mean, in plain words; and a check as JSON: degrees and standard units, no NaN."""

from __future__ import annotations

import math
from dataclasses import dataclass

from armarc.recording.types import STANDARD_GRAVITY_M_S2
from armarc.sensor.bench.types import TOLERANCE_SPAN, AxisCheck, SensorCheck, StillFacts

HIGH_BIAS_RAD_S = math.radians(1.0)
VERY_HIGH_BIAS_RAD_S = math.radians(10.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class PartClass:
    """Typical one-sided noise densities that datasheets of one kind of part state."""

    words: str
    gyroscope_rad_s: float
    accelerometer_m_s2: float


def _part(words: str, mdps: float, ug: float) -> PartClass:
    return PartClass(
        words=words,
        gyroscope_rad_s=math.radians(mdps / 1000),
        accelerometer_m_s2=ug * 1e-6 * STANDARD_GRAVITY_M_S2,
    )


PART_CLASSES = (
    # ICM-42688 and LSM6DSV datasheets: 2.8 mdps/√Hz, 60–75 µg/√Hz.
    _part("a low-noise part", 2.8, 70),
    # BMI270 datasheet (DS000-07) and BMI160: 7–8 mdps/√Hz, 150–180 µg/√Hz; ICM-20602: 4 and 100.
    _part("a usual wearable part", 7, 160),
    # BMI055/BMG160: 14 mdps/√Hz; MPU-6050 accelerometer: 400 µg/√Hz (the latter from memory).
    _part("an older or cheap part", 14, 400),
)
CLASS_MARGIN = 1.5
"""A part counts into a class up to this many times the class's typical density."""


NO_PART = "no usual part: far noisier"


def class_of(density: float, quantity: str) -> str:
    """Kind of part whose datasheet figures a one-sided density fits.

    Parameters
    ----------
    density : float, rad/s/√Hz or m/s²/√Hz
    quantity : {"gyroscope", "accelerometer"}
    """
    for part in PART_CLASSES:
        typical = part.gyroscope_rad_s if quantity == "gyroscope" else part.accelerometer_m_s2
        if density <= CLASS_MARGIN * typical:
            return part.words
    return NO_PART


def findings(check: SensorCheck) -> tuple[str, ...]:
    """Sentences, the important ones first."""
    said: list[str] = []
    if check.still is None:
        said.append(
            f"nothing about noise and bias: {check.not_still}; lay the sensor on a table nobody leans on and record "
            "two minutes"
        )
    else:
        said += _still_findings(check, check.still)
    said += _stream_findings(check)
    if check.still is not None:
        said.append(_what_length_tells(check.still))
    return tuple(said)


def _still_findings(check: SensorCheck, still: StillFacts) -> list[str]:
    said = []
    for name, axes in (("gyroscope", still.gyroscope), ("accelerometer", still.accelerometer)):
        stuck = [letter for letter, axis in zip("xyz", axes, strict=True) if axis.is_stuck]
        if stuck:
            said.append(
                f"{name} axis {', '.join(stuck)} gave one value throughout: dead, or not in the recording"
            )
    if not still.is_quite_still:
        said.append(
            "not quite still: the readings swing slowly as on a swaying body or a shaking table, so that noise and "
            "drift come out too high"
        )
    if check.start_velocity_se_rad_s is not None:
        said.append(_good_for(check, check.start_velocity_se_rad_s))
    said.append(_bias_finding(still))
    said += _noise_findings(still) if still.is_quite_still else []
    said += _rounding_findings(check)
    off = still.gravity_m_s2 / STANDARD_GRAVITY_M_S2 - 1
    if abs(off) > 0.01:
        cure = (
            "the calibration kept for it corrects that"
            if check.is_accelerometer_calibrated
            else "calibrate the accelerometer (armarc sensor calibrate)"
        )
        said.append(f"gravity reads {still.gravity_m_s2:.2f} m/s² ({100 * off:+.1f} %): {cure}")
    said += _temperature_findings(still)
    return said


def _good_for(check: SensorCheck, se_rad_s: float) -> str:
    if check.start_velocity_span_rad_s is None:
        return (
            f"good for start velocity to ±{max(math.degrees(se_rad_s), 0.01):.2g} °/s at 60 °/s (one standard error; "
            f"scale calibrated: ±{100 * check.scale_se:.2g} %)"
        )
    low, high = (math.degrees(one) for one in check.start_velocity_span_rad_s)
    closest, loosest = (100 * half for half in TOLERANCE_SPAN)
    return (
        f"good for start velocity to somewhere between ±{max(low, 0.01):.2g} and ±{high:.2g} °/s at 60 °/s (one "
        f"standard error; scale not calibrated: such parts are trimmed to ±{closest:g} to ±{loosest:g} %; armarc "
        "sensor calibrate settles it)"
    )


def _rounding_findings(check: SensorCheck) -> list[str]:
    """What even rounding hides: a value within a step of width q is off by q/√12 on average."""
    tilt = math.degrees(check.rounding_m_s2 / math.sqrt(12.0) / STANDARD_GRAVITY_M_S2)
    rate = math.degrees(check.rounding_rad_s / math.sqrt(12.0))
    said = []
    if check.rounding_m_s2:
        said.append(
            f"acceleration comes rounded to {check.rounding_m_s2:.2g} m/s²: a still arm's inclination is off by "
            f"{tilt:.1g}° (one standard error), movement evens it out"
        )
    if check.rounding_rad_s:
        said.append(
            f"angular velocity comes rounded to {math.degrees(check.rounding_rad_s):.2g} °/s: "
            f"{rate:.1g} °/s of bias may hide in it"
        )
    return said


def _bias_finding(still: StillFacts) -> str:
    largest = max(abs(axis.mean) for axis in still.gyroscope)
    words = f"{math.degrees(largest):.2g} °/s on the worst axis"
    if largest > VERY_HIGH_BIAS_RAD_S:
        return f"bias very high ({words}): was it turning? Otherwise calibrate it and stand still 2 s before each set"
    if largest > HIGH_BIAS_RAD_S:
        return f"bias high ({words}): stand still 2 s before each set, so that it is found and taken away"
    return f"bias low ({words})"


def _noise_findings(still: StillFacts) -> list[str]:
    said = []
    for name, axes in (("gyroscope", still.gyroscope), ("accelerometer", still.accelerometer)):
        terms = [axis.terms for axis in axes if axis.terms is not None]
        if not terms:
            continue
        said.append(f"{name} noise like {class_of(max(one.density for one in terms), name)}")
        smooth = min(one.whiteness for one in terms)
        if smooth < 0.6:
            said.append(
                f"{name} samples are smoother than white noise ({smooth:.1f} of its spread): a filter inside the "
                "sensor, which also delays"
            )
        coarse = [a for a in axes if _is_coarse(a)]
        if coarse:
            said.append(f"{name} steps are coarser than its noise: a smaller range would show more")
    return said


def _is_coarse(axis: AxisCheck) -> bool:
    return not axis.is_stuck and axis.resolution > 2 * axis.sample_sd


def _temperature_findings(still: StillFacts) -> list[str]:
    if still.temperature_c is None:
        return []
    low, high = still.temperature_c
    clear = [
        abs(axis.per_kelvin)
        for axis in still.gyroscope
        if axis.per_kelvin is not None
        and axis.per_kelvin_se is not None
        and abs(axis.per_kelvin) > 3 * axis.per_kelvin_se
    ]
    if not clear:
        return []
    return [
        f"bias followed the temperature by up to {1000 * math.degrees(max(clear)):.2g} mdps/K from {low:.1f} to "
        f"{high:.1f} °C: let it warm up for ten minutes (one warming cannot part temperature from time)"
    ]


def _stream_findings(check: SensorCheck) -> list[str]:
    stream, said = check.stream, []
    if stream.rate_hz < 50:
        said.append(
            f"rate low ({stream.rate_hz:.3g} Hz): a start gate of 10° at 60 °/s holds few samples; use 100 Hz"
        )
    if stream.stated_rate_hz and abs(stream.rate_hz / stream.stated_rate_hz - 1) > 0.01:
        off = 100 * (stream.rate_hz / stream.stated_rate_hz - 1)
        said.append(f"the rate is {off:+.1f} % off the stated {stream.stated_rate_hz:.4g} Hz")
    if stream.missing_share > 0.001:
        said.append(
            f"{100 * stream.missing_share:.2g} % of the samples missing (longest gap {stream.longest_gap_s:.2f} s): "
            "bring the sensor closer, charge it, or lower the rate"
        )
    if stream.jitter_s * stream.rate_hz > 0.25:
        said.append(
            f"time stamps scatter by {1000 * stream.jitter_s:.2g} ms: they are arrival times rather than a clock's"
        )
    if stream.clipped_samples:
        said.append(f"{stream.clipped_samples} samples at the end of the range: choose a larger range")
    return said


def _what_length_tells(still: StillFacts) -> str:
    length = still.duration_s
    if not still.is_quite_still:
        return f"{_time(length)} of rest tell the bias of this moment only; lay the sensor on a steady table"
    if length < 20:
        return f"{length:.0f} s tell the noise and the bias of this moment, nothing about drift; two minutes tell more"
    floors = all(axis.terms is not None and axis.terms.floor_seen for axis in still.gyroscope)
    if length < 600 and not floors:
        return (
            f"{_time(length)} tell noise, random walk and bias; of drift only an upper bound (bias instability "
            "takes an hour)"
        )
    unseen = [
        letter
        for letter, axis in zip("xyz", still.gyroscope, strict=True)
        if axis.terms is not None and not axis.terms.floor_seen
    ]
    if unseen:
        return (
            f"{_time(length)} did not reach the flat floor on gyroscope axis {', '.join(unseen)}: its bias "
            "instability is an upper bound"
        )
    return f"{_time(length)} tell noise, random walk, bias and its instability"


def _time(seconds: float) -> str:
    if seconds < 120:
        return f"{seconds:.0f} s"
    return f"{seconds / 60:.0f} minutes" if seconds < 3600 else f"{seconds / 3600:.1f} hours"


SCHEMA = "armarc.sensor_check/1"
CONVENTION = (
    "Overlapping Allan deviation, terms as in IEEE Std 952 Annex C: random walk N with the two-sided density N², bias "
    "instability = lowest point / 0.664. noise_density is one-sided as in datasheets: √2·N."
)


def check_record(check: SensorCheck) -> dict[str, object]:
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


def _still_record(still: StillFacts) -> dict[str, object]:
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


def _gyroscope(axis: AxisCheck) -> dict[str, object]:
    deg = math.degrees(1)
    terms = axis.terms
    out: dict[str, object] = {
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


def _accelerometer(axis: AxisCheck) -> dict[str, object]:
    micro = 1e6 / STANDARD_GRAVITY_M_S2
    terms = axis.terms
    out: dict[str, object] = {
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
