"""Files: looked at before they are read (one may be endless, enormous or no file at all); ours appear whole or not at
all, whatever kills the program or fills the disk. And small JSON files of the configuration folder on it.
"""

from __future__ import annotations

import contextlib
import errno
import json
import os
import stat
import tempfile
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import BinaryIO, TypeVar

from armarc.errors import InputError

LARGEST_VARIABLE = "ARMARC_LARGEST_MB"
LARGEST_RECORDING_BYTES = 1 << 30
"""Working limit: 40 hours at 100 Hz in armarc's own form. The environment variable ``ARMARC_LARGEST_MB`` moves it."""


def largest_recording_bytes() -> int:
    """Size above which a recording is refused.

    Raises
    ------
    InputError
        If the environment variable is no number.
    """
    said = os.environ.get(LARGEST_VARIABLE, "").strip()
    if not said:
        return LARGEST_RECORDING_BYTES
    if not said.isdecimal() or not int(said[:9]) > 0:
        raise InputError(f"{LARGEST_VARIABLE}={said[:20]!r} is no size", "give whole megabytes, such as 4000")
    return int(said[:9]) << 20


def regular_size(path: str | os.PathLike[str], largest: int, what: str = "recording") -> int:
    """Size of a file in bytes, from its entry alone: nothing is opened.

    Raises
    ------
    InputError
        It is a pipe, a device or the like, or larger than `largest`.
    OSError
        It cannot be looked at, or is a folder.
    """
    name = os.fspath(path)
    status = os.stat(name)
    if stat.S_ISDIR(status.st_mode):
        raise IsADirectoryError(errno.EISDIR, os.strerror(errno.EISDIR), name)
    if not stat.S_ISREG(status.st_mode):
        raise InputError("this is no ordinary file", "save it as a file and give that", file=name)
    if status.st_size > largest:
        raise InputError(
            f"the file has {status.st_size >> 20} MB, more than a {what} may have ({largest >> 20} MB)",
            f"split it, or allow more with the environment variable {LARGEST_VARIABLE}"
            if what == "recording"
            else "give the right file",
            file=name,
        )
    return status.st_size


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
    path: Path, schema: str, make: Callable[[dict[str, object]], T], what: str, key: str = "entries"
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
        why = getattr(error, "strerror", None) or error
        raise InputError(
            f"cannot be read: {why}", "check its folder and permissions", file=str(path)
        ) from error
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


def write_entries(path: Path, schema: str, entries: list[dict[str, object]], key: str = "entries") -> Path:
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
