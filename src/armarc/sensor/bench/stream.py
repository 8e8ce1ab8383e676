"""How evenly and completely the samples came, and the temperatures told at the ends of a capture."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from armarc.recording import Recording


@dataclass(frozen=True, slots=True, kw_only=True)
class StreamFacts:
    """Rate, evenness and losses of a recording.

    ``jitter_s`` is the standard deviation of the stamps about an even clock as the file had them; ``missing_samples``
    counts short losses as well as gaps. ``stated_rate_hz`` and ``clock_drift_ppm`` (sensor clock against host clock)
    are None where the file does not say.
    """

    samples: int
    duration_s: float
    rate_hz: float
    stated_rate_hz: float | None
    jitter_s: float
    missing_samples: int
    missing_share: float
    longest_gap_s: float
    gaps: int
    duplicate_samples: int
    clipped_samples: int
    clock_drift_ppm: float | None


def stream_facts(recording: Recording) -> StreamFacts:
    """Count what came and what did not."""
    steps = np.diff(recording.time_s)
    counts = np.maximum(np.round(steps * recording.rate_hz), 1.0) if len(steps) else np.zeros(0)
    # A step of two periods is a lost sample only on a clock that is even otherwise.
    even = recording.source.jitter_s * recording.rate_hz < 0.25
    threshold = 1.5 if even else 2.5
    lost = int((counts[steps * recording.rate_hz > threshold] - 1).sum())
    lost = max(lost, sum(gap.missing_samples for gap in recording.gaps))
    return StreamFacts(
        samples=len(recording.time_s),
        duration_s=recording.duration_s,
        rate_hz=recording.rate_hz,
        stated_rate_hz=_number(recording.metadata.other.get("rate_hz")),
        jitter_s=recording.source.jitter_s,
        missing_samples=lost,
        missing_share=lost / max(lost + len(recording.time_s), 1),
        longest_gap_s=float(steps.max()) if len(steps) else 0.0,
        gaps=len(recording.gaps),
        duplicate_samples=recording.source.duplicate_samples,
        clipped_samples=int(recording.is_clipped.sum()),
        clock_drift_ppm=_drift(recording.metadata.other),
    )


def _drift(other: Mapping[str, object]) -> float | None:
    events = other.get("events")
    for event in reversed(events if isinstance(events, list) else []):
        if isinstance(event, dict) and event.get("sensor_clock_drift_ppm") is not None:
            return _number(event["sensor_clock_drift_ppm"])
    return None


def _number(value: object) -> float | None:
    if isinstance(value, bool) or not isinstance(value, int | float | str):
        return None
    try:
        number = float(value)
    except ValueError:
        return None
    return number if np.isfinite(number) else None


KEY = "sensor_temperature_c"
"""In the head of a recording and in its last event."""


def told_temperatures_c(recording: Recording) -> list[float]:
    """What the recording's head and events say, °C, in order; empty where they say nothing."""
    other = recording.metadata.other
    events = other.get("events")
    told = [other.get(KEY)]
    if isinstance(events, list):
        told += [one.get(KEY) for one in events if isinstance(one, dict)]
    return [float(one) for one in told if isinstance(one, int | float) and not isinstance(one, bool)]
