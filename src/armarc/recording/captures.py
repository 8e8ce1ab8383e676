"""Which recordings belong to one capture: a chest's beside the wrist's, by what the heads of the files say."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from armarc.errors import FormatError
from armarc.recording.head import CAPTURE, CHEST, PLACE, own_head


@dataclass(frozen=True, slots=True, kw_only=True)
class Paired:
    """Recordings to measure, and the chest recordings among those given.

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
                "this is the recording of a chest sensor, and no wrist recording goes with it",
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
        if capture and len(mine) == 1:
            chest_of |= dict.fromkeys(wrists, mine[0])
    placed = set(chest_of.values())
    return Paired(
        paths=[path for path in paths if path not in placed],
        chest_of=chest_of,
        alone=frozenset(path for path in chests if path not in placed),
    )
