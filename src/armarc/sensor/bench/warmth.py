"""Temperatures a sensor told at the ends of a capture."""

from __future__ import annotations

from armarc.recording import Recording

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
