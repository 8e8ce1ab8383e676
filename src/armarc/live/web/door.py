"""The door of the page: how many may stand in front of it, and how many may come in.

Whoever has only connected stands in front; who has shown what `Access` asks for and opened the page's socket is
inside. A crowd in front cannot shut the page: the longest waiting one makes room for the newest, and an honest phone
needs a few milliseconds to come in. Limits are working limits: a coach has a phone, a tablet and a few open tabs.
"""

from __future__ import annotations

import contextlib
import ipaddress
import socket
from collections import Counter
from collections.abc import Callable, Hashable

MOST_WAITING = 64
MOST_WAITING_OF_ONE = 16
MOST_INSIDE = 32
MOST_INSIDE_OF_ONE = 8


class Door:
    """Counts visitors, in total and by where they come from."""

    def __init__(self) -> None:
        self._waiting: dict[Hashable, tuple[str, Callable[[], None]]] = {}
        self._inside: dict[Hashable, str] = {}

    def arrive(self, visitor: Hashable, home: str, send_away: Callable[[], None]) -> None:
        """Somebody has connected; the longest waiting one of a full crowd is sent away."""
        same = [one for one, (place, _) in self._waiting.items() if place == home]
        if len(same) >= MOST_WAITING_OF_ONE:
            self._send_away(same[0])
        elif len(self._waiting) >= MOST_WAITING:
            self._send_away(next(iter(self._waiting)))
        self._waiting[visitor] = (home, send_away)

    def come_in(self, visitor: Hashable) -> bool:
        """Let a visitor in who has shown what is asked for; False when the room is full."""
        if visitor not in self._waiting:
            return False
        home = self._waiting[visitor][0]
        if len(self._inside) >= MOST_INSIDE or Counter(self._inside.values())[home] >= MOST_INSIDE_OF_ONE:
            return False
        del self._waiting[visitor]
        self._inside[visitor] = home
        return True

    def leave(self, visitor: Hashable) -> None:
        """A connection is gone."""
        self._waiting.pop(visitor, None)
        self._inside.pop(visitor, None)

    def _send_away(self, visitor: Hashable) -> None:
        _, send_away = self._waiting.pop(visitor)
        send_away()


def home_of(address: str) -> str:
    """What counts as one place: an IPv4 address, or the /64 one household is given in IPv6 (RFC 6177)."""
    try:
        ip = ipaddress.ip_address(address.partition("%")[0])
    except ValueError:
        return address
    if isinstance(ip, ipaddress.IPv6Address):
        if ip.ipv4_mapped is not None:
            return str(ip.ipv4_mapped)
        return str(ipaddress.ip_network((ip, 64), strict=False))
    return str(ip)


class Porch(socket.socket):
    """A listening socket that shows every new connection to the door before anything is said.

    Without it, connections that never encrypt would be seen by nobody until they time out.
    """

    def __init__(self, door: Door, listener: socket.socket) -> None:
        super().__init__(listener.family, listener.type, listener.proto, listener.detach())
        self._door = door

    def accept(self) -> tuple[socket.socket, object]:
        """As of any socket; the longest waiting one of a crowd is sent away."""
        link, peer = super().accept()

        def send_away() -> None:
            with contextlib.suppress(OSError):
                link.shutdown(socket.SHUT_RDWR)

        self._door.arrive(peer, home_of(str(peer[0])), send_away)
        return link, peer
