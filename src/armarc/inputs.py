"""Look before reading: a file somebody names may be endless, enormous, or no file at all."""

from __future__ import annotations

import errno
import os
import stat

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
