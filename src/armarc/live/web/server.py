"""The page and its socket. Runs in a process of its own, so that no crowd at the door can slow the capture.

Everything it needs from the session are the boards, as finished JSON, and the end of the pipe they come through.
"""

from __future__ import annotations

import asyncio
import contextlib
import logging
import os
import signal
import socket
import threading
from collections.abc import AsyncIterator
from importlib.resources import files
from multiprocessing.connection import Connection
from typing import Any
from urllib.parse import parse_qs, urlsplit

from websockets.asyncio.server import ServerConnection, serve
from websockets.datastructures import Headers
from websockets.exceptions import ConnectionClosed
from websockets.http11 import Request, Response

from armarc.live.web.access import Access
from armarc.live.web.door import Door, home_of

BACKLOG = 32
QUEUE = 4
OVER = '{"over": true}'
HANDSHAKE_S = 5.0
PING_S = 10.0
LONGEST_MESSAGE = 1024
"""The page sends nothing; what a browser may send by itself is shorter."""
HEADERS = {
    "Content-Security-Policy": "default-src 'none'; style-src 'unsafe-inline'; script-src 'self'; "
    "connect-src 'self'; img-src data:; base-uri 'none'; form-action 'none'; frame-ancestors 'none'",
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "no-referrer",
    "Cache-Control": "no-store",
}
_TYPES = {"/": "text/html; charset=utf-8", "/page.js": "text/javascript; charset=utf-8"}


class Boards:
    """The newest board, and who is waiting for the next."""

    def __init__(self) -> None:
        self._queues: set[asyncio.Queue[str]] = set()
        self._latest = ""

    def put(self, text: str) -> None:
        """Hand a board to every page; one that cannot keep up loses old boards, never the newest."""
        self._latest = text
        for queue in self._queues:
            if queue.full():
                queue.get_nowait()
            queue.put_nowait(text)

    async def every(self) -> AsyncIterator[str]:
        """The newest board and every one after it."""
        queue: asyncio.Queue[str] = asyncio.Queue(QUEUE)
        if self._latest:
            queue.put_nowait(self._latest)
        self._queues.add(queue)
        try:
            while True:
                yield await queue.get()
        finally:
            self._queues.discard(queue)


class _Visitor(ServerConnection):
    """A connection that passes the door."""

    door: Door

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        super().connection_made(transport)
        assert isinstance(transport, asyncio.Transport)
        peer = transport.get_extra_info("peername")
        self.door.arrive(self, home_of(str(peer[0])) if peer else "", transport.abort)

    def connection_lost(self, exc: Exception | None) -> None:
        self.door.leave(self)
        super().connection_lost(exc)


class _Pages:
    """Answers to requests: the page, its script, the socket, or why not."""

    def __init__(self, access: Access, door: Door) -> None:
        self._access = access
        self._door = door
        room = files("armarc.live.web")
        self._bodies = {
            "/": room.joinpath("page.html").read_bytes(),
            "/page.js": room.joinpath("page.js").read_bytes(),
        }

    def answer(self, link: ServerConnection, request: Request) -> Response | None:
        """The response of a request, or None to open the socket."""
        access, headers = self._access, request.headers
        # Versions of the library that let other methods in say which one it is.
        if getattr(request, "method", "GET") != "GET":
            return _text(405, "this page is only read\n")
        host, origin = _only(headers, "Host"), _only(headers, "Origin")
        if not access.allows_host(host):
            return _text(421, "unknown host name\n")
        parts = urlsplit(request.path)
        if parts.path == "/page.js":
            return _response(200, self._bodies[parts.path], _TYPES[parts.path])
        if parts.path not in ("/", "/live"):
            return _text(404, "not found\n")
        token = parse_qs(parts.query, max_num_fields=20).get("token", [""])[0]
        if not access.allows_token(token):
            return _text(403, "The address needs the token that armarc printed.\n")
        if parts.path == "/":
            return _response(200, self._bodies["/"], _TYPES["/"])
        if not access.allows_origin(origin, host):
            return _text(403, "refused: another site asks\n")
        if (headers.get_all("Upgrade") or [""])[0].lower() != "websocket":
            return _text(426, "this address is a web socket\n")
        if not self._door.come_in(link):
            return _text(503, "too many pages are open\n")
        return None


def _only(headers: Headers, name: str) -> str | None:
    found = headers.get_all(name)
    return None if not found else found[0] if len(found) == 1 else ""


def _text(status: int, text: str) -> Response:
    return _response(status, text.encode(), "text/plain; charset=utf-8")


def _response(status: int, body: bytes, kind: str) -> Response:
    import http

    headers = Headers(HEADERS)
    headers["Content-Type"] = kind
    headers["Content-Length"] = str(len(body))
    headers["Connection"] = "close"
    return Response(status, http.HTTPStatus(status).phrase, headers, body)


def serve_pages(listener: socket.socket, boards: Connection, access: Access) -> None:
    """Serve until the pipe of boards ends; the whole life of the process."""
    # Ctrl-C belongs to the session, which ends this process by ending the pipe.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    if hasattr(os, "nice"):
        with contextlib.suppress(OSError):
            os.nice(5)  # the capture comes first on a busy machine
    asyncio.run(_serve(listener, boards, access))


async def _serve(listener: socket.socket, pipe: Connection, access: Access) -> None:
    loop = asyncio.get_running_loop()
    # A full table of open files is met by waiting, not by a page of text for every try.
    loop.set_exception_handler(lambda *_: None)
    quiet = logging.getLogger("armarc.live.web")
    quiet.addHandler(logging.NullHandler())
    quiet.propagate = False
    boards, over, door = Boards(), asyncio.Event(), Door()

    class Visitor(_Visitor):
        pass

    Visitor.door = door

    async def live(link: ServerConnection) -> None:
        with contextlib.suppress(ConnectionClosed):
            async for text in boards.every():
                await link.send(text)

    threading.Thread(target=_receive, args=(pipe, loop, boards, over), daemon=True).start()
    options: dict[str, Any] = {"server_header": None, "logger": quiet, "compression": None}
    async with serve(
        live,
        sock=listener,
        backlog=BACKLOG,
        process_request=_Pages(access, door).answer,
        create_connection=Visitor,
        open_timeout=HANDSHAKE_S,
        ping_interval=PING_S,
        ping_timeout=PING_S,
        close_timeout=2.0,
        max_size=LONGEST_MESSAGE,
        **options,
    ):
        await over.wait()
        await asyncio.sleep(0.1)  # the pages hear that it is over


def _receive(pipe: Connection, loop: asyncio.AbstractEventLoop, boards: Boards, over: asyncio.Event) -> None:
    with contextlib.suppress(EOFError, OSError):
        while True:
            loop.call_soon_threadsafe(boards.put, pipe.recv_bytes().decode())
    with contextlib.suppress(RuntimeError):
        loop.call_soon_threadsafe(boards.put, OVER)
        loop.call_soon_threadsafe(over.set)
