"""Who lifts what: the tasks of past sessions, so that the next one need not be told again.

The newest task stands first in ``tasks.json`` of the configuration folder. What is stated always wins over it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, fields, replace
from pathlib import Path
from typing import Any

from armarc.computer import config_folder
from armarc.errors import UsageError
from armarc.files import read_entries, write_entries
from armarc.options import SIDES, MeasuringOptions
from armarc.quantities import HEAVIEST_LOAD_KG, clean_name, spelled_as

FILE_NAME = "tasks.json"
SCHEMA = "armarc.tasks/1"
MOST_KEPT = 100


@dataclass(frozen=True, slots=True, kw_only=True)
class Task:
    """Who lifts what, with which arm and which sensor; None or empty where nothing is said.

    Parameters
    ----------
    lifter, exercise, variant, side : str or None
    load_kg : float or None, kg
    resistance : tuple of str or None
    sensor : str or None
        Nickname, name or address.
    phone : bool or None
        A phone is the sensor.
    logged : bool or None
        Whether the sets go into the training log.
    stop_velocity_loss_pct, stop_rom_loss_pct : float or None, %
        Marks of the lifter's own to be told of; see `armarc.live.stop_mark`.
    """

    lifter: str | None = None
    exercise: str | None = None
    variant: str | None = None
    side: str | None = None
    load_kg: float | None = None
    resistance: tuple[str, ...] | None = None
    sensor: str | None = None
    phone: bool | None = None
    logged: bool | None = None
    stop_velocity_loss_pct: float | None = None
    stop_rom_loss_pct: float | None = None

    def options(self) -> MeasuringOptions:
        """What of it decides how a set is measured."""
        return MeasuringOptions(
            exercise=self.exercise,
            side=self.side,
            load_kg=self.load_kg,
            resistance=self.resistance,
            lifter=self.lifter,
        )

    def words(self) -> str:
        """For people, such as ``Anna, lateral-raise (cable), right arm, 8 kg``."""
        what = f"{self.exercise} ({self.variant})" if self.variant else self.exercise
        load = "" if self.load_kg is None else f"{self.load_kg:.4g} kg"
        parts = [self.lifter, what, f"{self.side} arm" if self.side else "", load, *(self.resistance or ())]
        return ", ".join(part for part in parts if part)


_OF_THE_LIFT = ("variant", "load_kg", "resistance")
"""What goes with an exercise of a lifter, and is not carried over to another."""
_OF_THE_LIFTER = ("stop_velocity_loss_pct", "stop_rom_loss_pct")


def recalled(past: Sequence[Task], said: Task) -> Task:
    """What is said, completed from the newest past task that fits it.

    Load, resistance and variant come along together, from the same lifter and exercise alone, and only where none of
    them is said: nobody gets the load of somebody else or of another lift. Marks stay with their lifter.
    """

    def fits(one: Task, names: Sequence[str]) -> bool:
        return all(getattr(said, name) in (None, getattr(one, name)) for name in names)

    def filled(task: Task, one: Task, names: Sequence[str]) -> Task:
        missing = {name: getattr(one, name) for name in names if getattr(task, name) is None}
        return replace(task, **missing)

    if not past:
        return said
    if said.lifter is not None:
        said = replace(said, lifter=spelled_as(said.lifter, (one.lifter for one in past if one.lifter)))
    whole = next((one for one in past if fits(one, ("lifter", "exercise", "side"))), None)
    same_lift = whole or next((one for one in past if fits(one, ("lifter", "exercise"))), None)
    same_lifter = same_lift or next((one for one in past if fits(one, ("lifter",))), None)
    task = said
    if same_lifter is not None:
        names = ["lifter", "side", *_OF_THE_LIFTER] + ([] if same_lift is None else ["exercise"])
        if same_lift is not None and all(getattr(said, name) is None for name in _OF_THE_LIFT):
            names += _OF_THE_LIFT
        task = filled(task, same_lifter, names)
    newest = past[0]
    if said.sensor is None and said.phone is None:
        task = replace(task, sensor=newest.sensor, phone=newest.phone)
    return filled(task, newest, ("exercise", "logged"))


def with_newest(past: Sequence[Task], task: Task) -> tuple[Task, ...]:
    """The tasks with this one in front; an older one of the same lifter, exercise, variant and arm gives way."""

    def place(one: Task) -> tuple[str | None, ...]:
        return (one.lifter, one.exercise, one.variant or "", one.side)

    return (task, *(one for one in past if place(one) != place(task)))[:MOST_KEPT]


def tasks_path(folder: Path | None = None) -> Path:
    """Where the tasks are kept; the file need not exist."""
    return (config_folder() if folder is None else folder) / FILE_NAME


def load_tasks(folder: Path | None = None) -> tuple[Task, ...]:
    """Tasks of past sessions, newest first; none without a file.

    Raises
    ------
    InputError
        The file is damaged or cannot be read; it is named.
    """
    return read_entries(tasks_path(folder), SCHEMA, _task, "lift", "tasks")[:MOST_KEPT]


def save_tasks(tasks: Sequence[Task], folder: Path | None = None) -> Path:
    """Write the tasks, whole or not at all.

    Raises
    ------
    InputError
        The file cannot be written.
    """
    kept = [{name: value for name, value in asdict(one).items() if value is not None} for one in tasks]
    return write_entries(tasks_path(folder), SCHEMA, kept, "tasks")


def _task(record: Mapping[str, Any]) -> Task:
    names = {field.name for field in fields(Task)}
    known = {name: value for name, value in record.items() if name in names}
    for name in ("lifter", "exercise", "variant", "sensor"):
        if known.get(name) is not None:
            try:
                known[name] = clean_name(known[name], name)
            except UsageError as error:
                raise ValueError(error.message) from None
    if known.get("side") not in (None, *SIDES):
        raise ValueError("side")
    for name, most in (
        ("load_kg", HEAVIEST_LOAD_KG),
        ("stop_velocity_loss_pct", 90.0),
        ("stop_rom_loss_pct", 90.0),
    ):
        if known.get(name) is not None and not 0 <= float(known[name]) <= most:
            raise ValueError(name)
    if known.get("resistance") is not None:
        known["resistance"] = tuple(str(one) for one in known["resistance"])
    for name in ("phone", "logged"):
        if known.get(name) is not None:
            known[name] = known[name] is True
    return Task(**known)
