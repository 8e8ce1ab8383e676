"""A live session: the source feeds the engine, the engine's events go to every face, finished sets are measured aside.

What follows a set is `aftermath`'s. What fails besides the source (a face, the raw file, a hook, the log) is said, and
everything else goes on.
"""

from __future__ import annotations

import contextlib
from collections.abc import AsyncIterator, Callable
from dataclasses import dataclass, field, replace
from functools import partial
from typing import Any, Protocol

from armarc.choices import Choices
from armarc.errors import ArmarcError, UsageError
from armarc.known_sensor import KnownSensor
from armarc.live.aftermath import After, Aftermath
from armarc.live.board import Board, board_for
from armarc.live.desk import Desk, Order, Switch, said_words
from armarc.live.engine import Engine
from armarc.live.events import SCHEMA, EngineEvent, SetEnded, event_record
from armarc.live.gym import Gym
from armarc.live.last_time import LastTime
from armarc.live.offline import MeasuredLive
from armarc.live.source import Item, LinkNews, Samples
from armarc.live.stop_mark import CAVEAT, StopMark
from armarc.log.labels import SAID_AFTER
from armarc.log.pain import CAUTION
from armarc.recording import Metadata, RecordingWriter
from armarc.tasks import Task


class Face(Protocol):
    """Something that shows, sounds or sends the session; `name` is what people call it."""

    name: str

    def hear(self, record: dict[str, Any], event: EngineEvent | None) -> None:
        """An event, as its JSON record and, when it came from the engine, as itself."""

    def refresh(self, board: Board) -> None:
        """New samples have arrived; called at every packet."""

    def close(self) -> None:
        """The session is over."""


@dataclass(slots=True)
class Session:
    """One run of ``armarc live``.

    Parameters
    ----------
    choices : Choices
    faces : list of Face
    after : After
    tell : callable
        Takes a sentence for people.
    writer_for : callable or None
        Opens the file of the raw stream once its rate and its sensor are known.
    known_for : callable or None
        What is kept of the sensor with this head; its calibration is applied as the samples come in.
    head : Metadata or None
        Of a recording that is played, already corrected.
    stamp_for : callable or None
        Wall-clock stamp of a signal time, for the metadata of a set.
    gym : Gym or None
        Tasks that may be switched between sets; None keeps to one.
    in_step : bool
        Wait for each set to be measured before going on: for a recording that is played as fast as it can be,
        so that the events always come in the same order.
    """

    choices: Choices
    faces: list[Face]
    after: After
    tell: Callable[[str], None]
    writer_for: Callable[[float, Metadata], RecordingWriter] | None = None
    known_for: Callable[[Metadata], KnownSensor] | None = None
    head: Metadata | None = None
    stamp_for: Callable[[float], str | None] | None = None
    in_step: bool = False
    gym: Gym | None = None
    board: Board = field(init=False)
    desk: Desk = field(init=False)
    samples: int = 0
    _engine: Engine | None = None
    _writer: RecordingWriter | None = None
    _known: KnownSensor | None = None
    _rate_hz: float = 0.0
    _aftermath: Aftermath = field(init=False)
    _mark: StopMark = field(default_factory=StopMark)
    _sets_before: int = 0
    _in_force: Task = field(init=False)

    def __post_init__(self) -> None:
        own = Task(exercise=self.choices.exercise.key, side=self.choices.side, load_kg=self.choices.load_kg)
        self._in_force = own if self.gym is None else self.gym.task
        self.desk = Desk(task=self._in_force)
        self.board = board_for(self.choices)
        self.board.lifter = self._in_force.lifter or ""
        self.board.logged = self.after.log
        self._aftermath = Aftermath(self.after, self.tell, self.stamp_for)

    async def run(self, source: AsyncIterator[Item], rate_hz: float | None) -> None:
        """Live until the source ends; then finish the running set and wait for what is still being measured.

        Raises
        ------
        SensorError
            The source failed; everything before it is kept.
        """
        self._send(self._opening(), None)
        if rate_hz is not None:
            self._begin(rate_hz)
        self._begin_task()
        try:
            try:
                async for item in source:
                    if isinstance(item, Samples):
                        self._take(item)
                        if self.in_step:
                            await self._aftermath.caught_up()
                    else:
                        self._news(item)
            finally:
                if self._engine is not None:
                    self._hear(self._engine.finish())
                    self.refresh()
                self._keep(lambda writer: writer.close())
                await self._aftermath.finish(lambda: self.desk)
        finally:
            self._aftermath.close()
            for face in list(self.faces):
                self._show(face, face.close)

    @property
    def sets(self) -> list[MeasuredLive]:
        """The sets that are measured."""
        return self._aftermath.sets

    @property
    def lifters(self) -> tuple[str, ...]:
        """Who may be switched to by a number or a tap: those of this session first."""
        here = [one.lifter for one in (self.desk.next_task, *self.desk.done.values()) if one.lifter]
        return tuple(dict.fromkeys([*here, *(self.gym.lifters if self.gym else ())]))

    @property
    def exercises(self) -> tuple[str, ...]:
        """What may be switched to by a number or a tap."""
        here = [one.exercise for one in (self.desk.next_task, *self.desk.done.values()) if one.exercise]
        return tuple(dict.fromkeys([*here, *(self.gym.exercises if self.gym else ())]))

    def hurry(self) -> None:
        """End hooks at once; what is measured and logged is still waited for."""
        self._aftermath.hurry()

    def _opening(self) -> dict[str, Any]:
        board = self.board
        return {
            "schema": SCHEMA,
            "event": "session",
            "time_s": 0.0,
            **self._task_record(),
            "band_deg_s": None if board.band_deg_s is None else [round(v, 3) for v in board.band_deg_s],
            "gate_deg": [round(v, 3) for v in board.gate_deg],
            "rest_s": self.choices.exercise.rest_s,
        }

    def _task_record(self) -> dict[str, Any]:
        task, choices = self.desk.task, self.choices
        return {
            "lifter": task.lifter,
            "exercise": choices.exercise.key,
            "variant": task.variant or "",
            "side": choices.side,
            "load_kg": choices.load_kg,
            "resistance": list(choices.resistance or ()),
        }

    def order(self, order: Order) -> None:
        """Take an order between sets: another task from the next set on, or something said about a set that is done.

        Raises
        ------
        UsageError
            It cannot be done; nothing has changed.
        """
        self.board.answer = ""
        if isinstance(order, Switch):
            if self.gym is None:
                raise UsageError("this session keeps to one task", "start another")
            desk = self.desk.switched(order, self.gym.past)
            self.gym.choose(desk.next_task)  # refuses what cannot be measured before anything changes
            self.desk = desk
            self._settle()
        else:
            if not self.after.log:
                raise UsageError("nothing is kept without the training log", "start with --log")
            self.desk = self.desk.with_said(order)
            newest = max(self.desk.done)
            number = order.set or newest
            said = self.desk.said[number]
            self._aftermath.write_said(number, lambda: self.desk)
            self._tell_faces("set said", set=number, **{name: getattr(said, name) for name in SAID_AFTER})
            if number == newest:
                self.board.said = said_words(said)
                self.board.caution = CAUTION if said.pain else ""
        self.refresh()

    def _tell_faces(self, event: str, **more: Any) -> None:
        time_s = round(self.board.time_s, 4)
        self._send({"schema": SCHEMA, "event": event, "time_s": time_s, **more}, None)

    def _settle(self) -> None:
        """Take up the task of the desk where it has become another."""
        waiting = self.desk.waiting
        self.board.waiting = "" if waiting is None else waiting.words()
        if self.board.menu:
            self.board.menu |= {"lifters": self.lifters[:12], "task": self.desk.next_task}
        if self.desk.task != self._in_force:
            self._change_task(self.desk.task, self._in_force)

    def _change_task(self, task: Task, before: Task) -> None:
        """Another task. Another arm, or another lift, is looked at anew: hold still, then ready."""
        assert self.gym is not None
        self._in_force, self.choices = task, self.gym.choose(task)
        if self._known is not None and self.known_for is not None and self.head is not None:
            self._known = self.known_for(self.head)
            self.choices = replace(self.choices, **self._known.options())
        self.board.take(self.choices, task.lifter)
        anew = (task.lifter, task.exercise, task.side) != (before.lifter, before.exercise, before.side)
        if anew and self._engine is not None:
            self._sets_before += self._engine.sets
            self._engine = Engine(self.choices, self._rate_hz)
            self.board.ready = False
        record = {"event": "task", "time_s": round(self.board.time_s, 4), **self._task_record()}
        self._keep(lambda writer: writer.event(record))
        self._send({"schema": SCHEMA, **record}, None)
        self._begin_task()

    def _begin_task(self) -> None:
        """What comes with a task: its marks, the last time, and that it is the one to begin with next time."""
        task = self._in_force
        self._mark = StopMark(
            velocity_loss_pct=task.stop_velocity_loss_pct, rom_loss_pct=task.stop_rom_loss_pct
        )
        if self.gym is not None:
            self.gym.remember(task)
            self.board.menu = {"lifters": self.lifters[:12], "exercises": self.exercises, "task": task}
        self.board.last_time = ""
        self._aftermath.look_back(task, self.board.time_s, lambda found: self._looked_back(task, found))

    def _looked_back(self, task: Task, found: LastTime | None) -> None:
        if found is not None and task == self._in_force:
            self._aftermath.last = found
            self.board.last_time = found.words(self.desk.place(task) + 1)
            self.refresh()

    def _begin(self, rate_hz: float) -> None:
        if self._engine is None:
            self._engine, self._rate_hz = Engine(self.choices, rate_hz), rate_hz
            if self.writer_for is not None:
                self._writer = self.writer_for(rate_hz, self.head or Metadata())

    def _take(self, item: Samples) -> None:
        if self._engine is None:
            return
        self._keep(
            lambda writer: writer.append(item.time_s, item.specific_force_m_s2, item.angular_velocity_rad_s)
        )
        self._keep(lambda writer: writer.flush())
        self.samples += len(item.time_s)
        engine = self._engine
        force, omega = item.specific_force_m_s2, item.angular_velocity_rad_s
        if self._known is not None:
            force, omega = self._known.corrected_samples(force, omega)
        forces, rates = force.tolist(), omega.tolist()
        for t, f, w in zip(item.time_s.tolist(), forces, rates, strict=True):
            self._hear(engine.feed(t, (f[0], f[1], f[2]), (w[0], w[1], w[2])))
            self.board.tick(engine.time_s, engine.shown_rad, engine.bottom_rad)
        self.desk = self.desk.counted(engine.reps + engine.moving)
        self._settle()
        self.refresh()

    def _keep(self, what: Callable[[RecordingWriter], None]) -> None:
        """Write into the raw file; a disk that is full or gone ends the file, not the session."""
        if self._writer is None:
            return
        try:
            what(self._writer)
        except (ArmarcError, OSError) as error:
            writer, self._writer = self._writer, None
            with contextlib.suppress(ArmarcError, OSError):
                writer.close()
            at = "" if self._engine is None else f" at {self._engine.time_s:.0f} s"
            self.board.notice = "the raw stream is not being written"
            self.tell(f"the raw stream ended{at}: {error}; counting and the log go on")

    def refresh(self) -> None:
        """Let every face show the board as it is."""
        for face in list(self.faces):
            self._show(face, partial(face.refresh, self.board))

    def _hear(self, events: list[EngineEvent]) -> None:
        for event in events:
            if isinstance(event, SetEnded):
                event = replace(event, set=event.set + self._sets_before)
            self.board.hear(event)
            self._send(event_record(event), event)
            self._watch(event)
            if isinstance(event, SetEnded):
                self.desk = self.desk.ended(event.set)
                head = self.head
                if head is not None and self._known is not None:
                    head = self._known.head(head)
                self._aftermath.take(event, self.choices, head, lambda: self.desk, self._measured)
                if self._aftermath.last is not None:
                    self.board.last_time = self._aftermath.last.words(self.desk.place(self._in_force) + 1)

    def _measured(self, measured: MeasuredLive, against: str) -> None:
        if measured.result is not None:
            self.board.measured(measured.number, measured.result["sets"][0]["summary"])
            if measured.number == max(self.desk.done):
                self.board.today = against
        self._send(measured.record(), None)
        self.refresh()

    def _watch(self, event: EngineEvent) -> None:
        """Tell when the lifter's own mark is reached."""
        self._mark, reached = self._mark.step(event)
        for one in reached:
            self.board.mark = one.words()
            self._tell_faces(
                "mark reached",
                rep=one.rep,
                what=one.what,
                loss_pct=round(one.loss_pct, 1),
                mark_pct=one.mark_pct,
                caveat=CAVEAT,
            )

    def _send(self, record: dict[str, Any], event: EngineEvent | None) -> None:
        for face in list(self.faces):
            self._show(face, partial(face.hear, record, event))

    def _show(self, face: Face, what: Callable[[], None]) -> None:
        """Let a face do something; one that fails is dropped, and capture, counting and log go on."""
        try:
            what()
        except Exception as error:
            self.faces.remove(face)
            reason = getattr(error, "strerror", None) or error
            self.tell(f"{face.name} is gone: {reason}; the session goes on")
            with contextlib.suppress(Exception):
                face.close()

    def _news(self, news: LinkNews) -> None:
        board = self.board
        if news.battery_pct is not None or news.battery_low:
            board.battery_pct, board.battery_low = news.battery_pct, news.battery_low
        if news.state in ("up", "up again") and news.rate_hz:
            if self._engine is None:
                self._meet(news.head)
            self._begin(news.rate_hz)
        board.link = (
            news.text if news.state in ("lost", "trouble") else "" if "up" in news.state else board.link
        )
        if news.state in ("lost", "up again", "loss"):
            line = {"event": f"link {news.state}", "time_s": news.time_s, "text": news.text}
            self._keep(lambda writer: writer.event(line))
        record = {
            "schema": SCHEMA,
            "event": "link",
            "time_s": round(news.time_s, 4),
            "state": news.state,
            "text": news.text,
            "battery_pct": news.battery_pct,
        }
        self._send(record, None)
        self.refresh()

    def _meet(self, head: Metadata | None) -> None:
        """Take up what is kept of the sensor that has just come up."""
        self.head = head
        for words in () if head is None else head.other.get("sensor_habits", ()):
            self.tell(words)
        if head is not None and self.known_for is not None:
            self._known = self.known_for(head)
            self.choices = replace(self.choices, **self._known.options())
            if self._known.calibration is not None:
                self.tell(f"corrected with the calibration made at {self._known.calibration.made_at}")
