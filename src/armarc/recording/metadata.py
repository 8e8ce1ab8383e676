"""Metadata of a recording to and from the keys of a file's head."""

from __future__ import annotations

import re
from dataclasses import fields
from typing import Any

from armarc.recording.types import Metadata

_NUMBERS = ("load_kg", "accelerometer_range_m_s2", "gyroscope_range_rad_s")
ROUNDING_KEYS = ("sensor_rounding_m_s2", "sensor_rounding_rad_s")
"""Head keys of the steps a source rounds its readings to; kept among the others."""
KNOWN = tuple(f.name for f in fields(Metadata) if f.name != "other")


def metadata_from(found: dict[str, Any]) -> Metadata:
    """Sort head keys into those armarc knows and the rest, which is kept as it is."""
    known: dict[str, Any] = {}
    other: dict[str, Any] = {}
    for key, value in found.items():
        if key in _NUMBERS:
            number = _number(value)
            if number is not None:
                known[key] = number
                continue
        elif key in KNOWN and isinstance(value, str):
            known[key] = value
            continue
        if value is not None or key not in KNOWN:
            other[key] = value
    return Metadata(**known, other=other)


def metadata_keys(metadata: Metadata) -> dict[str, Any]:
    """Keys and values to write, unknown ones last, None left out."""
    keys = {name: getattr(metadata, name) for name in KNOWN}
    return {name: value for name, value in keys.items() if value is not None} | dict(metadata.other)


def rate_from(found: dict[str, Any]) -> float | None:
    """Sampling rate a file's head states, Hz."""
    for key, value in found.items():
        if re.search(
            r"(^|_)(rate|sampling_?rate|sample_?rate|freq|frequency|odr|fs)(_|$)", key
        ) or key.endswith("rate"):
            match = re.match(r"\s*+([0-9.]++)\s*+(k?hz)?\s*+$", str(value), re.IGNORECASE)
            number = _number(match[1]) if match else None
            if number and match:
                return number * (1000.0 if (match[2] or "").lower() == "khz" else 1.0)
    return None


def _number(value: Any) -> float | None:
    try:
        number = float(value)
    except (TypeError, ValueError, OverflowError):
        return None
    return number if abs(number) < float("inf") else None
