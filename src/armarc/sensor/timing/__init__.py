"""From packet counters and device clocks to one host clock, without losing or doubling a frame."""

from armarc.sensor.timing.timeline import ClockFit, LowerEnvelope, Timeline
from armarc.sensor.timing.unwrap import Placed, Unwrapper

__all__ = ["ClockFit", "LowerEnvelope", "Placed", "Timeline", "Unwrapper"]
