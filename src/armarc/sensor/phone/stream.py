"""The stream of events of phones, from what the page's process hands on."""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import AsyncGenerator, Callable, Sequence
from dataclasses import dataclass, replace

from armarc.errors import SensorError
from armarc.sensor.events import Event, Frames, LinkUp, Trouble
from armarc.sensor.link.connection import host_clock
from armarc.sensor.phone.messages import Hello, read_message
from armarc.sensor.phone.receiver import Receiver

SILENCE_S = 2.0
GIVE_UP_S = 300.0
ON_THE_WAY_S = 0.5
"""So long a stop waits for what the page's process has acknowledged and not yet handed on (working limit)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Heard:
    """Something the page's process hands on.

    Parameters
    ----------
    sensor : int
        Which of the phones.
    kind : str
        ``"message"`` (one that `read_message` takes), ``"gone"`` or ``"bad"``.
    at_s : float, s
        On `host_clock`, which all processes of this machine share.
    text : str
    """

    sensor: int = 0
    kind: str
    at_s: float
    text: str = ""


async def phone_stream(
    inbox: asyncio.Queue[Heard | None],
    *,
    stop: asyncio.Event,
    places: Sequence[str] = ("",),
    give_up_s: float = GIVE_UP_S,
    clock: Callable[[], float] = host_clock,
) -> AsyncGenerator[Event, None]:
    """Events of one phone or several, on one clock that starts now; the end of the stream as for any sensor.

    Parameters
    ----------
    inbox : asyncio.Queue
        None when the page's process has ended.
    stop : asyncio.Event
        Ends the stream in good order; what has arrived is still handed on.
    places : sequence of str
        Where each sits, in words, in the order of their numbers.
    give_up_s : float, s
        A phone that was there and stays away for this long is given up; with it the stream, when no other is left.

    Raises
    ------
    SensorError
        No phone came back, or the page's process has ended.
    """
    began_s = clock()
    receivers = [Receiver(number) for number in range(len(places))]
    heard_s: dict[int, float] = {}
    given_up: set[int] = set()
    fault: SensorError | None = None
    stopped_s: float | None = None
    stopping = asyncio.create_task(stop.wait())
    getting: asyncio.Task[Heard | None] = asyncio.create_task(inbox.get())
    try:
        while fault is None:
            await asyncio.wait({getting, stopping}, timeout=0.5, return_when=asyncio.FIRST_COMPLETED)
            now_s = clock() - began_s
            if stopped_s is None and stop.is_set():
                stopped_s = now_s
            if getting.done():
                item = getting.result()
                if item is not None and stopped_s is not None and item.at_s - began_s > stopped_s:
                    break
                getting = asyncio.create_task(inbox.get())
                if item is None:
                    fault = SensorError("the process that serves the phone's page has ended", "start again")
                    continue
                if item.kind == "message":
                    heard_s[item.sensor] = now_s
                    given_up.discard(item.sensor)
                for event in _events(receivers[item.sensor], item, max(0.0, item.at_s - began_s)):
                    yield event
                    if isinstance(event, LinkUp) and not event.again and len(places) > 1:
                        words = f"this phone is on the {places[item.sensor]}"
                        yield Trouble(sensor=item.sensor, time_s=event.time_s, message=words)
            elif stopped_s is not None:
                if not (await asyncio.wait({getting}, timeout=ON_THE_WAY_S))[0]:
                    break
                continue
            for number in heard_s:
                if now_s - heard_s[number] > SILENCE_S:
                    for event in receivers[number].lost(
                        now_s, "the phone is silent; its screen may be locked"
                    ):
                        yield event
                if now_s - heard_s[number] <= give_up_s or number in given_up:
                    continue
                given_up.add(number)
                which = "the phone" if len(places) == 1 else f"the phone on the {places[number]}"
                error = SensorError(
                    f"{which} was lost and did not come back in {give_up_s:g} s",
                    "keep its page in front and in reach of this machine's network",
                )
                if len(given_up) == len(heard_s):
                    fault = error
                else:
                    yield Trouble(sensor=number, time_s=now_s, message=str(error))
        for receiver in receivers:
            for event in receiver.finish(clock() - began_s):
                yield event
    finally:
        stopping.cancel()
        getting.cancel()
    if fault is not None:
        raise fault


def _events(receiver: Receiver, item: Heard, at_s: float) -> list[Event]:
    if item.kind == "bad":
        receiver.bad += 1
        return []
    if item.kind == "gone":
        return receiver.lost(at_s, "the phone's connection is gone")
    message = read_message(item.text)
    if isinstance(message, Hello):
        return receiver.hello(message, at_s)
    return receiver.frames(message, at_s)


async def together(
    streams: Sequence[tuple[AsyncGenerator[Event, None], int]], *, stop: asyncio.Event
) -> AsyncGenerator[Event, None]:
    """Events of phones and of other sensors on one clock, which begins with this stream.

    Parameters
    ----------
    streams : sequence of (async generator of Event, int)
        With the number its first sensor has here; none has begun.
    stop : asyncio.Event
        The one they all have; set when one of them fails before its first sample, or is the last one.

    Raises
    ------
    SensorError, UsageError
        As they do; of one that had samples it is said, and the others go on.
    """
    came: asyncio.Queue[tuple[int, Event | Exception | None]] = asyncio.Queue()

    async def carry(events: AsyncGenerator[Event, None], number: int) -> None:
        ended: Exception | None = None
        try:
            async with contextlib.aclosing(events) as running:
                async for event in running:
                    came.put_nowait((number, replace(event, sensor=event.sensor + number)))
        except Exception as error:
            ended = error
        came.put_nowait((number, ended))

    tasks = [asyncio.create_task(carry(events, number)) for events, number in streams]
    left, sampled, fault = len(tasks), set[int](), None
    now_s = 0.0
    try:
        while left:
            number, event = await came.get()
            if isinstance(event, Exception):
                left -= 1
                if left and number in sampled and isinstance(event, SensorError):
                    yield Trouble(sensor=number, time_s=now_s, message=str(event))
                else:
                    fault = fault or event
                    stop.set()
            elif event is None:
                left -= 1
            else:
                if isinstance(event, Frames):
                    sampled.add(number)
                    now_s = float(event.time_s[-1])
                yield event
    finally:
        for task in tasks:
            task.cancel()
        await asyncio.gather(*tasks, return_exceptions=True)
    if fault is not None:
        raise fault
