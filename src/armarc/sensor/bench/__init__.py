"""Checks of the sensor itself: noise, bias, drift, rate and losses."""

from armarc.sensor.bench.allan import STATISTICS, Deviation, averaging_factors, deviation
from armarc.sensor.bench.check import UNCALIBRATED_SCALE_SE, check_sensor
from armarc.sensor.bench.noise import NoiseTerms, noise_terms
from armarc.sensor.bench.still import HANGING_ARM, ON_A_TABLE, StillLimits, still_stretches
from armarc.sensor.bench.stream import StreamFacts, stream_facts
from armarc.sensor.bench.types import AxisCheck, SensorCheck, StillFacts
from armarc.sensor.bench.verdict import PART_CLASSES, class_of

__all__ = [
    "HANGING_ARM",
    "ON_A_TABLE",
    "PART_CLASSES",
    "STATISTICS",
    "UNCALIBRATED_SCALE_SE",
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
