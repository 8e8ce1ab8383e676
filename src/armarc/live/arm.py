"""One arm of a live session: its sensor, its engine, and what is shown of it."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace

from armarc.choices import Choices
from armarc.known_sensor import KnownSensor
from armarc.live.engine import Engine
from armarc.live.events import EngineEvent
from armarc.live.scoreboard import Scoreboard
from armarc.live.source import Samples
from armarc.live.stop_mark import StopMark
from armarc.recording import Metadata
from armarc.tasks import Task

KnownFor = Callable[[Metadata, str], KnownSensor]
"""What is kept of the sensor with a head, worn on a side."""


@dataclass(slots=True)
class Arm:
    """What belongs to one wrist.

    Parameters
    ----------
    choices : Choices
        What is being lifted with it.
    scoreboard : Scoreboard
    known_for : callable or None
        Its calibration is applied as the samples come in.
    head : Metadata or None
        Of the sensor; of a recording that is played, already corrected.
    """

    choices: Choices
    scoreboard: Scoreboard
    known_for: KnownFor | None = None
    head: Metadata | None = None
    engine: Engine | None = None
    mark: StopMark = field(default_factory=StopMark)
    _known: KnownSensor | None = None
    _rate_hz: float = 0.0

    def meet(self, head: Metadata | None) -> str:
        """Take up what is kept of the sensor that has just come up; what to say of it, or nothing."""
        self.head = head
        if head is None or self.known_for is None:
            return ""
        self._know(head)
        calibration = None if self._known is None else self._known.calibration
        return "" if calibration is None else f"corrected with the calibration made at {calibration.made_at}"

    def _know(self, head: Metadata) -> None:
        assert self.known_for is not None
        self._known = self.known_for(head, self.choices.side)
        self.choices = replace(self.choices, **self._known.options())

    def begin(self, rate_hz: float) -> None:
        """Samples are about to come."""
        self.engine, self._rate_hz = Engine(self.choices, rate_hz), rate_hz

    def take_up(self, choices: Choices, task: Task, *, anew: bool) -> None:
        """Another task; ``anew`` looks at the arm as if for the first time: hold still, then ready."""
        self.choices = choices
        if self._known is not None and self.head is not None:
            self._know(self.head)
        self.scoreboard.take(self.choices, task.lifter)
        if anew and self.engine is not None:
            self.begin(self._rate_hz)
            self.scoreboard.ready = False

    def begin_task(self, task: Task) -> None:
        """The marks of a task."""
        self.mark = StopMark(
            velocity_loss_pct=task.stop_velocity_loss_pct, rom_loss_pct=task.stop_rom_loss_pct
        )

    def feed(self, item: Samples) -> Iterator[list[EngineEvent]]:
        """What each sample brings, as soon as it is known; the scoreboard's trace goes along."""
        engine = self.engine
        if engine is None:
            return
        force, omega = item.specific_force_m_s2, item.angular_velocity_rad_s
        if self._known is not None:
            force, omega = self._known.corrected_samples(force, omega)
        forces, rates = force.tolist(), omega.tolist()
        for t, f, w in zip(item.time_s.tolist(), forces, rates, strict=True):
            yield engine.feed(t, (f[0], f[1], f[2]), (w[0], w[1], w[2]))
            self.scoreboard.tick(engine.time_s, engine.shown_rad, engine.bottom_rad)

    @property
    def lifted(self) -> int:
        """Reps of the running set that count or are under way."""
        return 0 if self.engine is None else self.engine.reps + self.engine.moving

    @property
    def set_head(self) -> Metadata | None:
        """What the raw samples of a set say of their sensor."""
        return self.head if self.head is None or self._known is None else self._known.head(self.head)
