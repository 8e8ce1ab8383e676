"""The page and its socket. Runs in a process of its own, so that no crowd at the door can slow the capture.

Everything it needs from the session are the scoreboards, as finished JSON, and the end of the pipe they come through.
A phone that is the sensor has its page and its socket here, too; what it sends goes back through a pipe of its own.
"""

from __future__ import annotations

import asyncio
import base64
import contextlib
import hashlib
import logging
import os
import signal
import socket
import ssl
import threading
from collections.abc import AsyncIterator, Callable, Sequence
from dataclasses import dataclass
from importlib.resources import files
from multiprocessing.connection import Connection
from queue import Full, Queue
from typing import TYPE_CHECKING, Any
from urllib.parse import parse_qs, urlsplit

from websockets.asyncio.server import ServerConnection, serve
from websockets.datastructures import Headers
from websockets.exceptions import ConnectionClosed
from websockets.http11 import Request, Response

from armarc.live.web.access import Access
from armarc.live.web.door import Door, Porch, home_of

if TYPE_CHECKING:
    from armarc.live.web.phone_desk import PhoneDesk

_PLACE = '<script src="phone.js"></script>'


def phone_page(task: str = "", places: Sequence[str] = ()) -> tuple[str, str]:
    """The page with its script inside, and the script's SHA-256 for the page's content policy, base64.

    Parameters
    ----------
    task : str
        What the phone is wanted for, where it is not lifting live: what it tells its wearer.
    places : sequence of str
        Where phones are wanted, unless it is one on the wrist: each asks where it sits.
    """
    room = files("armarc.live.web")
    script = room.joinpath("phone.js").read_text("utf-8")
    page = room.joinpath("phone.html").read_text("utf-8")
    page = page.replace("<main>", f'<main data-task="{task}" data-places="{",".join(places)}">')
    digest = base64.b64encode(hashlib.sha256(script.encode()).digest()).decode()
    return page.replace(_PLACE, f"<script>{script}</script>"), digest


BACKLOG = 32
QUEUE = 4
OVER = '{"over": true}'
HANDSHAKE_S = 5.0
PING_S = 10.0
LONGEST_MESSAGE = 1024
"""The page of the scoreboards sends orders alone, which are short."""
ORDERS_WAITING, ORDER_EVERY_S = 16, 0.1
"""Orders that wait for the session, and how soon one page may give the next; what is beyond is dropped."""
SCRIPT_SOURCE = "script-src 'self'"
HEADERS = {
    "Content-Security-Policy": f"default-src 'none'; style-src 'unsafe-inline'; {SCRIPT_SOURCE}; "
    "connect-src 'self'; img-src data:; base-uri 'none'; form-action 'none'; frame-ancestors 'none'",
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "no-referrer",
    "Cache-Control": "no-store",
}
_HTML, _SCRIPT = "text/html; charset=utf-8", "text/javascript; charset=utf-8"


@dataclass(frozen=True, slots=True, kw_only=True)
class PhoneServing:
    """What a phone as the sensor needs.

    Parameters
    ----------
    pipe : Connection
        Its frames go through it to the session.
    certificate : ssl.SSLContext
    scoreboards : bool
        Whether there are scoreboards to show on another page.
    task : str
    places : tuple of str
        As in `phone_page`.
    """

    pipe: Connection
    certificate: ssl.SSLContext
    scoreboards: bool
    task: str
    places: tuple[str, ...]


class NewestScoreboard:
    """The newest scoreboard, and who is waiting for the next."""

    def __init__(self) -> None:
        self._queues: set[asyncio.Queue[str]] = set()
        self._latest = ""

    def put(self, text: str) -> None:
        """Hand a scoreboard to every page; one that cannot keep up loses old scoreboards, never the newest."""
        self._latest = text
        for queue in self._queues:
            if queue.full():
                queue.get_nowait()
            queue.put_nowait(text)

    async def every(self) -> AsyncIterator[str]:
        """The newest scoreboard and every one after it."""
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
        # Whoever has encrypted steps from the porch to the door.
        self.door.leave(peer)
        self.door.arrive(self, home_of(str(peer[0])) if peer else "", transport.abort)

    def connection_lost(self, exc: Exception | None) -> None:
        self.door.leave(self)
        super().connection_lost(exc)


class _Pages:
    """Answers to requests: the page, its script, the socket, or why not."""

    def __init__(self, access: Access, door: Door, phone: PhoneServing | None) -> None:
        self._access = access
        self._door = door
        self._bodies: dict[str, tuple[bytes, str, str]] = {}
        if phone is None or phone.scoreboards:
            room = files("armarc.live.web")
            page, script = (room.joinpath(name).read_text("utf-8") for name in ("page.html", "page.js"))
            # The script is asked for with the page's own token: without it nothing at all is handed out.
            page = page.replace('src="page.js"', f'src="page.js{access.query}"')
            self._bodies |= {"/": (page.encode(), _HTML, ""), "/page.js": (script.encode(), _SCRIPT, "")}
        if phone is not None:
            text, digest = phone_page(phone.task, () if phone.places in (("",), ("wrist",)) else phone.places)
            self._bodies["/phone"] = (text.encode(), _HTML, f"'sha256-{digest}'")
        self._sockets = {"/": "/live", "/phone": "/phone/stream"}

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
        token = parse_qs(parts.query, max_num_fields=20).get("token", [""])[0]
        if not access.allows_token(token):
            return _text(403, "The address needs the token that armarc printed.\n")
        if parts.path in self._bodies:
            body, kind, script = self._bodies[parts.path]
            return _response(200, body, kind, script)
        if parts.path not in [self._sockets[page] for page in self._bodies if page in self._sockets]:
            return _text(404, "not found\n")
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


def _response(status: int, body: bytes, kind: str, script: str = "") -> Response:
    import http

    policy = HEADERS["Content-Security-Policy"]
    if script:
        policy = policy.replace(SCRIPT_SOURCE, f"script-src {script}")
    headers = Headers(HEADERS | {"Content-Security-Policy": policy})
    headers["Content-Type"] = kind
    headers["Content-Length"] = str(len(body))
    headers["Connection"] = "close"
    return Response(status, http.HTTPStatus(status).phrase, headers, body)


def serve_pages(
    listener: socket.socket,
    scoreboards: Connection,
    access: Access,
    orders: Connection,
    frames: Connection | None = None,
    certificate: str = "",
    shows_boards: bool = True,
    task: str = "",
    places: tuple[str, ...] = ("",),
) -> None:
    """Serve until the pipe of scoreboards ends; the whole life of the process.

    Parameters
    ----------
    listener : socket
    scoreboards : Connection
    access : Access
    orders : Connection
        Where what the pages order goes.
    frames : Connection or None
        Where the frames of a phone go that is the sensor.
    certificate : str
        File of key and certificate, for a phone.
    shows_boards : bool
        Whether there is a page for the scoreboards.
    task : str
    places : tuple of str
        What phones are wanted for, and where.
    """
    # Ctrl-C belongs to the session, which ends this process by ending the pipe.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    if frames is None and hasattr(os, "nice"):
        with contextlib.suppress(OSError):
            os.nice(5)  # the capture comes first on a busy machine
    phone = None
    if frames is not None:
        context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
        context.minimum_version = ssl.TLSVersion.TLSv1_2
        context.load_cert_chain(certificate)
        phone = PhoneServing(
            pipe=frames, certificate=context, scoreboards=shows_boards, task=task, places=places
        )
    asyncio.run(_serve(listener, scoreboards, access, orders, phone))


async def _serve(
    listener: socket.socket,
    pipe: Connection,
    access: Access,
    orders: Connection,
    phone: PhoneServing | None,
) -> None:
    loop = asyncio.get_running_loop()
    # A full table of open files is met by waiting, not by a page of text for every try.
    loop.set_exception_handler(lambda *_: None)
    quiet = logging.getLogger("armarc.live.web")
    quiet.addHandler(logging.NullHandler())
    quiet.propagate = False
    scoreboards, over, door = NewestScoreboard(), asyncio.Event(), Door()
    desk: PhoneDesk | None = None
    longest = LONGEST_MESSAGE
    if phone is not None:
        # Checking what a phone sends takes NumPy, which a page that is only read does without.
        from armarc.live.web.phone_desk import Outbox, PhoneDesk
        from armarc.sensor.phone import LONGEST_MESSAGE as LONGEST_OF_PHONE

        desk, longest = PhoneDesk(Outbox(phone.pipe), phone.places), LONGEST_OF_PHONE

    class Visitor(_Visitor):
        pass

    Visitor.door = door

    async def live(link: ServerConnection) -> None:
        if desk is not None and link.request is not None and link.request.path.startswith("/phone/"):
            await desk.serve(link)
            return
        taking = asyncio.create_task(_take_orders(link, ordered))
        try:
            with contextlib.suppress(ConnectionClosed):
                async for text in scoreboards.every():
                    await link.send(text)
        finally:
            taking.cancel()

    def put(text: str) -> None:
        scoreboards.put(text)
        if desk is not None:
            desk.scoreboard(text)

    ordered: Queue[str] = Queue(ORDERS_WAITING)
    threading.Thread(target=_hand_over, args=(ordered, orders), daemon=True).start()
    threading.Thread(target=_receive, args=(pipe, loop, put, over), daemon=True).start()
    options: dict[str, Any] = {"server_header": None, "logger": quiet, "compression": None}
    if phone is not None:
        listener = Porch(door, listener)
        options |= {"ssl": phone.certificate, "ssl_handshake_timeout": HANDSHAKE_S}
    async with serve(
        live,
        sock=listener,
        backlog=BACKLOG,
        process_request=_Pages(access, door, phone).answer,
        create_connection=Visitor,
        open_timeout=HANDSHAKE_S,
        ping_interval=PING_S,
        ping_timeout=PING_S,
        close_timeout=2.0,
        max_size=longest,
        **options,
    ):
        await over.wait()
        await asyncio.sleep(0.1)  # the pages hear that it is over


async def _take_orders(link: ServerConnection, ordered: Queue[str]) -> None:
    with contextlib.suppress(ConnectionClosed):
        async for message in link:
            if isinstance(message, str):
                with contextlib.suppress(Full):
                    ordered.put_nowait(message)
            await asyncio.sleep(ORDER_EVERY_S)


def _hand_over(ordered: Queue[str], pipe: Connection) -> None:
    with contextlib.suppress(OSError, ValueError):
        while True:
            pipe.send_bytes(ordered.get().encode("utf-8", "replace"))


def _receive(
    pipe: Connection, loop: asyncio.AbstractEventLoop, put: Callable[[str], None], over: asyncio.Event
) -> None:
    with contextlib.suppress(EOFError, OSError):
        while True:
            loop.call_soon_threadsafe(put, pipe.recv_bytes().decode())
    with contextlib.suppress(RuntimeError):
        loop.call_soon_threadsafe(put, OVER)
        loop.call_soon_threadsafe(over.set)
