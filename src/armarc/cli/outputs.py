"""What the commands that write files share: ``--force`` and what is never written over."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from armarc.outputs import Guard

if TYPE_CHECKING:
    from armarc.log.location import Location

Plot = Annotated[Path | None, typer.Option("--plot", metavar="OUT.png", help="Picture (.png, .svg or .pdf).")]
Dark = Annotated[bool, typer.Option("--dark", help="Picture light on dark.")]
Force = Annotated[
    bool,
    typer.Option("--force", help="Write over a file that armarc did not make; never over what is read here."),
]


def guard_for(read: Iterable[Path | None] = (), *, log_file: str | None = None, force: bool = False) -> Guard:
    """A guard over everything a command reads, the log it uses, and the person's own log.

    Parameters
    ----------
    read : paths
        Files and folders that are read; None is passed over.
    log_file : str or None
        The option of the command.
    force : bool
    """
    from armarc.log.location import find_location

    kept = [path for path in read if path is not None]
    for location in (find_location(log_file), find_location(None)):
        kept += log_files(location)
    return Guard(keep=tuple(kept), force=force)


def log_files(location: Location) -> list[Path]:
    """A log's file, what the database keeps beside it, and the folder of its recordings."""
    if location.file is None or location.recordings is None:
        return []
    beside = [location.file.with_name(location.file.name + ending) for ending in ("-wal", "-shm", "-journal")]
    return [location.file, *beside, location.recordings]


def check_picture(path: Path | None, guard: Guard) -> None:
    """Refuse a picture that cannot be written before any work is done; None asks for none.

    Raises
    ------
    UsageError
        Another ending, or something there must be kept.
    """
    from armarc.errors import UsageError
    from armarc.outputs import PICTURE

    if path is None:
        return
    if path.suffix.lower() not in (".png", ".svg", ".pdf"):
        raise UsageError(
            f"a picture cannot be written as {path.suffix or 'a file without an ending'!r}",
            "name it .png, .svg or .pdf",
        )
    guard.check(path, PICTURE)


SIZES = ("wide", "square", "tall")


def check_size(size: str) -> str:
    """The size of a picture, by its name.

    Raises
    ------
    UsageError
        Another name.
    """
    from armarc.errors import UsageError

    if size not in SIZES:
        raise UsageError(f"{size!r} is no size of a picture", f"say one of {', '.join(SIZES)}")
    return size
