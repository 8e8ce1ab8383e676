"""The one way to write a file somebody named: whole or not at all, and never over something that is not ours.

A name typed in haste is the commonest way to lose a recording. What is read, the log and the raw
recordings beside it are never written over, whatever they are called; any other file only when it is an older output
of the same kind, or with ``--force``.
"""

from __future__ import annotations

import contextlib
import json
import os
import stat
import zipfile
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO, TextIO

from armarc.errors import UsageError
from armarc.files import appearing

_MARK = b"armarc"
_LOOK_BYTES = 1 << 14
_FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠")

done: list[str] = []
"""What this run has already written or changed, in words: a fault that comes later must not deny it."""


@contextlib.contextmanager
def aside() -> Iterator[None]:
    """What is written meanwhile lies in a folder that goes away: a fault that comes later has nothing to say of it."""
    before = len(done)
    try:
        yield
    finally:
        del done[before:]


@dataclass(frozen=True, slots=True, kw_only=True)
class Kind:
    """A kind of file: what people call it, and whether a file is an older one of ours."""

    name: str
    is_ours: Callable[[Path], bool]


@dataclass(frozen=True, slots=True, kw_only=True)
class Guard:
    """What must not be written over.

    Parameters
    ----------
    keep : tuple of Path
        Files, and folders with everything in them, that are never written over.
    force : bool
        Write over any other file.
    """

    keep: tuple[Path, ...] = ()
    force: bool = False

    def check(self, path: str | Path, kind: Kind) -> Path:
        """Where to write: `path` with its links followed.

        Raises
        ------
        UsageError
            Something there must be kept, or the place is none.
        """
        if str(path) == "-":
            raise UsageError(
                "- is no name for a file", "name one; what a command prints goes into pipes by itself"
            )
        target = Path(os.path.realpath(path))
        for kept in self.keep:
            if _is_or_holds(kept, target):
                raise UsageError(
                    f"{path} is not written: that is {kept}, which is in use here", "choose another name"
                )
        try:
            mode = target.stat().st_mode
        except FileNotFoundError:
            return target
        except OSError as error:
            raise _unwritable(path, error) from None
        if stat.S_ISDIR(mode):
            raise UsageError(f"cannot write {path}: it is a folder", "name a file in it")
        if not stat.S_ISREG(mode) or self.force or _is_blank(target):
            return target
        try:
            ours = kind.is_ours(target)
        except (OSError, ValueError):
            ours = False
        if not ours:
            raise UsageError(
                f"there is a file {path} already, and it is no {kind.name} made by armarc",
                "choose another name, or give --force",
            )
        return target

    @contextlib.contextmanager
    def open(self, path: str | Path, kind: Kind) -> Iterator[BinaryIO]:
        """A file that appears under its name only when it is complete; a failure leaves what was there.

        Raises
        ------
        UsageError
            See `check`, or it cannot be written.
        """
        target = self.check(path, kind)
        try:
            if target.exists() and not target.is_file():
                with target.open("wb") as stream:  # a pipe or the screen: there is nothing to replace
                    yield stream
                return
            with appearing(target) as stream:
                yield stream
            done.append(f"{path} was written")
        except OSError as error:
            raise _unwritable(path, error) from None


CAREFUL = Guard()
"""Keeps every file that is not ours; for a program that names nothing else."""


def _is_or_holds(kept: Path, target: Path) -> bool:
    real = Path(os.path.realpath(kept))
    if target == real or (os.path.isdir(real) and real in target.parents):
        return True
    try:
        return os.path.samefile(kept, target)  # another name of the same file, too
    except OSError:
        return False


def _is_blank(path: Path) -> bool:
    return path.stat().st_size < 8 and not path.read_bytes().strip()


def _unwritable(path: str | Path, error: OSError) -> UsageError:
    return UsageError(
        f"cannot write {path}: {error.strerror or error}", "choose a folder that exists and has space"
    )


def _head(path: Path) -> bytes:
    with path.open("rb") as stream:
        return stream.read(_LOOK_BYTES)


def _ends(path: Path) -> bytes:
    with path.open("rb") as stream:
        head = stream.read(_LOOK_BYTES)
        stream.seek(max(0, path.stat().st_size - _LOOK_BYTES))
        return head + stream.read(_LOOK_BYTES)


def _is_picture(path: Path) -> bool:
    ends = _ends(path)
    return ends.startswith((b"\x89PNG", b"%PDF", b"<?xml", b"<svg")) and _MARK in ends


def _is_table(path: Path) -> bool:
    return _head(path).startswith(
        (b"file,set,", b"time_s,set,rep,phase,", b"set_id,done_at,", b"id,done_at,")
    )


def _is_subtitles(head: bytes) -> bool:
    """SubRip has no room for a mark: our cues begin alike."""
    return head.startswith(b"WEBVTT\n\nNOTE made by armarc") or head.split(b"\n", 3)[2:3][0:1] == [
        b"Set 1, rep 1"
    ]


def _is_backup(path: Path) -> bool:
    try:
        with zipfile.ZipFile(path) as archive:
            return str(json.loads(archive.read("manifest.json"))["format"]).startswith("armarc.backup/")
    except (zipfile.BadZipFile, KeyError, TypeError, NotImplementedError, RuntimeError):
        return False


PICTURE = Kind(name="picture", is_ours=_is_picture)
TABLE = Kind(name="table", is_ours=_is_table)
PARQUET = Kind(name="Parquet table", is_ours=lambda path: _head(path)[:4] == b"PAR1" and _MARK in _ends(path))
SUBTITLES = Kind(name="subtitles", is_ours=lambda path: _is_subtitles(_head(path)))
CODEBOOK = Kind(
    name="codebook", is_ours=lambda path: _head(path).startswith(b"# Codebook\n\nWritten by armarc")
)
JSON = Kind(name="JSON export", is_ours=lambda path: b'"schema": "armarc.log/' in _head(path)[:200])
PAGE = Kind(
    name="page",
    is_ours=lambda path: b'<meta name="generator" content="armarc">' in _head(path),
)
BACKUP = Kind(name="backup", is_ours=_is_backup)
RECORDING = Kind(name="recording", is_ours=lambda _: False)
"""A recording is never written over as an older one: it may be somebody's set."""


def let_go(stream: TextIO) -> None:
    """Lead a stream nobody reads any more into nothing, so that what is left of it is not tried again at the end."""
    with contextlib.suppress(OSError, ValueError):
        nothing = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nothing, stream.fileno())
        os.close(nothing)


def safe_cell(text: str) -> str:
    """Stop a spreadsheet from running a note as a formula: text that begins like one gets an apostrophe.

    The list of first characters is that of the OWASP page on CSV injection.
    """
    return f"'{text}" if text.startswith(_FORMULA_STARTS) else text
