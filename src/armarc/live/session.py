"""A live session: the source feeds the engines, their events go to every face, finished sets are measured aside.

A sensor on each wrist makes two arms, each with an engine and a scoreboard of its own; a sensor on the chest is kept
for measuring the sets.

What follows a set is `aftermath`'s. What fails besides the source (a face, the raw file, a hook, the log) is said, and
everything else goes on.
"""

from __future__ import annotations

from collections.abc import AsyncIterator, Callable, Sequence
from dataclasses import dataclass, field, replace
from functools import partial

from armarc.choices import Choices
from armarc.errors import UsageError
from armarc.live.after_set import LastTime
from armarc.live.aftermath import After, Aftermath
from armarc.live.arm import Arm, Chest, KnownFor, trunk_words
from armarc.live.both import compared, side_of
from armarc.live.desk import Desk, Gym, Order, Switch, said_words
from armarc.live.events import EngineEvent, SetEnded, event_record
from armarc.live.faces import Audience, Face
from armarc.live.offline import MeasuredLive, turned_words
from armarc.live.scoreboard import (
    Scoreboard,
    link_record,
    mark_record,
    opening_record,
    scoreboard_for,
    session_record,
    task_record,
)
from armarc.live.source import Item, LinkNews, RawFile, Samples
from armarc.log.labels import CAUTION, SAID_AFTER
from armarc.recording import Metadata, RecordingWriter
from armarc.recording.captures import CHEST
from armarc.tasks import Task


@dataclass(slots=True)
class LiveSession:
    """One run of ``armarc live``.

    Parameters
    ----------
    choices : Choices
        Of the first arm.
    faces : list of Face
    after : After
    tell : callable
        Takes a sentence for people.
    places : tuple of str
        Where each sensor of the source is worn: ``"left"`` or ``"right"`` for the wrist of that arm, or ``"chest"``;
        none: one on the arm of `choices`.
    writer_for : callable or None
        Opens the file of a sensor's raw stream (by its number) once its rate and its sensor are known.
    known_for : callable or None
        What is kept of the sensor with this head, worn on this side.
    heads : tuple of Metadata
        Of recordings that are played, already corrected.
    stamp_for : callable or None
        Wall-clock stamp of a signal time, for the metadata of a set.
    gym : Gym or None
        Tasks that may be switched between sets; None keeps to one.
    forward : str
        Axis of a chest sensor that faces away from the breastbone.
    in_step : bool
        Wait for each set to be measured before going on: for a recording that is played as fast as it can be,
        so that the events always come in the same order.
    """

    choices: Choices
    faces: list[Face]
    after: After
    tell: Callable[[str], None]
    places: tuple[str, ...] = ()
    writer_for: Callable[[int, float, Metadata], RecordingWriter] | None = None
    known_for: KnownFor | None = None
    heads: tuple[Metadata, ...] = ()
    stamp_for: Callable[[float], str | None] | None = None
    gym: Gym | None = None
    forward: str = "+z"
    in_step: bool = False
    scoreboard: Scoreboard = field(init=False)
    desk: Desk = field(init=False)
    arms: dict[int, Arm] = field(init=False)
    _audience: Audience = field(init=False)
    _chest: Chest | None = None
    _raw: dict[int, RawFile] = field(default_factory=dict)
    _arm_of: dict[int, Arm] = field(default_factory=dict)
    _aftermath: Aftermath = field(init=False)
    _in_force: Task = field(init=False)

    def __post_init__(self) -> None:
        own = Task(exercise=self.choices.exercise.key, side=self.choices.side, load_kg=self.choices.load_kg)
        self._in_force = own if self.gym is None else self.gym.task
        self.desk = Desk(task=self._in_force)
        self.arms = {}
        for number, place in enumerate(self.places or (self.choices.side,)):
            if place == CHEST:
                self._chest = Chest(forward=self.forward)
                continue
            choices = self.choices if not self.arms else self._choices_for(self._in_force, place)
            head = self.heads[number] if self.heads else None
            self.arms[number] = Arm(choices, scoreboard_for(choices), self.known_for, head)
        first, *others = (one.scoreboard for one in self.arms.values())
        self.scoreboard = first
        self.scoreboard.other = others[0] if others else None
        self.scoreboard.lifter = self._in_force.lifter or ""
        self.scoreboard.logged = self.after.log
        self._audience = Audience(self.faces, self.tell)
        self._aftermath = Aftermath(self.after, self.tell, self.stamp_for)

    async def run(self, source: AsyncIterator[Item], rates_hz: Sequence[float]) -> None:
        """Live until the source ends; then finish the running set and wait for what is still being measured.

        Parameters
        ----------
        source : async iterator of Item
        rates_hz : sequence of float, Hz
            Of each sensor where they are known beforehand; else empty.

        Raises
        ------
        SensorError
            The source failed; everything before it is kept.
        """
        self._audience.hear(opening_record(self.scoreboard, self.desk.task, self.choices))
        for number, rate_hz in enumerate(rates_hz):
            self._begin(number, rate_hz, self.heads[number] if self.heads else None)
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
                for arm in self.arms.values():
                    if arm.engine is not None:
                        self._hear(arm, arm.engine.finish())
                        self.refresh()
                for raw in self._raw.values():
                    raw.close()
                await self._aftermath.finish(lambda: self.desk)
        finally:
            self._aftermath.close()
            self._audience.close()

    @property
    def shown_arms(self) -> list[tuple[Scoreboard, str]]:
        """The scoreboard of each arm, and how a line of it begins where there are two."""
        two = len(self.arms) > 1
        return [(arm.scoreboard, f" ({arm.choices.side})" if two else "") for arm in self.arms.values()]

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

    def _choices_for(self, task: Task, side: str) -> Choices:
        """What an arm is measured with."""
        if self.gym is None:
            return replace(self.choices, side=side)
        return self.gym.choose(replace(task, side=side))

    def order(self, order: Order) -> None:
        """Take an order between sets: another task from the next set on, or something said about a set that is done.

        Raises
        ------
        UsageError
            It cannot be done; nothing has changed.
        """
        self.scoreboard.answer = ""
        if isinstance(order, Switch):
            if self.gym is None:
                raise UsageError("this session keeps to one task", "start another")
            if order.side is not None and len(self.arms) > 1:
                raise UsageError("both arms wear a sensor", "nothing is to be switched")
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
            beside = self._aftermath.partner(number)
            if beside is not None:  # both arms' sets are one for the lifter
                self.desk = self.desk.with_said(replace(order, set=beside))
                self._aftermath.write_said(beside, lambda: self.desk)
            about = {name: getattr(said, name) for name in SAID_AFTER}
            self._audience.hear(session_record("set said", self.scoreboard.time_s, set=number, **about))
            if newest in (number, beside):
                self.scoreboard.said = said_words(said)
                self.scoreboard.caution = CAUTION if said.pain else ""
        self.refresh()

    def _settle(self) -> None:
        """Take up the task of the desk where it has become another."""
        waiting = self.desk.waiting
        self.scoreboard.waiting = "" if waiting is None else waiting.words()
        if self.scoreboard.menu:
            self.scoreboard.menu |= {"lifters": self.lifters[:12], "task": self.desk.next_task}
        if self.desk.task != self._in_force:
            self._change_task(self.desk.task, self._in_force)

    def _change_task(self, task: Task, before: Task) -> None:
        """Another task. Another arm, or another lift, is looked at anew: hold still, then ready."""
        assert self.gym is not None
        self._in_force = task
        anew = (task.lifter, task.exercise, task.side) != (before.lifter, before.exercise, before.side)
        for arm in self.arms.values():
            side = arm.choices.side if len(self.arms) > 1 else task.side
            arm.take_up(self.gym.choose(replace(task, side=side)), task, anew=anew)
        self.choices = self._first.choices
        record = session_record(
            "task", self.scoreboard.time_s, **task_record(self.scoreboard, self.desk.task, self.choices)
        )
        for raw in self._raw.values():
            raw.event({key: value for key, value in record.items() if key != "schema"})
        self._audience.hear(record)
        self._begin_task()

    @property
    def _first(self) -> Arm:
        return next(iter(self.arms.values()))

    def _begin_task(self) -> None:
        """What comes with a task: its marks, the last time, and that it is the one to begin with next time."""
        task = self._in_force
        for arm in self.arms.values():
            arm.begin_task(task)
        if self.gym is not None:
            self.gym.remember(task)
            self.scoreboard.menu = {
                "lifters": self.lifters[:12],
                "exercises": self.exercises,
                "task": task,
                "both": len(self.arms) > 1,
            }
        self.scoreboard.last_time = ""
        self._aftermath.last = {}
        for arm in self.arms.values():
            mine = replace(task, side=arm.choices.side)
            self._aftermath.look_back(mine, self.scoreboard.time_s, partial(self._looked_back, task, mine))

    def _looked_back(self, task: Task, mine: Task, found: LastTime | None) -> None:
        if found is not None and task == self._in_force:
            self._aftermath.last[mine.side or ""] = found
            self._show_last_time()
            self.refresh()

    def _show_last_time(self) -> None:
        """The first arm's, which stands for both."""
        side = self._first.choices.side
        last = self._aftermath.last.get(side)
        if last is not None:
            self.scoreboard.last_time = last.words(self.desk.place(replace(self._in_force, side=side)) + 1)

    def _begin(self, number: int, rate_hz: float, head: Metadata | None) -> None:
        if number in self._raw:
            return
        writer = None if self.writer_for is None else self.writer_for(number, rate_hz, head or Metadata())
        self._raw[number] = RawFile(writer, lambda error: self._lost_file(number, error))
        if number in self.arms:
            self.arms[number].begin(rate_hz)
        elif self._chest is not None:
            self._chest.head, self._chest.rate_hz = head or Metadata(), rate_hz

    def _lost_file(self, number: int, error: Exception) -> None:
        at = f" at {self.scoreboard.time_s:.0f} s" if self.scoreboard.time_s else ""
        self.scoreboard.notice = "the raw stream is not being written"
        whose = f"the raw stream of the {self.places[number]}" if len(self.places) > 1 else "the raw stream"
        self.tell(f"{whose} ended{at}: {error}; counting and the log go on")

    def _take(self, item: Samples) -> None:
        if item.sensor not in self._raw:
            return
        self._raw[item.sensor].append(item)
        arm = self.arms.get(item.sensor)
        if arm is None:
            assert self._chest is not None
            self._chest.take(item)
            return
        for events in arm.feed(item):
            self._hear(arm, events)
        self.desk = self.desk.counted(sum(one.lifted for one in self.arms.values()))
        self._settle()
        self.refresh()

    def refresh(self) -> None:
        """Let every face show the scoreboard as it is."""
        self._audience.refresh(self.scoreboard)

    def _hear(self, arm: Arm, events: list[EngineEvent]) -> None:
        for event in events:
            if isinstance(event, SetEnded):
                event = replace(event, set=len(self._arm_of) + 1)
                self._arm_of[event.set] = arm
            arm.scoreboard.hear(event)
            self._audience.hear(self._sided(event_record(event), arm), event)
            self._watch(arm, event)
            if isinstance(event, SetEnded):
                self._end_set(arm, event)

    def _sided(self, record: dict[str, object], arm: Arm) -> dict[str, object]:
        """With two arms a record says whose it is."""
        return record if len(self.arms) == 1 else {**record, "side": arm.choices.side}

    def _end_set(self, arm: Arm, event: SetEnded) -> None:
        others_lift = any(one.lifted for one in self.arms.values() if one is not arm)
        self.desk = self.desk.ended(event.set, arm.choices.side, lifting=others_lift)
        beside = None if self._chest is None else self._chest.during(event)
        self._aftermath.take(event, arm.choices, arm.set_head, beside, lambda: self.desk, self._measured)
        self._show_last_time()

    def _measured(self, measured: MeasuredLive, against: str) -> None:
        arm = self._arm_of[measured.number]
        if measured.result is not None:
            arm.scoreboard.measured(measured.number, measured.result.sets[0].summary)
            if trunk := trunk_words(measured.result.sets[0].reps):
                self.tell(f"set {measured.number}: {trunk}")
            if measured.number == max(self.desk.done):
                said = (turned_words(measured.turned), trunk, against)
                self.scoreboard.today = "; ".join(filter(None, said))
        self._audience.hear(self._sided(measured.record(), arm))
        partner = self._aftermath.partner(measured.number)
        if partner is not None:
            beside = next(one for one in self.sets if one.number == partner)
            both = compared(*sorted((beside, measured), key=side_of))
            self.scoreboard.today = "; ".join(filter(None, (self.scoreboard.today, both.words())))
            self.tell(f"sets {both.left} and {both.right}: {both.words()}")
            self._audience.hear(both.record())
        self.refresh()

    def _watch(self, arm: Arm, event: EngineEvent) -> None:
        """Tell when the lifter's own mark is reached."""
        arm.mark, reached = arm.mark.step(event)
        for one in reached:
            whose = f"{arm.choices.side}: " if len(self.arms) > 1 else ""
            self.scoreboard.mark = whose + one.words()
            self._audience.hear(mark_record(one, self.scoreboard.time_s))

    def _news(self, news: LinkNews) -> None:
        """Something about a sensor, shown with the arm that wears it; a chest sensor's with the first."""
        arm = self.arms.get(news.sensor)
        scoreboard = self.scoreboard if arm is None else arm.scoreboard
        if news.battery_pct is not None or news.battery_low:
            scoreboard.battery_pct, scoreboard.battery_low = news.battery_pct, news.battery_low
        if news.state in ("up", "up again") and news.rate_hz:
            if news.sensor not in self._raw:
                self._meet(arm, news.head)
            self._begin(news.sensor, news.rate_hz, news.head)
        text = f"{self.places[news.sensor]}: {news.text}" if len(self.places) > 1 else news.text
        if "up" in news.state or news.state in ("lost", "trouble"):
            scoreboard.link = "" if "up" in news.state else text
        if news.state in ("lost", "up again", "loss") and news.sensor in self._raw:
            self._raw[news.sensor].event(
                {"event": f"link {news.state}", "time_s": news.time_s, "text": news.text}
            )
        self._audience.hear(link_record(news, text))
        self.refresh()

    def _meet(self, arm: Arm | None, head: Metadata | None) -> None:
        """Take up what is kept of the sensor that has just come up."""
        for words in () if head is None else head.other.get("sensor_habits", ()):
            self.tell(words)
        if arm is not None and (said := arm.meet(head)):
            self.tell(said)
        self.choices = self._first.choices
