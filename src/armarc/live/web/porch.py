"""The porch of an encrypted page: who has connected but not yet encrypted waits at the door like everybody else."""

from __future__ import annotations

import contextlib
import socket
from typing import Any

from armarc.live.web.door import Door, home_of


class Porch(socket.socket):
    """A listening socket that shows every new connection to the door before anything is said.

    Without it, connections that never encrypt would be seen by nobody until they time out.
    """

    def __init__(self, door: Door, listener: socket.socket) -> None:
        super().__init__(listener.family, listener.type, listener.proto, listener.detach())
        self._door = door

    def accept(self) -> tuple[socket.socket, Any]:
        """As of any socket; the longest waiting one of a crowd is sent away."""
        link, peer = super().accept()

        def send_away() -> None:
            with contextlib.suppress(OSError):
                link.shutdown(socket.SHUT_RDWR)

        self._door.arrive(peer, home_of(str(peer[0])), send_away)
        return link, peer
