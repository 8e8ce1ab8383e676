"""Sensors at two places of the body: how they are named, and which file each one gets."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from armarc.errors import UsageError
from armarc.options import SIDES
from armarc.recording.captures import CHEST, PLACES, WRIST
from armarc.sensor.remembered import Remembered, recall


@dataclass(frozen=True, slots=True)
class Worn:
    """A sensor, where it is worn and on which arm; without a place where nothing is measured of a body."""

    name: str
    place: str | None = WRIST
    side: str | None = None

    @property
    def text(self) -> str:
        """As it may be stated."""
        return f"{self.side or self.place}={self.name}"


def worn_sensors(said: Sequence[str]) -> list[Worn]:
    """Sensors as stated: ``NAME`` (on the wrist), ``PLACE=NAME``, or several of these with commas between.

    Raises
    ------
    UsageError
        A place that is none, a sensor named twice, or sensors that do not go together.
    """
    worn = [one for text in said for one in _worn(text)]
    chests = sum(one.place == CHEST for one in worn)
    if chests > 1:
        raise UsageError("two sensors on the chest: one is enough", "wrist=NAME and chest=NAME")
    if chests == len(worn):
        raise UsageError("a chest sensor goes with one on the wrist", "add wrist=NAME")
    if len(worn) - chests > 2 or len({one.name.casefold() for one in worn}) != len(worn):
        raise UsageError(
            "expected one sensor or several different ones: a wrist or both, and the chest",
            "such as left=NAME right=NAME chest=NAME",
        )
    sides = [one.side for one in worn if one.side]
    if len(sides) != len(set(sides)):
        raise UsageError(f"two sensors on the {sides[0]} wrist", "one is left=NAME, the other right=NAME")
    return worn


def _worn(text: str) -> list[Worn]:
    if "=" not in text:
        return [Worn(text)]
    worn = []
    for part in text.split(","):
        place, _, name = (word.strip() for word in part.partition("="))
        place = place.casefold()
        if place not in (*PLACES, *SIDES) or not name:
            raise UsageError(
                f"{part.strip()}: expected PLACE=NAME", f"places are {', '.join((*PLACES, *SIDES))}"
            )
        worn.append(Worn(name, WRIST, place) if place in SIDES else Worn(name, place))
    return worn


def sensors_text(sensors: Sequence[Worn]) -> str | None:
    """Sensors as one text that `worn_sensors` reads; None for the one in reach."""
    if len(sensors) > 1 or any(one.side for one in sensors):
        return ",".join(one.text for one in sensors)
    return (sensors[0].name if sensors else "") or None


def known_side(sensor: Worn, known: tuple[Remembered, ...]) -> str | None:
    """The arm a sensor is remembered for."""
    strapped = recall(known, sensor.name) if sensor.name else None
    return strapped.side if strapped else None


def with_sides(sensors: Sequence[Worn], known: tuple[Remembered, ...], usual: str | None) -> list[Worn]:
    """The sensors with the arm of each wrist: as stated, as remembered, or what the other one leaves.

    Parameters
    ----------
    sensors : sequence of Worn
    known : tuple of Remembered
    usual : str or None
        The arm of a single wrist of which nothing is known.

    Raises
    ------
    UsageError
        Nothing tells which of two wrists is which.
    """
    wrists = [one for one in sensors if one.place == WRIST]
    sides = {one.name: one.side or known_side(one, known) for one in wrists}
    if len(wrists) == 1:
        sides = {name: side or usual for name, side in sides.items()}
    elif len(wrists) == 2:
        taken = [side for side in sides.values() if side]
        if len(taken) == 1:
            sides = {n: side or ("left" if taken[0] == "right" else "right") for n, side in sides.items()}
        elif len(set(taken)) != 2:
            raise UsageError(
                "which sensor is on which wrist is not known", "say left=NAME right=NAME, or sensor remember"
            )
    return [replace(one, side=sides.get(one.name)) for one in sensors]


def files_of(out: Path, sensors: Sequence[Worn], known: tuple[Remembered, ...]) -> list[Path]:
    """One file for each sensor: as named, or with its place, its arm or its nickname behind."""
    if len(sensors) == 1:
        return [out]
    with_chest = any(one.place == CHEST for one in sensors)
    both = sum(one.place == WRIST for one in sensors) > 1
    paths = []
    for number, one in enumerate(sensors, start=1):
        strapped = recall(known, one.name) if one.name else None
        suffix = one.side or (strapped.nickname if strapped else str(number))
        if one.place == CHEST or (with_chest and one.place and not both):
            suffix = one.place
        paths.append(out.with_name(f"{out.stem}-{suffix}{out.suffix}"))
    return paths
