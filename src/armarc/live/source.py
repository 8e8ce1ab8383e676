"""Where live samples come from, a recording played again or a sensor, and the file they go into.

A disk that is full or gone ends the file, not the session.
"""

from __future__ import annotations

import asyncio
import contextlib
import heapq
import time
from collections.abc import AsyncGenerator, AsyncIterator, Callable, Iterator
from contextlib import aclosing
from dataclasses import dataclass
from typing import TYPE_CHECKING

from armarc.errors import ArmarcError
from armarc.recording import ROUNDING_KEYS, FloatArray, Metadata, Recording, RecordingWriter

if TYPE_CHECKING:
    from armarc.sensor.events import Event, SensorFacts


PACKET_S = 0.05
"""Length of the packets a recording is played in, about what a sensor's radio delivers."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Samples:
    """Samples of one sensor in order: times (m,) in s, specific force (m, 3), angular velocity (m, 3)."""

    time_s: FloatArray
    specific_force_m_s2: FloatArray
    angular_velocity_rad_s: FloatArray
    sensor: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class LinkNews:
    """Something about a sensor.

    ``state`` is ``"up"``, ``"up again"``, ``"lost"``, ``"loss"``, ``"battery"``, ``"trouble"`` or ``"ended"``.
    """

    time_s: float
    state: str
    text: str
    battery_pct: int | None = None
    battery_low: bool = False
    rate_hz: float | None = None
    head: Metadata | None = None
    """What a recording of this sensor says of it."""
    sensor: int = 0


Item = Samples | LinkNews


async def play(
    recording: Recording,
    speed: float | None,
    stop: asyncio.Event,
    *others: tuple[Recording, float],
    packet_s: float = PACKET_S,
) -> AsyncGenerator[Item, None]:
    """Play a recording as if it came from a sensor, or several at once as if from as many.

    Parameters
    ----------
    recording : Recording
    speed : float or None
        1 for as it was; None for as fast as it can be worked on.
    stop : asyncio.Event
        Ends it early.
    *others : (Recording, float)
        Of the sensors 1, 2 …, and the seconds to add to their times to have the first one's.
    packet_s : float, s
    """
    began = time.monotonic()
    # As fast as possible, larger packets only save overhead: the events are the same.
    packet_s = packet_s if speed is not None else 1.0
    parts = [
        _packets(one, number, shift_s, packet_s)
        for number, (one, shift_s) in enumerate([(recording, 0.0), *others])
    ]
    for packet in heapq.merge(*parts, key=lambda one: float(one.time_s[-1])):
        if stop.is_set():
            return
        if speed is None:
            await asyncio.sleep(0)
        else:
            await _sleep_until(began + float(packet.time_s[-1]) / speed, stop)
        yield packet


def _packets(recording: Recording, sensor: int, shift_s: float, packet_s: float) -> Iterator[Samples]:
    times = recording.time_s + shift_s
    first, n = 0, len(times)
    while first < n:
        stop_at = first + 1
        while stop_at < n and times[stop_at] - times[first] < packet_s:
            stop_at += 1
        yield Samples(
            time_s=times[first:stop_at],
            specific_force_m_s2=recording.specific_force_m_s2[first:stop_at],
            angular_velocity_rad_s=recording.angular_velocity_rad_s[first:stop_at],
            sensor=sensor,
        )
        first = stop_at


async def _sleep_until(due: float, stop: asyncio.Event) -> None:
    wait = due - time.monotonic()
    if wait <= 0:
        await asyncio.sleep(0)
        return
    try:
        async with asyncio.timeout(wait):
            await stop.wait()
    except TimeoutError:
        pass


def _head(facts: SensorFacts) -> Metadata:
    told = {
        "sensor_serial": facts.serial,
        "sensor_address": facts.address,
        ROUNDING_KEYS[0]: facts.rounding_m_s2,
        ROUNDING_KEYS[1]: facts.rounding_rad_s,
        "sensor_habits": list(facts.habits) or None,
    }
    return Metadata(
        sensor=facts.name or facts.address,
        accelerometer_range_m_s2=facts.accelerometer_range_m_s2,
        gyroscope_range_rad_s=facts.gyroscope_range_rad_s,
        other={key: value for key, value in told.items() if value},
    )


async def listen(events: AsyncGenerator[Event, None]) -> AsyncIterator[Item]:
    """Samples and news of one sensor, or of several, each with its number.

    Parameters
    ----------
    events : async generator of Event
        As of `armarc.sensor.stream` or `armarc.sensor.phone.phone_stream`.
    """
    from armarc.sensor.events import Battery, Ended, Frames, LinkLost, LinkUp, Loss, Trouble

    async with aclosing(events) as running:
        async for event in running:
            match event:
                case Frames():
                    yield Samples(
                        time_s=event.time_s,
                        specific_force_m_s2=event.specific_force_m_s2,
                        angular_velocity_rad_s=event.angular_velocity_rad_s,
                        sensor=event.sensor,
                    )
                case LinkUp():
                    name = event.facts.name or event.facts.address
                    yield LinkNews(
                        time_s=event.time_s,
                        state="up again" if event.again else "up",
                        text=f"{name} is connected",
                        battery_pct=event.facts.battery_pct,
                        rate_hz=event.facts.rate_hz,
                        head=_head(event.facts),
                        sensor=event.sensor,
                    )
                case LinkLost():
                    text = f"link lost: {event.reason}"
                    yield LinkNews(time_s=event.time_s, state="lost", text=text, sensor=event.sensor)
                case Loss():
                    text = f"{event.missing_frames} samples lost ({event.cause})"
                    yield LinkNews(time_s=event.end_s, state="loss", text=text, sensor=event.sensor)
                case Battery():
                    text = "battery" if event.percent is None else f"battery {event.percent} %"
                    yield LinkNews(
                        time_s=event.time_s,
                        state="battery",
                        text=text,
                        battery_pct=event.percent,
                        battery_low=event.low,
                        sensor=event.sensor,
                    )
                case Trouble():
                    yield LinkNews(
                        time_s=event.time_s, state="trouble", text=event.message, sensor=event.sensor
                    )
                case Ended():
                    text = "the stream has ended"
                    yield LinkNews(time_s=event.time_s, state="ended", text=text, sensor=event.sensor)


class RawFile:
    """Takes what a sensor sends as long as it can be written.

    Parameters
    ----------
    writer : RecordingWriter or None
        None keeps nothing.
    lost : callable
        Takes what went wrong, once; after that nothing is written.
    """

    def __init__(self, writer: RecordingWriter | None, lost: Callable[[Exception], None]) -> None:
        self._writer = writer
        self._lost = lost

    def append(self, item: Samples) -> None:
        """Write samples through to the disk."""

        def write(writer: RecordingWriter) -> None:
            writer.append(item.time_s, item.specific_force_m_s2, item.angular_velocity_rad_s)
            writer.flush()

        self._do(write)

    def event(self, record: dict[str, object]) -> None:
        """Write a line about the stream."""
        self._do(lambda writer: writer.event(record))

    def close(self) -> None:
        """End the file in good order."""
        self._do(lambda writer: writer.close())

    def _do(self, what: Callable[[RecordingWriter], None]) -> None:
        if self._writer is None:
            return
        try:
            what(self._writer)
        except (ArmarcError, OSError) as error:
            writer, self._writer = self._writer, None
            with contextlib.suppress(ArmarcError, OSError):
                writer.close()
            self._lost(error)
