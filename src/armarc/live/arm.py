"""One arm of a live session: its sensor, its engine, and what is shown of it; and a sensor on the chest beside it."""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from statistics import median

import numpy as np

from armarc.choices import Choices
from armarc.known_sensor import KnownSensor
from armarc.live.engine import Engine
from armarc.live.events import EngineEvent, SetEnded
from armarc.live.offline import ChestPart
from armarc.live.scoreboard import Scoreboard
from armarc.live.source import Samples
from armarc.live.stop_mark import StopMark
from armarc.live.stretch import LONGEST_SET_S, raw_recording
from armarc.recording import Metadata
from armarc.recording.captures import CHEST, FORWARD, PLACE
from armarc.reps import Rep
from armarc.tasks import Task

BESIDE_S = 2.0
"""What is kept on either side of a set's samples."""


def trunk_words(reps: Sequence[Rep]) -> str:
    """What the chest's sensor saw in a measured set, for people; empty where it saw nothing."""
    seen = {rep.rep: math.degrees(rep.trunk_travel_rad) for rep in reps if rep.trunk_travel_rad is not None}
    if not seen:
        return ""
    most = max(seen, key=lambda rep: seen[rep])
    return f"trunk moved {median(seen.values()):.0f}° on the way up, {seen[most]:.0f}° in rep {most}"


@dataclass(slots=True)
class Chest:
    """The last minutes of a chest sensor.

    Parameters
    ----------
    forward : str
        Its axis that faces away from the breastbone.
    head : Metadata
        Of the sensor.
    rate_hz : float or None, Hz
        None until it is known.
    """

    forward: str = "+z"
    head: Metadata = field(default_factory=Metadata)
    rate_hz: float | None = None
    _packets: deque[Samples] = field(default_factory=deque)

    def take(self, item: Samples) -> None:
        """Keep samples as long as a set may want them."""
        self._packets.append(item)
        while self._packets[0].time_s[-1] < item.time_s[-1] - LONGEST_SET_S - BESIDE_S:
            self._packets.popleft()

    def during(self, event: SetEnded) -> ChestPart:
        """What belongs to a set, on the session's clock; without a recording where there is next to nothing."""
        start_s, end_s = event.raw_start_s, event.raw_start_s + event.raw.duration_s
        packets = [one for one in self._packets if one.time_s[-1] >= start_s - BESIDE_S]
        if self.rate_hz is None or not packets:
            return ChestPart(recording=None)
        time_s = np.concatenate([one.time_s for one in packets])
        inside = (time_s >= start_s - BESIDE_S) & (time_s <= end_s + BESIDE_S)
        inside[1:] &= np.diff(time_s) > 0
        if np.count_nonzero(inside) < self.rate_hz:
            return ChestPart(recording=None)
        recording = raw_recording(
            time_s[inside],
            np.concatenate([one.specific_force_m_s2 for one in packets])[inside],
            np.concatenate([one.angular_velocity_rad_s for one in packets])[inside],
            self.rate_hz,
            Metadata(
                sensor=self.head.sensor,
                other=self.head.other | {PLACE: CHEST, FORWARD: self.forward},
            ),
        )
        return ChestPart(recording=recording, forward=self.forward)


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
