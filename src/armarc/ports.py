"""Holding a port of this machine alone."""

from __future__ import annotations

import socket


def hold_alone(listener: socket.socket) -> None:
    """Set what lets a program have a port again at once, and keeps any other from listening there as well.

    On Windows SO_REUSEADDR would let a second program take over the port of one that is listening; SO_EXCLUSIVEADDRUSE
    is what forbids it (Winsock documentation, "Using SO_REUSEADDR and SO_EXCLUSIVEADDRUSE", from memory). Elsewhere
    SO_REUSEADDR only skips the wait after a program has ended.
    """
    exclusive = getattr(socket, "SO_EXCLUSIVEADDRUSE", None)
    listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR if exclusive is None else exclusive, 1)
