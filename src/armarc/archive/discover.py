"""Finding the recordings of a folder, one after the other, without holding the list of them all."""

from __future__ import annotations

import os
from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

from armarc.errors import InputError
from armarc.recording.head import CAPTURE, CHEST, PLACE, own_head

ENDINGS = (".csv", ".tsv", ".txt")


@dataclass(frozen=True, slots=True)
class Found:
    """A file that looks like a recording."""

    path: str
    size: int
    modified_ns: int


def looks_like_recording(name: str) -> bool:
    """Whether a file name is that of a recording (packed or not, not hidden)."""
    return not name.startswith(".") and name.lower().removesuffix(".gz").endswith(ENDINGS)


def find_recordings(folder: Path, *, leave_out: Path | None = None) -> Iterator[Found]:
    """Every recording below a folder, in order of path, as absolute paths.

    Symbolic links to files are followed, links to folders are not (they may lead in circles).

    Parameters
    ----------
    folder : Path
    leave_out : Path or None
        A folder below it that is not searched, such as the archive itself.

    Raises
    ------
    InputError
        The folder does not exist or cannot be listed.
    """
    if not folder.is_dir():
        raise InputError("is not a folder", "name the folder that holds the recordings", file=str(folder))
    left_out = None if leave_out is None else os.path.realpath(leave_out)
    waiting = [os.path.abspath(folder)]
    while waiting:
        here = waiting.pop()
        if os.path.realpath(here) == left_out:
            continue
        folders: list[str] = []
        names: list[str] = []
        try:
            with os.scandir(here) as entries:
                for entry in entries:
                    if entry.is_dir(follow_symlinks=False):
                        folders.append(entry.name)
                    elif looks_like_recording(entry.name):
                        names.append(entry.name)
        except OSError as error:
            raise InputError(
                f"cannot be listed: {error.strerror or error}", "check the permissions", file=here
            ) from None
        for name in sorted(names):
            path = os.path.join(here, name)
            try:
                known = os.stat(path)
            except OSError:
                # Gone or unreadable: it becomes a failure with its reason when it is opened.
                yield Found(path, -1, -1)
                continue
            yield Found(path, known.st_size, known.st_mtime_ns)
        waiting.extend(os.path.join(here, name) for name in sorted(folders, reverse=True))


@dataclass(frozen=True, slots=True)
class Capture:
    """The recordings of one capture that lie in a folder: those of wrists, and those of a chest."""

    wrists: tuple[str, ...] = ()
    chests: tuple[str, ...] = ()


def capture_of(path: str, name: str) -> Capture:
    """What of a capture lies in the folder of one of its recordings.

    Parameters
    ----------
    path : str
        A recording.
    name : str
        The capture it says it is of.
    """
    folder = os.path.dirname(os.path.abspath(path))
    return _captures_in(folder, os.stat(folder).st_mtime_ns).get(name, Capture())


@lru_cache(maxsize=4)
def _captures_in(folder: str, _changed_ns: int) -> dict[str, Capture]:
    """Heads are read once a folder: files of one capture may have any names."""
    found: dict[str, Capture] = {}
    with os.scandir(folder) as entries:
        names = sorted(entry.name for entry in entries if looks_like_recording(entry.name))
    for path in (os.path.join(folder, name) for name in names):
        head = own_head(Path(path))
        if name := str(head.get(CAPTURE) or ""):
            had = found.get(name, Capture())
            is_chest = head.get(PLACE) == CHEST
            found[name] = Capture(
                had.wrists if is_chest else (*had.wrists, path),
                (*had.chests, path) if is_chest else had.chests,
            )
    return found


def printable(path: str) -> str:
    """A path as valid Unicode text: bytes that are none become escapes."""
    return os.fsencode(path).decode("utf-8", "backslashreplace")
