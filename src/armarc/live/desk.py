"""Who lifts what in a live session, and what is said about the sets: a small state machine without a clock.

A switch during a set waits for its end, so that a set belongs to one lifter and one task from its first rep to its
last. Nothing is required: a set nobody says anything about is a set like any other.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, fields, replace
from typing import Any

from armarc.choices import Choices
from armarc.errors import UsageError
from armarc.exercises import find_exercise
from armarc.log.labels import SAID_AFTER, Labels, check_side
from armarc.quantities import clean_name, parse_load, spelled_as
from armarc.tasks import Task, recalled


@dataclass(frozen=True, slots=True, kw_only=True)
class Gym:
    """How a session goes from one task to the next.

    Parameters
    ----------
    task : Task
        The first one.
    past : tuple of Task
        Of earlier sessions, newest first.
    choose : callable
        What a task is measured with.
    remember : callable
        Keeps a task for the next session.
    lifters, exercises : tuple of str
        What a switch may pick from; others may be named.
    """

    task: Task
    past: tuple[Task, ...]
    choose: Callable[[Task], Choices]
    remember: Callable[[Task], None]
    lifters: tuple[str, ...] = ()
    exercises: tuple[str, ...] = ()


SWITCHED = ("lifter", "exercise", "side", "load_kg")


@dataclass(frozen=True, slots=True, kw_only=True)
class Switch:
    """Another lifter, exercise, side or load; None leaves what is there."""

    lifter: str | None = None
    exercise: str | None = None
    side: str | None = None
    load_kg: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Say:
    """What is said about a set that is done: reps in reserve, pain, a note; of the newest set when none is named."""

    labels: Labels
    set: int | None = None


Order = Switch | Say


@dataclass(frozen=True, slots=True, kw_only=True)
class Desk:
    """State between the sets of a session.

    Parameters
    ----------
    task : Task
        In force: of the running set, or else of the next one.
    waiting : Task or None
        Takes its place when the running set is over.
    lifting : bool
        Whether a set is running.
    done : mapping of int to Task
        The task of each finished set.
    said : mapping of int to Labels
        What was said about each.
    """

    task: Task
    waiting: Task | None = None
    lifting: bool = False
    done: Mapping[int, Task] = field(default_factory=dict)
    said: Mapping[int, Labels] = field(default_factory=dict)

    @property
    def next_task(self) -> Task:
        """The task of the set after this moment's."""
        return self.waiting or self.task

    def place(self, task: Task, up_to: int | None = None) -> int:
        """How many sets of a task are done, whatever the load; of those up to a number."""
        same = ("lifter", "exercise", "variant", "side")
        done = [one for number, one in self.done.items() if up_to is None or number <= up_to]
        return sum(all(getattr(one, n) == getattr(task, n) for n in same) for one in done)

    def counted(self, reps: int) -> Desk:
        """So many reps of the running set count or are under way; none of them: there was no set after all."""
        if reps > 0:
            return replace(self, lifting=True)
        return replace(self, lifting=False, task=self.next_task, waiting=None)

    def ended(self, number: int, side: str | None = None, *, lifting: bool = False) -> Desk:
        """A set is over; with a sensor on each arm it is that of one, and the other may still be lifting."""
        mine = self.task if side is None else replace(self.task, side=side)
        done = {**self.done, number: mine}
        if lifting:
            return replace(self, done=done)
        return replace(self, lifting=False, done=done, task=self.next_task, waiting=None)

    def switched(self, switch: Switch, past: Sequence[Task]) -> Desk:
        """Another task from the next set on; load and marks as the lifter had them last."""
        task = switched_task(self.next_task, switch, past)
        if self.lifting:
            return replace(self, waiting=None if task == self.task else task)
        return replace(self, task=task)

    def with_said(self, say: Say) -> Desk:
        """Something more about a finished set; what was said before stays where nothing new is said.

        Raises
        ------
        UsageError
            There is no such set.
        """
        number = max(self.done, default=0) if say.set is None else say.set
        if number not in self.done:
            raise UsageError(
                "no set is done yet" if say.set is None else f"there is no set {say.set}", "after a set"
            )
        before = self.said.get(number, Labels())
        new = {name: getattr(say.labels, name) for name in SAID_AFTER}
        stated = {name: value for name, value in new.items() if value is not None}
        return replace(self, said={**self.said, number: replace(before, **stated)})


def switched_task(task: Task, switch: Switch, past: Sequence[Task]) -> Task:
    """The task after a switch.

    With another lifter or exercise come the load, the variant and the marks they had last, or none: never those of
    somebody else or of another lift.
    """
    lifter = task.lifter
    if switch.lifter is not None:
        lifter = spelled_as(switch.lifter, (one.lifter for one in (task, *past) if one.lifter))
    exercise = task.exercise if switch.exercise is None else switch.exercise
    side = task.side if switch.side is None else switch.side
    if (lifter, exercise) == (task.lifter, task.exercise):
        new = replace(task, side=side)
    else:
        bare = Task(lifter=lifter, exercise=exercise, side=side, load_kg=switch.load_kg)
        found = recalled([one for one in past if one.lifter == lifter], bare)
        new = replace(found, sensor=task.sensor, phone=task.phone, logged=task.logged)
        if lifter == task.lifter:
            marks = {name: getattr(task, name) for name in ("stop_velocity_loss_pct", "stop_rom_loss_pct")}
            new = replace(new, **marks)
    return new if switch.load_kg is None else replace(new, load_kg=switch.load_kg)


def said_words(said: Labels) -> str:
    """What was said about a set, for the scoreboard."""
    parts = [] if said.rir is None else [f"{said.rir:g} RIR"]
    if said.pain is not None:
        parts.append(f"pain {said.pain:g}")
    return ", ".join([*parts, *(["note kept"] if said.note else [])])


def order_of(record: object) -> Order:
    """Read an order as a page sends it: ``{"switch": {"lifter": "Anna"}}`` or ``{"say": {"rir": 2}, "set": 3}``.

    Raises
    ------
    UsageError
        It is none, or a value makes no sense.
    """
    if isinstance(record, dict):
        if isinstance(found := record.get("switch"), dict) and found.keys() <= set(SWITCHED):
            return switch_of(**found)
        if isinstance(found := record.get("say"), dict) and found.keys() <= set(SAID_AFTER):
            number = record.get("set")
            if number is not None and (isinstance(number, bool) or not isinstance(number, int)):
                raise UsageError(f"{number!r} is no number of a set", "leave it out for the newest")
            return Say(labels=_labels(found), set=number)
    raise UsageError("this is no order", 'for example {"switch": {"lifter": "Anna"}}')


def switch_of(
    lifter: Any = None,
    exercise: Any = None,
    side: Any = None,
    load_kg: Any = None,
    *,
    load: str | None = None,
) -> Switch:
    """A checked switch; ``load`` is text such as ``8kg``.

    Raises
    ------
    UsageError
    """
    if not all(isinstance(one, str | None) for one in (lifter, exercise, side)):
        raise UsageError("lifter, exercise and side are texts", "for example Anna")
    if load_kg is not None and (isinstance(load_kg, bool) or not isinstance(load_kg, int | float)):
        raise UsageError(f"a load of {load_kg!r}", "in kg, for example 8")
    if load_kg is not None or load is not None:
        load_kg = parse_load(load if load is not None else f"{load_kg:g}kg")
    return Switch(
        lifter=None if lifter is None else clean_name(lifter, "lifter", empty=False),
        exercise=None if exercise is None else find_exercise(exercise).key,
        side=check_side(side),
        load_kg=load_kg,
    )


def _labels(found: Mapping[str, Any]) -> Labels:
    texts = {"pain_place", "note"}
    for name, value in found.items():
        fits = isinstance(value, str) if name in texts else isinstance(value, int | float)
        if value is not None and (not fits or isinstance(value, bool)):
            raise UsageError(f"{name} cannot be {value!r}", "a number, or words for a place or a note")
    known = {field.name for field in fields(Labels)}
    return Labels(**{name: value for name, value in found.items() if name in known}).checked()
