"""The page's side of a phone that is the sensor: takes its frames, in order and each once, and says which it has."""

from __future__ import annotations

import asyncio
import contextlib
import json
import threading
from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass, field
from multiprocessing.connection import Connection

from websockets.asyncio.server import ServerConnection
from websockets.exceptions import ConnectionClosed

from armarc.sensor.link.connection import host_clock
from armarc.sensor.phone.messages import Hello, Readings, read_message
from armarc.sensor.wire.identifiers import PacketError

HELLO_S = 5.0
HELD_S = 20.0
"""A phone that was lost keeps its place for so long; then another may be the sensor."""
MOST_WAITING = 400
"""Messages the session has not fetched yet; a phone whose frames are not taken sends them again."""


class Outbox:
    """Hands messages to the session through a pipe, in a thread of its own: the page never waits for it."""

    def __init__(self, pipe: Connection) -> None:
        self._pipe = pipe
        self._waiting: deque[bytes] = deque()
        self._changed = threading.Condition()
        threading.Thread(target=self._carry, name="frames", daemon=True).start()

    def put(self, sensor: int, kind: str, at_s: float, text: str = "") -> bool:
        """False where the session is too far behind; nothing is taken then."""
        with self._changed:
            if len(self._waiting) >= MOST_WAITING:
                return False
            self._waiting.append(json.dumps([sensor, kind, at_s, text]).encode())
            self._changed.notify()
        return True

    def _carry(self) -> None:
        with contextlib.suppress(OSError, ValueError):
            while True:
                with self._changed:
                    self._changed.wait_for(lambda: bool(self._waiting))
                    one = self._waiting.popleft()
                self._pipe.send_bytes(one)


@dataclass(slots=True)
class _Seat:
    """Who is the sensor at one place, and what of it was taken."""

    number: int
    link: ServerConnection | None = None
    phone: str = ""
    tab: str = ""
    session: str = ""
    before: deque[str] = field(default_factory=lambda: deque(maxlen=16))
    """Pages whose place was taken by another one of the same phone."""
    next: int = 0
    left_s: float = -HELD_S


class PhoneDesk:
    """One phone at a time for each place; the page a phone opened last takes the place of its earlier ones.

    Parameters
    ----------
    outbox : Outbox
    places : sequence of str
        Where a phone may sit; the number of each goes with what it sends.
    """

    def __init__(self, outbox: Outbox, places: Sequence[str] = ("",)) -> None:
        self._outbox = outbox
        self._seats = {place: _Seat(number) for number, place in enumerate(places)}
        self._news: dict[str, object] = {}

    def scoreboard(self, text: str) -> None:
        """Tell the phones what of the scoreboard they show: whether to hold still, and the count."""
        with contextlib.suppress(ValueError, AttributeError):
            got = json.loads(text)
            news: dict[str, object] = (
                {"over": True} if got.get("over") else {"ready": got.get("ready"), "rep": got.get("rep")}
            )
            if news != self._news:
                self._news = news
                for seat in self._seats.values():
                    if seat.link is not None:
                        self._tell(seat.link, news)

    async def serve(self, link: ServerConnection) -> None:
        """One connection of a page, from its hello to its end."""
        seat = next(iter(self._seats.values()))
        with contextlib.suppress(ConnectionClosed, TimeoutError):
            try:
                async with asyncio.timeout(HELLO_S):
                    hello = read_message(await link.recv())
                if not isinstance(hello, Hello):
                    raise PacketError("a phone that did not say hello")
                place = hello.place or next(iter(self._seats))
                if place not in self._seats:
                    raise PacketError("a phone at a place where none is wanted")
                seat = self._seats[place]
                if not await self._welcome(link, place, hello):
                    return
                await self._listen(link, seat)
            except PacketError as error:
                self._outbox.put(seat.number, "bad", host_clock())
                await link.close(1008, error.message[:100])
            finally:
                if seat.link is link:
                    self._leave(seat)

    def _leave(self, seat: _Seat) -> None:
        seat.link, seat.left_s = None, host_clock()
        self._outbox.put(seat.number, "gone", seat.left_s)

    async def _welcome(self, link: ServerConnection, place: str, hello: Hello) -> bool:
        now_s = host_clock()
        seat = self._seats[place]
        where = "" if len(self._seats) == 1 else f" at this place ({place})"
        held = seat.link is not None or now_s - seat.left_s < HELD_S
        busy = ""
        if any(hello.session in one.before for one in self._seats.values()):
            # Without this two tabs of a phone would take the place from each other for ever.
            busy = "A page this phone opened later is the sensor"
        elif held and hello.tab != seat.tab and hello.phone != seat.phone:
            busy = f"Another phone is the sensor{where}"
        if busy:
            await link.send(json.dumps({"busy": busy}))
            return False
        for other in self._seats.values():
            if other is not seat and other.phone == hello.phone:
                # Tapped wrongly at first: the place it had is free for the other phone at once.
                before = other.link
                if before is not None:
                    self._leave(other)
                    before.transport.abort()
                other.before.append(other.session)
                other.phone, other.tab, other.left_s = "", "", -HELD_S
        if not self._outbox.put(seat.number, "message", now_s, _hello_text(hello)):
            return False
        before, seat.link = seat.link, link
        if before is not None:
            # Another tab, or the same one, whose old connection has not been noticed to be dead.
            before.transport.abort()
        if hello.session != seat.session:
            seat.next = hello.first
            if hello.phone == seat.phone:
                seat.before.append(seat.session)
        seat.phone, seat.tab, seat.session = hello.phone, hello.tab, hello.session
        seat.next = min(max(seat.next, hello.first), hello.next)
        await link.send(json.dumps({"next": seat.next, **self._news}))
        return True

    async def _listen(self, link: ServerConnection, seat: _Seat) -> None:
        async for text in link:
            if seat.link is not link:
                return
            message = read_message(text)
            if not isinstance(message, Readings):
                raise PacketError("a phone that said hello twice")
            if message.index > seat.next:
                raise PacketError("frames of a phone out of order")
            stop = message.index + len(message.time_s)
            whole = text if isinstance(text, str) else text.decode()
            if stop > seat.next and self._outbox.put(seat.number, "message", host_clock(), whole):
                seat.next = stop
            await link.send(json.dumps({"ack": seat.next}))

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
