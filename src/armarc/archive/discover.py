"""Finding the recordings of a folder one after the other, without holding the list of them all; hashes in 16 bytes."""

from __future__ import annotations

import hashlib
import os
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

import numpy as np

from armarc.errors import InputError
from armarc.recording.captures import Paired, paired

ENDINGS = (".csv", ".tsv", ".txt")


@dataclass(frozen=True, slots=True)
class Found:
    """A file that looks like a recording, or a folder that cannot be looked into (`fault` says why)."""

    path: str
    size: int
    modified_ns: int
    fault: str = ""


def looks_like_recording(name: str) -> bool:
    """Whether a file name is that of a recording (packed or not, not hidden)."""
    return not name.startswith(".") and name.lower().removesuffix(".gz").endswith(ENDINGS)


def find_recordings(folder: Path, *, leave_out: Path | None = None) -> Iterator[Found]:
    """Every recording below a folder, in order of path, as absolute paths.

    Symbolic links to files are followed, links to folders are not (they may lead in circles). Hidden files and folders
    are left alone (bins of deleted files, an index, versions of older days): who wants one names it. A folder below
    that cannot be listed is told as one, and stops nothing.

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
    top = os.path.abspath(folder)
    waiting = [top]
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
                        if not entry.name.startswith("."):
                            folders.append(entry.name)
                    elif looks_like_recording(entry.name):
                        names.append(entry.name)
        except OSError as error:
            fault = f"the folder cannot be listed: {error.strerror or error}"
            if here == top:
                raise InputError(fault, "check its permissions", file=here) from None
            yield Found(here, -1, -1, fault)
            continue
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


_MERGE_AT = 100_000


def digest_of(*parts: object) -> bytes:
    """16-byte hash of some values."""
    return hashlib.blake2b(
        "\0".join(map(str, parts)).encode("utf-8", "surrogatepass"), digest_size=16
    ).digest()


class DigestSet:
    """16-byte hashes: a sorted array, and a small set of what came since.

    Two different files are taken for one with probability n²/2¹²⁹: 10⁻²⁵ at ten million.
    """

    def __init__(self) -> None:
        self._words = np.empty((0, 2), np.uint64)
        self._new: set[bytes] = set()

    def __len__(self) -> int:
        return len(self._words) + len(self._new)

    def __contains__(self, digest: bytes) -> bool:
        if digest in self._new:
            return True
        high, low = np.frombuffer(digest, ">u8")
        first = int(np.searchsorted(self._words[:, 0], high))
        while first < len(self._words) and self._words[first, 0] == high:
            if self._words[first, 1] == low:
                return True
            first += 1
        return False

    def add(self, digest: bytes) -> None:
        """Add one hash."""
        if digest not in self:
            self._new.add(digest)
            if len(self._new) >= _MERGE_AT:
                self._merge()

    def update(self, digests: Iterable[bytes]) -> None:
        """Add many hashes."""
        for digest in digests:
            self.add(digest)

    def _merge(self) -> None:
        new = np.frombuffer(b"".join(self._new), ">u8").reshape(-1, 2).astype(np.uint64)
        words = np.concatenate([self._words, new])
        self._words = words[np.lexsort((words[:, 1], words[:, 0]))]
        self._new.clear()
