"""What a live session of several lifters needs from outside."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from armarc.choices import Choices
from armarc.tasks import Task


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
