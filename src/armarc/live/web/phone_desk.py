"""The page's side of a phone that is the sensor: takes its frames, in order and each once, and says which it has."""

from __future__ import annotations

import asyncio
import contextlib
import json
import threading
from collections import deque
from multiprocessing.connection import Connection

from websockets.asyncio.server import ServerConnection
from websockets.exceptions import ConnectionClosed

from armarc.sensor.link.session import host_clock
from armarc.sensor.phone.messages import Frames, Hello, read_message
from armarc.sensor.wire.errors import PacketError

HELLO_S = 5.0
HELD_S = 20.0
"""A phone that was lost keeps its place for so long; then another may be the sensor."""
MOST_WAITING = 400
"""Messages the session has not fetched yet; a phone whose frames are not taken sends them again."""
BUSY = "another phone, or another tab, is the sensor"


class Outbox:
    """Hands messages to the session through a pipe, in a thread of its own: the page never waits for it."""

    def __init__(self, pipe: Connection) -> None:
        self._pipe = pipe
        self._waiting: deque[bytes] = deque()
        self._changed = threading.Condition()
        threading.Thread(target=self._carry, name="frames", daemon=True).start()

    def put(self, kind: str, at_s: float, text: str = "") -> bool:
        """False where the session is too far behind; nothing is taken then."""
        with self._changed:
            if len(self._waiting) >= MOST_WAITING:
                return False
            self._waiting.append(json.dumps([kind, at_s, text]).encode())
            self._changed.notify()
        return True

    def _carry(self) -> None:
        with contextlib.suppress(OSError, ValueError):
            while True:
                with self._changed:
                    self._changed.wait_for(lambda: bool(self._waiting))
                    one = self._waiting.popleft()
                self._pipe.send_bytes(one)


class PhoneDesk:
    """One phone at a time; a page that was loaded anew takes its tab's place.

    Parameters
    ----------
    outbox : Outbox
    """

    def __init__(self, outbox: Outbox) -> None:
        self._outbox = outbox
        self._link: ServerConnection | None = None
        self._tab = self._session = self._before = ""
        self._next = 0
        self._left_s = -HELD_S
        self._news: dict[str, object] = {}

    def board(self, text: str) -> None:
        """Tell the phone what of the board it shows: whether to hold still, and the count."""
        with contextlib.suppress(ValueError, AttributeError):
            got = json.loads(text)
            news: dict[str, object] = (
                {"over": True} if got.get("over") else {"ready": got.get("ready"), "rep": got.get("rep")}
            )
            if news != self._news:
                self._news = news
                if self._link is not None:
                    self._tell(self._link, news)

    async def serve(self, link: ServerConnection) -> None:
        """One connection of a page, from its hello to its end."""
        with contextlib.suppress(ConnectionClosed, TimeoutError):
            try:
                async with asyncio.timeout(HELLO_S):
                    hello = read_message(await link.recv())
                if not isinstance(hello, Hello):
                    raise PacketError("a phone that did not say hello")
                if not await self._welcome(link, hello):
                    return
                await self._listen(link)
            except PacketError as error:
                self._outbox.put("bad", host_clock())
                await link.close(1008, error.message[:100])
            finally:
                if self._link is link:
                    self._link, self._left_s = None, host_clock()
                    self._outbox.put("gone", host_clock())

    async def _welcome(self, link: ServerConnection, hello: Hello) -> bool:
        now_s = host_clock()
        same = hello.tab == self._tab
        held = self._link is not None or now_s - self._left_s < HELD_S
        # A tab that was duplicated keeps its name: the page that took its place stays.
        if (not same and held) or hello.session == self._before:
            await link.send(json.dumps({"busy": BUSY}))
            return False
        if not self._outbox.put("message", now_s, _hello_text(hello)):
            return False
        before, self._link = self._link, link
        if before is not None:
            # The same tab, whose old connection has not been noticed to be dead.
            before.transport.abort()
        if hello.session != self._session:
            self._next = hello.first
            self._before = self._session
        self._tab, self._session = hello.tab, hello.session
        self._next = min(max(self._next, hello.first), hello.next)
        await link.send(json.dumps({"next": self._next, **self._news}))
        return True

    async def _listen(self, link: ServerConnection) -> None:
        async for text in link:
            if self._link is not link:
                return
            message = read_message(text)
            if not isinstance(message, Frames):
                raise PacketError("a phone that said hello twice")
            if message.index > self._next:
                raise PacketError("frames of a phone out of order")
            stop = message.index + len(message.time_s)
            whole = text if isinstance(text, str) else text.decode()
            if stop > self._next and self._outbox.put("message", host_clock(), whole):
                self._next = stop
            await link.send(json.dumps({"ack": self._next}))

    def _tell(self, link: ServerConnection, news: dict[str, object]) -> None:
        async def send() -> None:
            with contextlib.suppress(ConnectionClosed):
                await link.send(json.dumps(news))

        task = asyncio.get_running_loop().create_task(send())
        self._sending = task  # a task nobody holds may vanish


def _hello_text(hello: Hello) -> str:
    return json.dumps(
        {
            "hello": 1,
            "phone": hello.phone,
            "tab": hello.tab,
            "session": hello.session,
            "first": hello.first,
            "next": hello.next,
        }
    )
