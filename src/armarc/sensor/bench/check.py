"""Checks a sensor from a recording of it lying still."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from armarc.errors import InputError
from armarc.motion.tolerance import tolerance_by_noise
from armarc.recording import ROUNDING_KEYS, FloatArray, Piece, Recording, uniform_pieces
from armarc.sensor.bench.allan import NoiseTerms, averaging_factors, deviation, noise_terms
from armarc.sensor.bench.still import HANGING_ARM, still_stretches
from armarc.sensor.bench.stream import stream_facts, told_temperatures_c
from armarc.sensor.bench.types import TOLERANCE_SPAN, AxisCheck, SensorCheck, StillFacts
from armarc.sensor.bench.verdict import findings

SHORTEST_STILL_S = 2.0
START_VELOCITY_RAD_S = math.radians(60)
GATE_RAD = math.radians(10)
STAND_STILL_S = 2.0
LEAST_WARMING_K = 2.0
SWAY_RATIO = 4.0
"""σ·√τ between 0.3 and 3 s over that at 0.1 s: about 1 for noise, up to 3 on a poor gyroscope's floor."""
LONGEST_GAP_S = 2.0
"""A still stretch does not go on over a longer gap."""


def check_sensor(
    recording: Recording,
    *,
    scale_se: float | None = None,
    accelerometer_calibrated: bool = False,
) -> SensorCheck:
    """Measure noise, bias, drift, rate and losses of a sensor.

    Parameters
    ----------
    recording : Recording
        The sensor lying still for part of it; the longest still stretch is found and used.
    scale_se : float or None
        Relative standard error of the gyroscope's scale from its calibration; None when it has none.
    accelerometer_calibrated : bool
        Whether a calibration is kept that corrects the accelerometer.

    Returns
    -------
    SensorCheck
        `still` is None, with the reason, where nothing can be said about noise and bias.

    Raises
    ------
    InputError
        A recording without a second of samples in a row.
    """
    pieces = uniform_pieces(recording, longest_gap_s=LONGEST_GAP_S)
    if not pieces:
        raise InputError(
            "the recording has no second of samples in a row",
            "record the sensor lying still for two minutes",
            file=recording.source.file,
        )
    found = [
        (stop - first, piece, first, stop)
        for piece in pieces
        for first, stop in still_stretches(piece, shortest_s=SHORTEST_STILL_S)
    ]
    still, why = None, ""
    if found:
        _, piece, first, stop = max(found, key=lambda one: one[0] / one[1].rate_hz)
        still = _still_facts(recording, piece, first, stop)
    else:
        why = _why_not(pieces)
    used = _guessed_scale_se(still) if scale_se is None else scale_se
    fit = still is not None and still.is_quite_still and not any(axis.is_stuck for axis in still.gyroscope)
    rounding = told_rounding(recording)
    check = SensorCheck(
        file=recording.source.file,
        sensor=recording.metadata.sensor or "",
        stream=stream_facts(recording),
        still=still,
        not_still=why,
        start_velocity_se_rad_s=_start_velocity_se(still, used, rounding[1]) if still and fit else None,
        start_velocity_span_rad_s=_start_velocity_span(still, rounding[1])
        if still and fit and scale_se is None
        else None,
        scale_se=used,
        rounding_m_s2=rounding[0],
        rounding_rad_s=rounding[1],
        is_calibrated=scale_se is not None,
        is_accelerometer_calibrated=accelerometer_calibrated,
        findings=(),
    )
    return replace(check, findings=findings(check))


def told_rounding(recording: Recording) -> tuple[float, float]:
    """Steps the source rounds acceleration and angular velocity to, m/s² and rad/s; 0 where it does not say."""
    told = [recording.metadata.other.get(key) for key in ROUNDING_KEYS]
    first, second = (
        float(one) if isinstance(one, int | float) and not isinstance(one, bool) and one > 0 else 0.0
        for one in told
    )
    return first, second


def _why_not(pieces: tuple[Piece, ...]) -> str:
    longest = max(len(piece.missing) / piece.rate_hz for piece in pieces)
    if longest < SHORTEST_STILL_S + 1:
        return f"the recording is too short ({longest:.1f} s): nothing can be said below {SHORTEST_STILL_S:.0f} s"
    short = [one for piece in pieces for one in still_stretches(piece, shortest_s=0.5)]
    if short:
        best = max(
            (stop - first) / piece.rate_hz
            for piece in pieces
            for first, stop in still_stretches(piece, shortest_s=0.5)
        )
        return f"the longest still stretch lasts {best:.1f} s: {SHORTEST_STILL_S:.0f} s is the least"
    if any(still_stretches(piece, shortest_s=SHORTEST_STILL_S, limits=HANGING_ARM) for piece in pieces):
        return "the sensor was quiet but not still: it was worn or held, which shakes more than the sensor's own noise"
    return "the sensor was moving throughout"


def _still_facts(recording: Recording, piece: Piece, first: int, stop: int) -> StillFacts:
    rate_hz = piece.rate_hz
    start_s, end_s = piece.start_s + first / rate_hz, piece.start_s + (stop - 1) / rate_hz
    omega, force = piece.angular_velocity_rad_s[first:stop], piece.specific_force_m_s2[first:stop]
    temperature = _temperature(recording, start_s + np.arange(stop - first) / rate_hz)
    factors = averaging_factors(stop - first)
    curves = [deviation(values, rate_hz, factors) for values in (omega, force)]
    checks = []
    step_m_s2, step_rad_s = told_rounding(recording)
    for values, curve, rounding in zip((omega, force), curves, (step_rad_s, step_m_s2), strict=True):
        axes = []
        for k in range(3):
            sd = _fast_sd(values[:, k], rate_hz)
            terms = noise_terms(curve, k, sample_sd=sd, rate_hz=rate_hz, duration_s=len(values) / rate_hz)
            axes.append(_axis(values[:, k], sd, terms, temperature, rate_hz, rounding))
        checks.append(tuple(axes))
    told = told_temperatures_c(recording)
    warm = (min(told), max(told)) if told else None
    if temperature is not None:
        warm = float(temperature.min()), float(temperature.max())
    return StillFacts(
        start_s=start_s,
        end_s=end_s,
        gyroscope=checks[0],
        accelerometer=checks[1],
        gravity_m_s2=float(np.linalg.norm(force.mean(axis=0))),
        temperature_c=warm,
        gyroscope_curve=curves[0],
        accelerometer_curve=curves[1],
        is_quite_still=_sway(curves[0].tau_s, curves[0].value) < SWAY_RATIO,
    )


def _axis(
    values: FloatArray,
    sd: float,
    terms: NoiseTerms | None,
    temperature: FloatArray | None,
    rate_hz: float,
    rounding: float,
) -> AxisCheck:
    length_s = len(values) / rate_hz
    slope, slope_se = _per_kelvin(values, temperature, rate_hz)
    return AxisCheck(
        mean=float(values.mean()),
        mean_se=sd / math.sqrt(len(values)) if terms is None else terms.random_walk / math.sqrt(length_s),
        sample_sd=sd,
        # An axis that rests on one value is not dead where the source rounds.
        resolution=_resolution(values) or rounding,
        terms=terms,
        per_kelvin=slope,
        per_kelvin_se=slope_se,
    )


def _fast_sd(values: FloatArray, rate_hz: float) -> float:
    """Standard deviation within seconds, so that drift is not taken for noise."""
    width = min(max(round(rate_hz), 4), len(values))
    blocks = values[: len(values) // width * width].reshape(-1, width)
    return float(np.sqrt(blocks.var(axis=1, ddof=1).mean()))


def _resolution(values: FloatArray) -> float:
    """Smallest usual step: rounding in a text file blurs it by the last digit, so tiny steps are joined."""
    steps = np.diff(np.unique(values[: 1 << 16]))
    if len(steps) == 0:
        return 0.0
    return float(steps[steps > 1e-3 * float(np.median(steps))].min())


def _temperature(recording: Recording, time_s: FloatArray) -> FloatArray | None:
    if recording.temperature_c is None:
        return None
    known = np.isfinite(recording.temperature_c)
    if not known.any():
        return None
    return np.interp(time_s, recording.time_s[known], recording.temperature_c[known])


def _per_kelvin(
    values: FloatArray, temperature: FloatArray | None, rate_hz: float
) -> tuple[float | None, float | None]:
    """Slope against temperature over blocks of five seconds, with a standard error from the blocks' scatter."""
    if temperature is None:
        return None, None
    width = max(round(5 * rate_hz), 4)
    count = len(values) // width
    if count < 6:
        return None, None
    y = values[: count * width].reshape(count, width).mean(axis=1)
    x = temperature[: count * width].reshape(count, width).mean(axis=1)
    if float(np.ptp(x)) < LEAST_WARMING_K:
        return None, None
    dx = x - x.mean()
    power = float(dx @ dx)
    slope = float(dx @ y) / power
    rest = y - y.mean() - slope * dx
    # Drift makes neighbours alike: count only as many blocks as are independent.
    alike = float(np.clip(rest[1:] @ rest[:-1] / max(float(rest @ rest), 1e-30), 0.0, 0.95))
    wide = math.sqrt((1 + alike) / (1 - alike))
    return slope, wide * math.sqrt(float(rest @ rest) / (count - 2) / power)


def _sway(tau: FloatArray, value: FloatArray) -> float:
    scaled = value * np.sqrt(tau)[:, None]
    early, late = (tau >= 0.05) & (tau <= 0.15), (tau >= 0.3) & (tau <= 3.0)
    if not early.any() or not late.any():
        return 0.0
    base = np.maximum(scaled[early].mean(axis=0), 1e-12)
    return float((scaled[late] / base).max())


def _guessed_scale_se(still: StillFacts | None) -> float:
    """As measurements guess it of a sensor nobody calibrated, from its noise."""
    densities = [axis.terms.density for axis in still.gyroscope if axis.terms is not None] if still else []
    return tolerance_by_noise(max(densities, default=None)).gyroscope


def _start_velocity_span(still: StillFacts, rounding_rad_s: float) -> tuple[float, float] | None:
    """With a part trimmed as closely as any, and as loosely as any."""
    low, high = (_start_velocity_se(still, half / math.sqrt(3), rounding_rad_s) for half in TOLERANCE_SPAN)
    return None if low is None or high is None else (low, high)


def _start_velocity_se(still: StillFacts, scale_se: float, rounding_rad_s: float) -> float | None:
    terms = [axis.terms for axis in still.gyroscope if axis.terms is not None]
    if not terms and not rounding_rad_s:
        return None
    walk = max((one.random_walk for one in terms), default=0.0)
    wander = max((one.instability or 0.0 for one in terms), default=0.0)
    # A bias below the step may hide in it, evenly spread.
    wander = math.hypot(wander, rounding_rad_s / math.sqrt(12.0))
    noise = walk / math.sqrt(GATE_RAD / START_VELOCITY_RAD_S)
    bias = math.hypot(walk / math.sqrt(STAND_STILL_S), wander)
    return math.sqrt(noise**2 + bias**2 + (scale_se * START_VELOCITY_RAD_S) ** 2)
