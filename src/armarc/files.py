"""The one way a file of ours appears: whole or not at all, whatever kills the program or fills the disk.

And small JSON files of the configuration folder on it, read with a plain message.
"""

from __future__ import annotations

import contextlib
import json
import os
import tempfile
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any, BinaryIO, TypeVar

from armarc.errors import InputError

T = TypeVar("T")

UNFINISHED = ".writing-"
"""How the name of a file begins until it is complete; what a killed program left is told by it."""


@contextlib.contextmanager
def appearing(path: Path, *, private: bool = False) -> Iterator[BinaryIO]:
    """A file that appears under its name only when it is complete and on the disk; a failure leaves what was there.

    Parameters
    ----------
    path : Path
        In a folder that exists.
    private : bool
        For its owner's eyes alone.

    Raises
    ------
    OSError
        It cannot be written.
    """
    handle, temporary = tempfile.mkstemp(dir=path.parent, prefix=UNFINISHED)  # mode 0600
    try:
        with os.fdopen(handle, "wb") as stream:
            yield stream
            stream.flush()
            os.fsync(stream.fileno())
        if not private:
            os.chmod(temporary, 0o666 & ~_umask())
        os.replace(temporary, path)
    except BaseException:
        with contextlib.suppress(OSError):
            os.unlink(temporary)
        raise
    flush_folder(path.parent)


def write_whole(path: Path, content: str | bytes, *, private: bool = False) -> None:
    """Write a file in one step (see `appearing`), in UTF-8; folders that are missing are made.

    Raises
    ------
    OSError
        It cannot be written.
    """
    path.parent.mkdir(parents=True, exist_ok=True)
    with appearing(path, private=private) as stream:
        stream.write(content.encode() if isinstance(content, str) else content)


def read_entries(
    path: Path, schema: str, make: Callable[[dict[str, Any]], T], what: str, key: str = "entries"
) -> tuple[T, ...]:
    """Read the entries of a file; none when there is no file.

    Raises
    ------
    InputError
        The file cannot be read, is damaged, or is of a later version.
    """
    try:
        text = path.read_text("utf-8")
    except FileNotFoundError:
        return ()
    except (OSError, UnicodeDecodeError) as error:
        raise InputError(f"cannot be read: {error}", "check its permissions", file=str(path)) from error
    try:
        document = json.loads(text)
        if document.get("schema", schema) != schema:
            raise ValueError(f"expected {schema}, got {document['schema']!r}")
        return tuple(make(entry) for entry in document[key])
    except (ValueError, KeyError, TypeError, AttributeError, IndexError, RecursionError) as error:
        raise InputError(
            f"is damaged or of another version: {type(error).__name__} {error}",
            f"move the file away and {what} again",
            file=str(path),
        ) from error


def write_entries(path: Path, schema: str, entries: list[dict[str, Any]], key: str = "entries") -> Path:
    """Write a file in one step, so that a crash leaves the old or the new one.

    Raises
    ------
    InputError
        The folder cannot be written.
    """
    text = json.dumps({"schema": schema, key: entries}, indent=1, ensure_ascii=False, allow_nan=False)
    return write_kept(path, text + "\n")


def write_kept(path: Path, text: str) -> Path:
    """Write a file of the configuration folder in one step.

    Raises
    ------
    InputError
        The folder cannot be written.
    """
    try:
        write_whole(path, text)
    except OSError as error:
        raise InputError(
            f"cannot be written: {error.strerror or error}",
            "check the folder's permissions, or set ARMARC_CONFIG_DIR",
            file=str(path),
        ) from error
    return path


def flush_folder(folder: Path) -> None:
    """Make renames in a folder durable, where the system can."""
    if os.name != "posix":
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    except OSError:  # some network file systems cannot
        pass
    finally:
        os.close(handle)


def _umask() -> int:
    umask = os.umask(0)
    os.umask(umask)
    return umask
