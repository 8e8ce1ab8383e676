"""One stream of events from one or several sensors, through every loss of the link."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncGenerator, Sequence
from dataclasses import dataclass

from armarc.errors import SensorError
from armarc.sensor.events import Event, Trouble
from armarc.sensor.link.connection import host_clock
from armarc.sensor.link.listener import Listener, StreamOptions

__all__ = ["StreamOptions", "stream"]


async def stream(
    sensors: Sequence[str] = ("",),
    options: StreamOptions | None = None,
    *,
    stop: asyncio.Event | None = None,
) -> AsyncGenerator[Event, None]:
    """Events of one or several sensors, on one clock that starts now.

    Use it inside ``contextlib.aclosing`` so that the sensors are told to stop when the loop over it is left
    early; or set `stop`, and what is still under way is delivered before the stream ends.

    Parameters
    ----------
    sensors : sequence of str
        Nickname, advertised name or address of each; an empty text is the one sensor in reach.
    options : StreamOptions or None
    stop : asyncio.Event or None
        Ends the stream in good order when set.

    Yields
    ------
    Event
        `LinkUp`, `Frames`, `Loss`, `LinkLost`, `Battery`, `Trouble`; `Ended` once for each sensor.

    Raises
    ------
    SensorError
        A sensor could not be had at the beginning, or none is left.
    UsageError
        It was not said which of several sensors is meant.
    """
    options = options or StreamOptions()
    began_s = host_clock()
    halt = asyncio.Event()
    events: asyncio.Queue[Event | _Done] = asyncio.Queue()
    radio = asyncio.Lock()
    listeners = [
        Listener(number, text, options, events.put_nowait, radio, lambda: host_clock() - began_s, halt)
        for number, text in enumerate(sensors)
    ]
    tasks = [asyncio.create_task(_run(one, events)) for one in listeners]
    if stop is not None:
        tasks.append(asyncio.create_task(_halt_when(stop, halt, listeners)))
    running = len(listeners)
    fault: Exception | None = None
    try:
        while running:
            event = await events.get()
            if not isinstance(event, _Done):
                yield event
                continue
            running -= 1
            if event.error is None or fault is not None:
                continue
            expendable = isinstance(event.error, SensorError) and all(one.ever_up for one in listeners)
            if expendable and running:
                yield Trouble(sensor=event.sensor, time_s=host_clock() - began_s, message=str(event.error))
            else:
                fault = event.error
                _halt(halt, listeners)
        if fault is not None:
            raise fault
    finally:
        for task in tasks:
            task.cancel()
        await asyncio.gather(*tasks, return_exceptions=True)


@dataclass(frozen=True, slots=True)
class _Done:
    sensor: int
    error: Exception | None


async def _run(listener: Listener, events: asyncio.Queue[Event | _Done]) -> None:
    error: Exception | None = None
    try:
        await listener.run()
    except Exception as fault:
        error = fault
    events.put_nowait(_Done(listener.number, error))


def _halt(halt: asyncio.Event, listeners: Sequence[Listener]) -> None:
    halt.set()
    for one in listeners:
        one.wake()


async def _halt_when(stop: asyncio.Event, halt: asyncio.Event, listeners: Sequence[Listener]) -> None:
    await stop.wait()
    _halt(halt, listeners)
