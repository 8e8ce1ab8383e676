"""The page and its socket, served by Starlette inside the session's own loop."""

from __future__ import annotations

import asyncio
import contextlib
import json
import socket
from collections.abc import AsyncIterator
from importlib.resources import files
from typing import TYPE_CHECKING, Any

from armarc.errors import UsageError
from armarc.live.board import Board
from armarc.live.events import EngineEvent
from armarc.live.web.access import Access
from armarc.live.web.messages import board_message

if TYPE_CHECKING:
    from starlette.applications import Starlette
    from starlette.requests import Request
    from starlette.responses import Response
    from starlette.websockets import WebSocket

FRAMES_PER_S = 20.0
QUEUE = 4
MISSING = "the page needs starlette, uvicorn and websockets"
HEADERS = {
    "Content-Security-Policy": "default-src 'none'; style-src 'unsafe-inline'; script-src 'unsafe-inline'; "
    "connect-src 'self'; img-src data:; base-uri 'none'; form-action 'none'; frame-ancestors 'none'",
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "no-referrer",
    "Cache-Control": "no-store",
}


class WebFace:
    """Sends the board to every page that is open."""

    def __init__(self) -> None:
        self._boards: set[asyncio.Queue[str]] = set()
        self._latest = ""
        self._sent_s = -1.0
        self._news = False
        self.closed = False

    def hear(self, record: dict[str, Any], event: EngineEvent | None) -> None:
        """The next board goes out at once."""
        self._news = True

    def refresh(self, board: Board) -> None:
        """Send the board when something has happened or a frame is due."""
        now_s = asyncio.get_running_loop().time()
        if not self._news and now_s - self._sent_s < 1.0 / FRAMES_PER_S:
            return
        self._sent_s, self._news = now_s, False
        self._latest = json.dumps(board_message(board), allow_nan=False, ensure_ascii=False)
        for queue in self._boards:
            # A page that cannot keep up loses old boards, never the newest.
            if queue.full():
                queue.get_nowait()
            queue.put_nowait(self._latest)

    def close(self) -> None:
        """Tell the pages that the session is over."""
        self.closed = True
        for queue in self._boards:
            if queue.full():
                queue.get_nowait()
            queue.put_nowait('{"over": true}')

    async def boards(self) -> AsyncIterator[str]:
        """The latest board and every one after it."""
        queue: asyncio.Queue[str] = asyncio.Queue(QUEUE)
        if self._latest:
            queue.put_nowait(self._latest)
        self._boards.add(queue)
        try:
            while True:
                yield await queue.get()
        finally:
            self._boards.discard(queue)


def build_app(face: WebFace, access: Access) -> Starlette:
    """The application: ``/`` is the page, ``/live`` its socket.

    Raises
    ------
    UsageError
        When the libraries are missing.
    """
    try:
        from starlette.applications import Starlette
        from starlette.responses import HTMLResponse, PlainTextResponse
        from starlette.routing import Route, WebSocketRoute
    except ImportError as error:
        raise UsageError(MISSING, "pip install 'armarc[web]'") from error
    html = files("armarc.live.web").joinpath("page.html").read_text("utf-8")

    async def page(request: Request) -> Response:
        if not access.allows_host(request.headers.get("host")):
            return PlainTextResponse("unknown host name\n", 421, headers=HEADERS)
        if not access.allows_token(request.query_params.get("token")):
            text = "The address needs the token that armarc printed.\n"
            return PlainTextResponse(text, 403, headers=HEADERS)
        return HTMLResponse(html, headers=HEADERS)

    async def live(link: WebSocket) -> None:
        host, origin = link.headers.get("host"), link.headers.get("origin")
        welcome = (
            access.allows_host(host)
            and access.allows_origin(origin, host)
            and access.allows_token(link.query_params.get("token"))
        )
        if not welcome:
            # Refused before the handshake: the browser sees HTTP 403.
            await link.close(1008)
            return
        await link.accept()
        sending = asyncio.create_task(_send(face, link))
        try:
            while (await link.receive())["type"] != "websocket.disconnect":
                pass
        finally:
            sending.cancel()
            with contextlib.suppress(asyncio.CancelledError, Exception):
                await sending

    return Starlette(routes=[Route("/", page), WebSocketRoute("/live", live)])


async def _send(face: WebFace, link: WebSocket) -> None:
    async for text in face.boards():
        await link.send_text(text)


class Server:
    """Runs the application until left."""

    def __init__(self, face: WebFace, access: Access) -> None:
        try:
            import uvicorn
            import websockets  # noqa: F401 - uvicorn would only warn about it when a page connects
        except ImportError as error:
            raise UsageError(MISSING, "pip install 'armarc[web]'") from error
        self._socket = _listen(access)
        self.port: int = self._socket.getsockname()[1]
        config = uvicorn.Config(
            build_app(face, access),
            log_level="error",
            access_log=False,
            ws="websockets-sansio",
            lifespan="off",
            timeout_graceful_shutdown=2,
            server_header=False,
        )
        self._server = uvicorn.Server(config)
        self._task: asyncio.Task[None] | None = None

    async def __aenter__(self) -> Server:
        # Ctrl-C belongs to the session, not to the server.
        self._task = asyncio.create_task(self._server._serve([self._socket]))
        while not self._server.started:
            if self._task.done():
                self._task.result()
            await asyncio.sleep(0.01)
        return self

    async def __aexit__(self, *_: object) -> None:
        self._server.should_exit = True
        if self._task is not None:
            await self._task
        self._socket.close()


def _listen(access: Access) -> socket.socket:
    family = socket.AF_INET6 if ":" in access.host else socket.AF_INET
    listener = socket.socket(family, socket.SOCK_STREAM)
    listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listener.bind((access.host.strip("[]"), access.port))
    except OSError as error:
        listener.close()
        raise UsageError(
            f"cannot listen on {access.host} port {access.port}: {error.strerror or error}",
            "choose another --port (0 takes a free one) or --host",
        ) from error
    return listener
