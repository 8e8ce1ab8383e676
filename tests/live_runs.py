"""Synthetic recordings run through the live engine, shared by the live tests."""

from __future__ import annotations

from functools import cache
from typing import Any

from armarc.choices import Choices, choose
from armarc.live.engine import Engine
from armarc.live.events import EngineEvent, SetEnded
from armarc.options import MeasuringOptions
from armarc.recording import Recording
from armarc.simulate import SimulationOptions, Truth, plan_session, simulate_session


@cache
def recording(seed: int = 1, **simulated_as: Any) -> tuple[Recording, Truth]:
    """A synthetic recording with its truth."""
    return simulate_session(plan_session(SimulationOptions(**simulated_as), seed), seed)


def choices_for(made: Recording, **options: Any) -> Choices:
    """What a recording is measured with."""
    return choose(made.metadata, MeasuringOptions(**options))


def run(made: Recording, **options: Any) -> list[EngineEvent]:
    """All events of a recording."""
    engine = Engine(choices_for(made, **options), made.rate_hz)
    events = engine.feed_many(made.time_s, made.specific_force_m_s2, made.angular_velocity_rad_s)
    return events + engine.finish()


def sets_in(events: list[EngineEvent]) -> list[SetEnded]:
    """The finished sets among events."""
    return [event for event in events if isinstance(event, SetEnded)]
