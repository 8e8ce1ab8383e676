"""How much was done, and with what, in the words of a trend's title."""

from __future__ import annotations

from collections.abc import Collection
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from armarc.log.table import SetTable


def weeks_words(sets: int, weeks: int) -> str:
    """How much was done; weeks without any count, so that a long break would read as none a week."""
    return (
        f"{sets / weeks:.0f} sets a week over {weeks} weeks"
        if sets >= weeks
        else f"{sets} sets in {weeks} weeks"
    )


def load_words(loads: Collection[float | None]) -> str:
    """Of the loads of some sets: the one they have, or that there are several."""
    (one, *others) = loads
    if others:
        return "all loads"
    return "no load stated" if one is None else f"{one:.4g} kg"


def task_words(chosen: SetTable, left: int) -> str:
    """The one task that a trend keeps to, and how many sets of others it leaves out."""
    if not len(chosen):
        return "no sets"
    one = chosen.labels(0)
    words = [
        one.lifter,
        f"{one.exercise} ({one.variant})" if one.variant else one.exercise,
        f"{one.side} arm" if one.side else "",
        load_words({task.load_kg for task in (chosen.tasks[k] for k in set(chosen.task.tolist()))}),
        f"{left} other set{'s' * (left != 1)} left out" if left else "",
    ]
    return ", ".join(word for word in words if word)
