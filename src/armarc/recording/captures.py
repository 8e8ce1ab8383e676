"""Heads of recordings in armarc's own form, and which belong to one capture: a chest's beside the wrist's."""

from __future__ import annotations

import gzip
import hashlib
import json
import os
import stat
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from armarc.errors import FormatError
from armarc.recording.layout import OWN_MARK
from armarc.recording.recording import Recording

CAPTURE, PLACE, FORWARD = "capture", "place", "forward"
"""Head keys: what all files of one capture share, where on the body a sensor sat, and, of one on the chest, which of
its axes faced away from the breastbone."""
CLOCK_OF = "clock_of"
"""Head key of what was recorded without a computer: whose clock it counts on."""
WRIST, CHEST = "wrist", "chest"
PLACES = (WRIST, CHEST)
_LARGEST_LINE = 1 << 16


def own_head(path: Path) -> dict[str, Any]:
    """Head keys of a file in armarc's own form; none for another file or one that cannot be read (reading says why).

    A pipe is not touched: what is read from it is gone.
    """
    try:
        if not stat.S_ISREG(os.stat(path).st_mode):
            return {}
        with gzip.open(path) if path.name.lower().endswith(".gz") else path.open("rb") as stream:
            if not stream.readline(_LARGEST_LINE).startswith(OWN_MARK.encode()):
                return {}
            found = json.loads(stream.readline(_LARGEST_LINE).removeprefix(b"#"))
    except (OSError, EOFError, ValueError, RecursionError):
        return {}
    return found if isinstance(found, dict) else {}


def one_capture(wrist: Recording, chest: Recording) -> tuple[Recording, Recording]:
    """Two recordings whose heads say that they belong together, by a name that is the wrist's samples' own."""
    name = hashlib.sha256(wrist.specific_force_m_s2.tobytes()).hexdigest()[:32]
    first, second = (
        replace(one, metadata=replace(one.metadata, other=one.metadata.other | {CAPTURE: name, PLACE: place}))
        for one, place in ((wrist, WRIST), (chest, CHEST))
    )
    return first, second


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
