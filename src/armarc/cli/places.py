"""Sensors at two places of the body: how they are named, and which files of a capture belong together."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from armarc.errors import FormatError, UsageError
from armarc.recording.head import CAPTURE, CHEST, PLACE, PLACES, WRIST, own_head


@dataclass(frozen=True, slots=True)
class Worn:
    """A sensor, and where it is worn; without a place where nothing is measured of a body."""

    name: str
    place: str | None = WRIST


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
        raise UsageError("two sensors on the chest: one is enough", "--sensor wrist=NAME --sensor chest=NAME")
    if chests == len(worn):
        raise UsageError("a chest sensor goes with one on the wrist", "add --sensor wrist=NAME")
    if len(worn) > 2 or len({one.name.casefold() for one in worn}) != len(worn):
        raise UsageError("expected one sensor, or two different ones (two wrists, or wrist and chest)")
    return worn


def _worn(text: str) -> list[Worn]:
    if "=" not in text:
        return [Worn(text)]
    worn = []
    for part in text.split(","):
        place, _, name = (word.strip() for word in part.partition("="))
        if place.casefold() not in PLACES or not name:
            raise UsageError(
                f"--sensor {part.strip()}: expected PLACE=NAME", f"places are {' and '.join(PLACES)}"
            )
        worn.append(Worn(name, place.casefold()))
    return worn


@dataclass(frozen=True, slots=True, kw_only=True)
class Paired:
    """Files to measure, and the chest recordings among those given.

    Parameters
    ----------
    paths : list of Path
        What is measured, in the order given; a chest recording only where it belongs to nothing.
    chest_of : dict
        Wrist recording → chest recording of the same capture.
    alone : frozenset of Path
        Chest recordings without one wrist recording to go with.
    """

    paths: list[Path]
    chest_of: dict[Path, Path]
    alone: frozenset[Path]

    def check(self, path: Path) -> None:
        """Refuse a chest recording that is alone.

        Raises
        ------
        FormatError
            It is one.
        """
        if path in self.alone:
            raise FormatError(
                "this is the recording of a chest sensor, and no wrist recording (or more than one) goes with it",
                "give the wrist's recording of the same capture too, or process WRIST.csv --trunk CHEST.csv",
                file=str(path),
            )


def paired(paths: Sequence[Path]) -> Paired:
    """Lay chest recordings beside the wrist's by what the files' heads say."""
    heads = {path: own_head(path) for path in paths}
    chests = [path for path, head in heads.items() if head.get(PLACE) == CHEST]
    if not chests:
        return Paired(paths=list(paths), chest_of={}, alone=frozenset())
    captures: dict[str, list[Path]] = defaultdict(list)
    for path, head in heads.items():
        captures[str(head.get(CAPTURE) or "")].append(path)
    chest_of: dict[Path, Path] = {}
    for capture, files in captures.items():
        mine = [path for path in files if path in chests]
        wrists = [path for path in files if path not in mine]
        if capture and len(mine) == len(wrists) == 1:
            chest_of[wrists[0]] = mine[0]
    placed = set(chest_of.values())
    return Paired(
        paths=[path for path in paths if path not in placed],
        chest_of=chest_of,
        alone=frozenset(path for path in chests if path not in placed),
    )
