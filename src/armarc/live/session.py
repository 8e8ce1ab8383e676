"""A live session: the source feeds the engine, the engine's events go to every face, finished sets are measured aside.

Measuring and the log run in a worker thread, hooks in another, so that the screen and the tones never wait for them
and no hook holds up the log. A set is logged before it is shown or handed on. What fails besides the source (a face,
the raw file, a hook, the log) is said, and everything else goes on.
"""

from __future__ import annotations

import asyncio
import contextlib
import json
from collections.abc import AsyncIterator, Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field, replace
from functools import partial
from typing import Any, Protocol

from armarc.choices import Choices
from armarc.errors import ArmarcError
from armarc.known_sensor import KnownSensor
from armarc.live.after_set import Hooks, log_set
from armarc.live.board import Board, board_for
from armarc.live.engine import Engine
from armarc.live.events import SCHEMA, EngineEvent, SetEnded, event_record
from armarc.live.offline import MeasuredLive, measure_live_set, turned_verdicts
from armarc.live.source import Item, LinkNews, Samples
from armarc.recording import Metadata, RecordingWriter


class Face(Protocol):
    """Something that shows, sounds or sends the session; `name` is what people call it."""

    name: str

    def hear(self, record: dict[str, Any], event: EngineEvent | None) -> None:
        """An event, as its JSON record and, when it came from the engine, as itself."""

    def refresh(self, board: Board) -> None:
        """New samples have arrived; called at every packet."""

    def close(self) -> None:
        """The session is over."""


@dataclass(frozen=True, slots=True, kw_only=True)
class After:
    """What follows a set.

    Parameters
    ----------
    hook : list of str or None
    log : bool
    log_file : str or None
    """

    hook: list[str] | None = None
    log: bool = False
    log_file: str | None = None


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
    board: Board = field(init=False)
    sets: list[MeasuredLive] = field(default_factory=list)
    samples: int = 0
    _engine: Engine | None = None
    _writer: RecordingWriter | None = None
    _known: KnownSensor | None = None
    _jobs: list[asyncio.Task[None]] = field(default_factory=list)
    _hooks: Hooks | None = None
    _hooked: list[asyncio.Task[None]] = field(default_factory=list)
    _unlogged: list[MeasuredLive] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.board = board_for(self.choices)

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
        worker = ThreadPoolExecutor(max_workers=1, thread_name_prefix="measuring")
        if self.after.hook is not None:
            self._hooks = Hooks(self.after.hook)
        try:
            try:
                async for item in source:
                    if isinstance(item, Samples):
                        self._take(item, worker)
                        while self.in_step and (self._jobs or self._hooked):
                            await (self._jobs or self._hooked).pop(0)
                    else:
                        self._news(item)
            finally:
                if self._engine is not None:
                    self._hear(self._engine.finish(), worker)
                    self._refresh()
                self._keep(lambda writer: writer.close())
                while self._jobs:
                    await self._jobs.pop(0)
                if self._unlogged:
                    await self._log([], worker)
                while self._hooked:
                    await self._hooked.pop(0)
        finally:
            worker.shutdown(wait=True)
            if self._hooks is not None:
                self._hooks.close()
            for face in list(self.faces):
                self._show(face, face.close)

    def hurry(self) -> None:
        """End hooks at once; what is measured and logged is still waited for."""
        if self._hooks is not None:
            self._hooks.hurry()

    def _opening(self) -> dict[str, Any]:
        board = self.board
        return {
            "schema": SCHEMA,
            "event": "session",
            "time_s": 0.0,
            "exercise": self.choices.exercise.key,
            "side": self.choices.side,
            "load_kg": self.choices.load_kg,
            "band_deg_s": None if board.band_deg_s is None else [round(v, 3) for v in board.band_deg_s],
            "gate_deg": [round(v, 3) for v in board.gate_deg],
            "rest_s": self.choices.exercise.rest_s,
        }

    def _begin(self, rate_hz: float) -> None:
        if self._engine is None:
            self._engine = Engine(self.choices, rate_hz)
            if self.writer_for is not None:
                self._writer = self.writer_for(rate_hz, self.head or Metadata())

    def _take(self, item: Samples, worker: ThreadPoolExecutor) -> None:
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
            self._hear(engine.feed(t, (f[0], f[1], f[2]), (w[0], w[1], w[2])), worker)
            self.board.tick(engine.time_s, engine.shown_rad, engine.bottom_rad)
        self._refresh()

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

    def _refresh(self) -> None:
        for face in list(self.faces):
            self._show(face, partial(face.refresh, self.board))

    def _hear(self, events: list[EngineEvent], worker: ThreadPoolExecutor) -> None:
        for event in events:
            self.board.hear(event)
            self._send(event_record(event), event)
            if isinstance(event, SetEnded):
                self._jobs = [job for job in self._jobs if not job.done()]
                self._jobs.append(asyncio.create_task(self._afterwards(event, worker)))

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
        self._refresh()

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

    async def _afterwards(self, event: SetEnded, worker: ThreadPoolExecutor) -> None:
        loop = asyncio.get_running_loop()
        stamp = self.stamp_for(event.raw_start_s) if self.stamp_for is not None else None
        head = self.head
        if head is not None and self._known is not None:
            head = self._known.head(head)
        try:
            measured = await loop.run_in_executor(
                worker, lambda: measure_live_set(event, self.choices, stamp=stamp, head=head)
            )
            record = measured.record()
            json.dumps(record, allow_nan=False)
        except Exception as error:
            # A fault here must not take the sets before and after with it.
            self.tell(f"set {event.set} could not be measured: {type(error).__name__}: {error}")
            return
        self.sets.append(measured)
        if self.after.log:
            await self._log([measured], worker)
        if measured.result is not None:
            self.board.measured(event.set, measured.result["sets"][0]["summary"])
            turned = turned_verdicts(measured.result, self.choices.exercise.band)
            if turned:
                self.tell(f"set {event.set}: {turned}")
        self._send(record, None)
        self._refresh()
        if self._hooks is not None:
            self._hooked.append(asyncio.create_task(self._hook(self._hooks, measured)))

    async def _hook(self, hooks: Hooks, measured: MeasuredLive) -> None:
        problem = await asyncio.wrap_future(hooks.submit(measured))
        if problem:
            self.tell(problem)

    async def _log(self, fresh: list[MeasuredLive], worker: ThreadPoolExecutor) -> None:
        """Log sets, those first that could not be logged before."""
        waiting, self._unlogged = [*self._unlogged, *fresh], []
        for measured in waiting:
            loop = asyncio.get_running_loop()
            said, logged = await loop.run_in_executor(worker, log_set, measured, self.after.log_file)
            self.tell(said)
            if not logged and measured.result is not None:
                self._unlogged.append(measured)
