"""Checks of the sensor itself: noise, bias, drift, rate and losses.

Names are loaded when first used: most commands need none of them.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from armarc.sensor.bench.allan import STATISTICS, Deviation, averaging_factors, deviation
    from armarc.sensor.bench.check import check_sensor
    from armarc.sensor.bench.noise import NoiseTerms, noise_terms
    from armarc.sensor.bench.still import HANGING_ARM, ON_A_TABLE, StillLimits, still_stretches
    from armarc.sensor.bench.stream import StreamFacts, stream_facts
    from armarc.sensor.bench.types import AxisCheck, SensorCheck, StillFacts
    from armarc.sensor.bench.verdict import PART_CLASSES, class_of

_HOMES = {
    "AxisCheck": "types",
    "Deviation": "allan",
    "HANGING_ARM": "still",
    "NoiseTerms": "noise",
    "ON_A_TABLE": "still",
    "PART_CLASSES": "verdict",
    "STATISTICS": "allan",
    "SensorCheck": "types",
    "StillFacts": "types",
    "StillLimits": "still",
    "StreamFacts": "stream",
    "averaging_factors": "allan",
    "check_sensor": "check",
    "class_of": "verdict",
    "deviation": "allan",
    "noise_terms": "noise",
    "still_stretches": "still",
    "stream_facts": "stream",
}

__all__ = [
    "HANGING_ARM",
    "ON_A_TABLE",
    "PART_CLASSES",
    "STATISTICS",
    "AxisCheck",
    "Deviation",
    "NoiseTerms",
    "SensorCheck",
    "StillFacts",
    "StillLimits",
    "StreamFacts",
    "averaging_factors",
    "check_sensor",
    "class_of",
    "deviation",
    "noise_terms",
    "still_stretches",
    "stream_facts",
]


def __getattr__(name: str) -> Any:
    if name in _HOMES:
        return getattr(import_module(f"armarc.sensor.bench.{_HOMES[name]}"), name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
