"""What follows a set of a live session: it is measured aside, logged with what was said about it, and handed on.

Measuring and the log run in a worker thread, hooks in another, so that the screen and the tones never wait for them
and no hook holds up the log. A set is logged before it is shown or handed on; what fails is said.
"""

from __future__ import annotations

import asyncio
import json
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field, replace
from datetime import date, datetime

from armarc.choices import Choices
from armarc.live.after_set import Hooks, LastTime, log_set, look_back, say_in_log
from armarc.live.both import lifted_together
from armarc.live.desk import Desk
from armarc.live.events import SetEnded
from armarc.live.offline import ChestPart, MeasuredLive, measure_live_set, turned_words
from armarc.log.labels import Labels
from armarc.quantities import read_date_time
from armarc.recording import Metadata
from armarc.reps.left_out import what_was_left_out
from armarc.tasks import Task


@dataclass(frozen=True, slots=True, kw_only=True)
class After:
    """What follows a set.

    Parameters
    ----------
    hook : list of str or None
    log : bool
    log_file : str or None
    labels : Labels
        What was said beforehand of every set: reps in reserve, a note, tags.
    """

    hook: list[str] | None = None
    log: bool = False
    log_file: str | None = None
    labels: Labels = field(default_factory=Labels)


@dataclass(slots=True)
class Aftermath:
    """Everything that is done with the sets of one session.

    Parameters
    ----------
    after : After
    tell : callable
        Takes a sentence for people.
    stamp_for : callable or None
        Wall-clock stamp of a signal time.
    """

    after: After
    tell: Callable[[str], None]
    stamp_for: Callable[[float], str | None] | None = None
    sets: list[MeasuredLive] = field(default_factory=list)
    unlogged: list[MeasuredLive] = field(default_factory=list)
    last: dict[str, LastTime] = field(default_factory=dict)
    _logged: dict[int, tuple[int, ...]] = field(default_factory=dict)
    _written: dict[int, Labels] = field(default_factory=dict)
    _doubts: set[str] = field(default_factory=set)
    _jobs: list[asyncio.Task[None]] = field(default_factory=list)
    _hooked: list[asyncio.Task[None]] = field(default_factory=list)
    _hooks: Hooks | None = None
    _worker: ThreadPoolExecutor = field(
        default_factory=lambda: ThreadPoolExecutor(max_workers=1, thread_name_prefix="measuring")
    )

    def __post_init__(self) -> None:
        if self.after.hook is not None:
            self._hooks = Hooks(self.after.hook)

    async def caught_up(self) -> None:
        """Wait for everything that was begun."""
        while self._jobs or self._hooked:
            await (self._jobs or self._hooked).pop(0)

    async def finish(self, desk: Callable[[], Desk]) -> None:
        """Wait for everything, sets that could not be logged once more."""
        while self._jobs:
            await self._jobs.pop(0)
        if self.unlogged:
            await self._log([], desk)
        await self.caught_up()

    def close(self) -> None:
        """Let go of the workers."""
        self._worker.shutdown(wait=True)
        if self._hooks is not None:
            self._hooks.close()

    def hurry(self) -> None:
        """End hooks at once; what is measured and logged is still waited for."""
        if self._hooks is not None:
            self._hooks.hurry()

    def take(
        self,
        event: SetEnded,
        choices: Choices,
        head: Metadata | None,
        chest: ChestPart | None,
        desk: Callable[[], Desk],
        shown: Callable[[MeasuredLive, str], None],
    ) -> None:
        """Begin with a set that has just ended.

        Parameters
        ----------
        event : SetEnded
        choices : Choices
            What it was lifted with, whatever comes next.
        head : Metadata or None
            Of the sensor.
        chest : ChestPart or None
            What a sensor on the chest sent meanwhile; None without one.
        desk : callable
            Gives the state of the desk at the moment it is asked.
        shown : callable
            Takes the measured set, and how it compares with the last time, once it is logged.
        """
        self._jobs = [job for job in self._jobs if not job.done()]
        last = self.last.get(choices.side)  # a task that waited for the set's end comes with another one
        self._jobs.append(asyncio.create_task(self._take(event, choices, head, chest, last, desk, shown)))

    async def _take(
        self,
        event: SetEnded,
        choices: Choices,
        head: Metadata | None,
        chest: ChestPart | None,
        last: LastTime | None,
        desk: Callable[[], Desk],
        shown: Callable[[MeasuredLive, str], None],
    ) -> None:
        stamp = self.stamp_for(event.raw_start_s) if self.stamp_for is not None else None
        loop = asyncio.get_running_loop()
        try:
            measured = await loop.run_in_executor(
                self._worker, lambda: measure_live_set(event, choices, stamp=stamp, head=head, chest=chest)
            )
            json.dumps(measured.record(), allow_nan=False)
        except Exception as error:
            # A fault here must not take the sets before and after with it.
            self.tell(f"set {event.set} could not be measured: {type(error).__name__}: {error}")
            return
        self.sets.append(measured)
        if self.after.log:
            await self._log([measured], desk)
        against = ""
        if measured.result is None:
            if not self.after.log:  # the log has said why
                self.tell(f"set {event.set} could not be measured: {measured.problem}")
        else:
            # What was assumed is said at the end; between sets there is always something that is no rep.
            handling = what_was_left_out(measured.result.left_out)
            self._tell_doubts(event.set, measured.result.warnings, {*choices.assumed, handling})
            one = measured.result.sets[0]
            if measured.turned:
                self.tell(f"set {event.set}: {turned_words(measured.turned)}")
            if last is not None:
                place = desk().place(desk().done[event.set], event.set)
                against = last.against(place, one.summary.reps, choices.load_kg, one.summary.record())
                self.tell(f"set {event.set} {against}")
        shown(measured, against)
        if self._hooks is not None:
            self._hooked.append(asyncio.create_task(self._hook(self._hooks, measured)))

    def _tell_doubts(self, number: int, warnings: Sequence[str], unsaid: set[str]) -> None:
        """Say what measuring doubts, each sentence once a session."""
        for said in warnings:
            if said not in self._doubts | unsaid:
                self._doubts.add(said)
                self.tell(said if f"set {number}" in said else f"set {number}: {said}")

    async def _hook(self, hooks: Hooks, measured: MeasuredLive) -> None:
        problem = await asyncio.wrap_future(hooks.submit(measured))
        if problem:
            self.tell(problem)

    def partner(self, number: int) -> int | None:
        """The set of the other arm that was lifted at the same time as a measured one."""
        mine = next((one for one in self.sets if one.number == number), None)
        found = None if mine is None else lifted_together(mine, self.sets)
        return None if found is None else found.number

    def look_back(self, task: Task, time_s: float, found: Callable[[LastTime | None], None]) -> None:
        """Find what the lifter did the last time they did the same."""
        if self.after.log:
            self._jobs.append(asyncio.create_task(self._look_back(task, time_s, found)))

    async def _look_back(self, task: Task, time_s: float, found: Callable[[LastTime | None], None]) -> None:
        stamp = None if self.stamp_for is None else read_date_time(self.stamp_for(time_s) or "")
        today: date = (stamp or datetime.now()).date()
        loop = asyncio.get_running_loop()
        found(await loop.run_in_executor(self._worker, look_back, task, today, self.after.log_file))

    def _labels(self, number: int, desk: Desk) -> Labels:
        """Who lifted a set, and what was said about it."""
        task, said = desk.done[number], desk.said.get(number, Labels())
        return said.over(replace(self.after.labels, lifter=task.lifter, variant=task.variant))

    async def _log(self, fresh: list[MeasuredLive], desk: Callable[[], Desk]) -> None:
        """Log sets, those first that could not be logged before."""
        waiting, self.unlogged = [*self.unlogged, *fresh], []
        loop, where = asyncio.get_running_loop(), self.after.log_file
        for measured in waiting:
            labels = self._labels(measured.number, desk())
            said, ids = await loop.run_in_executor(self._worker, log_set, measured, where, labels)
            self.tell(said)
            if ids:
                self._logged[measured.number], self._written[measured.number] = ids, labels
                await self._write_said(measured.number, desk)  # what was said while it was being written
            elif measured.result is not None:
                self.unlogged.append(measured)

    def write_said(self, number: int, desk: Callable[[], Desk]) -> None:
        """Bring what was said about a set into the log; one that is not logged yet takes it along."""
        self._jobs.append(asyncio.create_task(self._write_said(number, desk)))

    async def _write_said(self, number: int, desk: Callable[[], Desk]) -> None:
        labels = self._labels(number, desk())
        if number not in self._logged or labels == self._written[number]:
            return
        self._written[number] = labels
        loop = asyncio.get_running_loop()
        ids, where = self._logged[number], self.after.log_file
        problem = await loop.run_in_executor(self._worker, say_in_log, ids, labels, where)
        if problem:
            self.tell(problem)
