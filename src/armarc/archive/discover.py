"""Finding the recordings of a folder, one after the other, without holding the list of them all."""

from __future__ import annotations

import os
from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

from armarc.errors import InputError
from armarc.recording.captures import Paired, paired

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


def paired_beside(path: str) -> Paired:
    """The recordings in the folder of a recording, each chest's beside the wrist's of its capture."""
    folder = os.path.dirname(os.path.abspath(path))
    return _paired_in(folder, os.stat(folder).st_mtime_ns)


@lru_cache(maxsize=4)
def _paired_in(folder: str, _changed_ns: int) -> Paired:
    """Heads are read once a folder: files of one capture may have any names."""
    names = sorted(name for name in os.listdir(folder) if looks_like_recording(name))
    return paired([Path(folder, name) for name in names])


def printable(path: str) -> str:
    """A path as valid Unicode text: bytes that are none become escapes."""
    return os.fsencode(path).decode("utf-8", "backslashreplace")
