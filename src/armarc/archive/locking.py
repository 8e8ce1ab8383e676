"""A lock on an open file that the system lets go when its process ends, however it ends."""

from __future__ import annotations

import importlib
import os
from typing import IO, Any


def lock(stream: IO[bytes]) -> bool:
    """Take the lock; False when another process holds it."""
    try:
        if os.name == "nt":
            system: Any = importlib.import_module("msvcrt")
            stream.seek(0)
            system.locking(stream.fileno(), system.LK_NBLCK, 1)
        else:
            system = importlib.import_module("fcntl")
            system.flock(stream.fileno(), system.LOCK_EX | system.LOCK_NB)
    except OSError:
        return False
    return True


def unlock(stream: IO[bytes]) -> None:
    """Let the lock go."""
    if os.name == "nt":
        system: Any = importlib.import_module("msvcrt")
        stream.seek(0)
        system.locking(stream.fileno(), system.LK_UNLCK, 1)
