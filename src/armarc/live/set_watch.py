"""Ends a recording by itself once a set has been lifted and rested from."""

from __future__ import annotations

from armarc.choices import Choices
from armarc.live.engine import Engine
from armarc.live.events import RepEnded, RepWithdrawn, SetEnded
from armarc.recording import FloatArray


class SetEndWatch:
    """Watches a stream for the end of a set.

    Parameters
    ----------
    choices : Choices
        ``choices.exercise.rest_s`` is the rest after which a set counts as over.
    rate_hz : float, Hz
    """

    def __init__(self, choices: Choices, rate_hz: float) -> None:
        self._engine = Engine(choices, rate_hz)
        self.reps = 0
        self.ended: SetEnded | None = None

    def feed(
        self, time_s: FloatArray, specific_force_m_s2: FloatArray, angular_velocity_rad_s: FloatArray
    ) -> bool:
        """Take samples, shapes (m,), (m, 3) and (m, 3); True once a set has ended by rest."""
        for event in self._engine.feed_many(time_s, specific_force_m_s2, angular_velocity_rad_s):
            if isinstance(event, RepEnded | RepWithdrawn):
                self.reps = event.reps
            elif isinstance(event, SetEnded) and event.reason == "rest" and self.ended is None:
                self.ended = event
        return self.ended is not None
