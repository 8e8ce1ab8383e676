"""Tasks of ``armarc live``: what was stated, what the last session leaves to take, how one task follows another."""

from __future__ import annotations

import sys
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from armarc.choices import Choices
    from armarc.kept import Kept
    from armarc.live.gym import Gym
    from armarc.options import MeasuringOptions
    from armarc.recording import Recording
    from armarc.sensor.remembered import Remembered
    from armarc.tasks import Task


def said_task(
    stated: MeasuringOptions,
    *,
    variant: str | None,
    sensor: str,
    phone: bool,
    log: bool | None,
    stop_at: float | None,
    stop_rom: float | None,
) -> Task:
    """The task as far as it was stated on the command line."""
    from armarc.exercises import find_exercise
    from armarc.quantities import clean_name
    from armarc.tasks import Task

    name, lifter = stated.exercise, stated.lifter
    return Task(
        lifter=clean_name(lifter, "lifter", empty=False) if isinstance(lifter, str) else None,
        exercise=find_exercise(name).key if isinstance(name, str) else None,
        variant=None if variant is None else clean_name(variant, "variant"),
        side=stated.side,
        load_kg=stated.load_kg,
        resistance=stated.resistance,
        sensor=sensor or None,
        phone=True if phone else False if sensor else None,
        logged=log,
        stop_velocity_loss_pct=stop_at,
        stop_rom_loss_pct=stop_rom,
    )


def file_gym(path: Path, stated: MeasuringOptions, said: Task) -> tuple[Choices, Gym, Recording]:
    """A recording that is played: its own head and the options say what it is, and nothing of it is remembered."""
    from armarc.api import open_kept, read_csv
    from armarc.live.gym import Gym
    from armarc.tasks import load_tasks

    kept = open_kept()
    raw = read_csv(path, kept=kept)
    recording, first = kept.settle(raw, stated)

    bare, others = replace(raw.metadata, load_kg=None), _whoever(stated)

    def choose(task: Task) -> Choices:
        choices = kept.choices(bare, task.options().over(others))
        return replace(choices, **kept.sensors.look_up(raw.metadata, choices.side).options())

    task = replace(
        said,
        exercise=first.exercise.key,
        side=first.side,
        load_kg=first.load_kg,
        resistance=first.resistance,
        logged=said.logged is True,
    )
    past = load_tasks()
    gym = Gym(task=task, past=past, choose=choose, remember=lambda _: None, **_picks(kept, past))
    return first, gym, recording


def sensor_gym(known: tuple[Remembered, ...], stated: MeasuringOptions, said: Task) -> tuple[Choices, Gym]:
    """A sensor: what is not stated is as the sensor is remembered, else as the last time; what was taken is said."""
    from armarc.api import open_kept
    from armarc.live.gym import Gym
    from armarc.recording import Metadata
    from armarc.sensor.remembered import recall
    from armarc.tasks import load_tasks, recalled

    kept, past = open_kept(), load_tasks()
    named = said.sensor or (past[0].sensor if past and said.phone is None else None)
    strapped = recall(known, named) if named else None
    if said.side is None and strapped is not None:
        said = replace(said, side=strapped.side)
    task = recalled(past, said)

    others = _whoever(stated)

    def choose(task: Task) -> Choices:
        return kept.choices(Metadata(), task.options().over(others))

    first = choose(task)
    if task != said:
        words = [task.words(), f"sensor {task.sensor}" if task.sensor else "the phone" if task.phone else ""]
        words.append("into the log" if task.logged else "not logged")
        print(f"armarc: as the last time: {', '.join(one for one in words if one)}", file=sys.stderr)
    task = replace(task, exercise=first.exercise.key, side=first.side, logged=task.logged is True)
    gym = Gym(task=task, past=past, choose=choose, remember=_remembering(past), **_picks(kept, past))
    return first, gym


def _picks(kept: Kept, past: tuple[Task, ...]) -> dict[str, tuple[str, ...]]:
    """What a switch may pick from: what was lifted last first, then everybody who is kept and the whole catalogue."""
    from armarc.exercises import load_catalogue

    lifters = [one.lifter for one in past if one.lifter] + [str(one.name) for one in kept.lifters if one.name]
    exercises = [one.exercise for one in past if one.exercise] + list(load_catalogue())
    return {"lifters": tuple(dict.fromkeys(lifters)), "exercises": tuple(dict.fromkeys(exercises))}


def _whoever(stated: MeasuringOptions) -> MeasuringOptions:
    """What was stated of every set, whoever lifts what: the load of one lifter is not that of the next."""
    return replace(stated, lifter=None, exercise=None, side=None, load_kg=None, resistance=None)


def _remembering(past: tuple[Task, ...]) -> Callable[[Task], None]:
    from armarc.errors import InputError
    from armarc.tasks import save_tasks, with_newest

    kept = past

    def remember(task: Task) -> None:
        nonlocal kept
        kept = with_newest(kept, task)
        try:
            save_tasks(kept)
        except InputError as error:
            print(f"armarc: the next session has to be told again: {error}", file=sys.stderr)

    return remember
