"""Tasks of ``armarc live``: what was stated, what the last session leaves to take, how one task follows another."""

from __future__ import annotations

import sys
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from armarc.choices import Choices
    from armarc.cli.live_run import Streams
    from armarc.cli.places import Worn
    from armarc.kept import Kept
    from armarc.live.desk import Gym
    from armarc.options import MeasuringOptions
    from armarc.sensor.remembered import Remembered
    from armarc.tasks import Task


def said_task(
    stated: MeasuringOptions,
    *,
    variant: str | None,
    worn: Sequence[Worn],
    phone: bool,
    log: bool | None,
    stop_at: float | None,
    stop_rom: float | None,
) -> Task:
    """The task as far as it was stated on the command line."""
    from armarc.cli.places import sensors_text
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
        sensor=None if phone and len(worn) == 1 else sensors_text(worn),
        phone=True if phone else False if worn else None,
        logged=log,
        stop_velocity_loss_pct=stop_at,
        stop_rom_loss_pct=stop_rom,
    )


def file_gym(paths: Sequence[Path], stated: MeasuringOptions, said: Task) -> tuple[Choices, Gym, Streams]:
    """Recordings that are played: their own heads and the options say what they are, and nothing is remembered.

    Raises
    ------
    UsageError
        Several that do not belong together.
    """
    from armarc.api import open_kept, read_csv
    from armarc.cli.live_run import Streams
    from armarc.cli.places import Worn
    from armarc.errors import UsageError
    from armarc.live.desk import Gym
    from armarc.recording.captures import CHEST, PLACE, WRIST, own_head
    from armarc.tasks import load_tasks
    from armarc.trunk import clock_shift

    kept = open_kept()
    chests = [path for path in paths if own_head(path).get(PLACE) == CHEST]
    wrists = [path for path in paths if path not in chests]
    raws = [read_csv(path, kept=kept) for path in (*wrists, *chests)]
    if not wrists or len(wrists) > 2 or len(chests) > 1:
        raise UsageError(
            f"{len(wrists)} recordings of a wrist and {len(chests)} of a chest",
            "one wrist or both, and one chest at most, whose head says so (armarc record, armarc simulate --chest)",
        )
    raw = raws[0]
    recording, first = kept.settle(raw, stated)
    others = _whoever(stated)
    sides = [first.side, *(one.metadata.side or "" for one in raws[1 : len(wrists)])]
    if len(wrists) == 2 and sorted(sides) != ["left", "right"]:
        raise UsageError(
            f"{wrists[1]}: its head does not say that it is of the other arm than {wrists[0]}",
            "two recordings are played together when they are of both arms",
        )

    def choose(task: Task) -> Choices:
        head = raws[sides.index(task.side)].metadata if task.side in sides else raw.metadata
        choices = kept.choices(replace(head, load_kg=None), task.options().over(others))
        return replace(choices, **kept.sensors.look_up(head, choices.side).options())

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
    played = [(recording, 0.0)]
    for one in raws[1:]:
        its = kept.settle(one, replace(stated, side=None))[0] if one in raws[: len(wrists)] else one
        played.append((its, clock_shift(raw, one)[0]))
    worn = [Worn(f"{path}", WRIST, side) for path, side in zip(wrists, sides, strict=True)]
    worn += [Worn(f"{path}", CHEST) for path in chests]
    return first, gym, Streams(played=tuple(played), worn=worn)


def sensor_gym(
    known: tuple[Remembered, ...], stated: MeasuringOptions, said: Task
) -> tuple[Choices, Gym, list[Worn]]:
    """Sensors: what is not stated is as they are remembered, else as the last time; what was taken is said.

    Raises
    ------
    UsageError
        Nothing tells which of two wrists is which.
    """
    from armarc.api import open_kept
    from armarc.cli.places import with_sides, worn_sensors
    from armarc.live.desk import Gym
    from armarc.recording import Metadata
    from armarc.recording.captures import WRIST
    from armarc.tasks import load_tasks, recalled

    kept, past = open_kept(), load_tasks()
    named = said.sensor or (past[0].sensor if past and said.phone is None else None)
    worn = with_sides(worn_sensors([named or ""]), known, said.side)
    wrists = [one for one in worn if one.place == WRIST]
    if said.side is None or len(wrists) > 1:
        said = replace(said, side=wrists[0].side)
    task = recalled(past, said)
    if len(wrists) == 1:
        worn = with_sides(worn, (), task.side)

    others = _whoever(stated)

    def choose(task: Task) -> Choices:
        return kept.choices(Metadata(), task.options().over(others))

    first = choose(task)
    if task != said:
        phones = "the phone" if task.sensor is None else "the phones"
        what = phones if task.phone else f"sensor {task.sensor}" if task.sensor else ""
        words = [task.words(), what]
        words.append("into the log" if task.logged else "not logged")
        print(f"armarc: as the last time: {', '.join(one for one in words if one)}", file=sys.stderr)
    task = replace(task, exercise=first.exercise.key, side=first.side, logged=task.logged is True)
    gym = Gym(task=task, past=past, choose=choose, remember=_remembering(past), **_picks(kept, past))
    return (
        first,
        gym,
        [one if one.side or one.place != WRIST else replace(one, side=first.side) for one in worn],
    )


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
