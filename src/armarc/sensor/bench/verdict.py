"""What the figures of a check mean, in plain words."""

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
