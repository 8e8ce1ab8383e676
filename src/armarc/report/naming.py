"""What a task is called on a page."""

from __future__ import annotations

from armarc.errors import ArmarcError
from armarc.log import LoggedSet
from armarc.log.table import SetLabels


def exercise_name(entry: LoggedSet | SetLabels) -> str:
    """Name of the exercise with its variant; the key where the catalogue does not know it."""
    from armarc.exercises import find_exercise

    try:
        name = find_exercise(entry.exercise).name
    except ArmarcError:
        name = entry.exercise
    return f"{name} ({entry.variant})" if entry.variant else name


def task_name(entry: LoggedSet | SetLabels, *, load: bool = True) -> str:
    """Exercise, arm and load."""
    parts = [exercise_name(entry)]
    parts += [f"{entry.side} arm"] if entry.side else []
    parts += [f"{entry.load_kg:.4g} kg"] if load and entry.load_kg is not None else []
    return ", ".join(parts)
