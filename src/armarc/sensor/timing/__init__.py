"""From packet counters and device clocks to one host clock, without losing or doubling a frame."""

from armarc.sensor.timing.timeline import ClockFit, LowerEnvelope, Timeline, fit_clock
from armarc.sensor.timing.unwrap import Placed, Unwrapper

__all__ = ["ClockFit", "LowerEnvelope", "Placed", "Timeline", "Unwrapper", "fit_clock"]
