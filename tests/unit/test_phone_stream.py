"""Streams of several phones, and of a phone beside another sensor: one clock, and one that fails ends no other."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncGenerator

import numpy as np
import pytest

from armarc.errors import SensorError
from armarc.sensor.events import Ended, Event, Frames, LinkLost, LinkUp, Trouble
from armarc.sensor.phone import Heard, phone_stream, together
from live_runs import recording
from phone_page import Browser, hello


def test_one_phone_that_stays_away_is_said_and_the_other_goes_on() -> None:
    browser = Browser()
    rows = browser.rows(recording(2, sets=1, reps=1)[0])
    messages = list(browser.messages(rows))
    now = [100.0]

    async def run() -> list[Event]:
        inbox: asyncio.Queue[Heard | None] = asyncio.Queue()
        stop = asyncio.Event()
        events: list[Event] = []

        async def hear() -> None:
            places = ("wrist", "chest")
            async for event in phone_stream(
                inbox, stop=stop, places=places, give_up_s=30, clock=lambda: now[0]
            ):
                events.append(event)

        async def say(sensor: int, text: str) -> None:
            inbox.put_nowait(Heard(sensor=sensor, kind="message", at_s=now[0], text=text))
            while not inbox.empty():
                await asyncio.sleep(0)
            await asyncio.sleep(0.001)

        hearing = asyncio.create_task(hear())
        await asyncio.sleep(0.01)
        for sensor in (0, 1):
            await say(sensor, hello())
        for k, text in enumerate(messages):
            now[0] = 101.0 + 0.05 * k
            await say(0, text)
            if k < 150:
                await say(1, text)
            elif k == 150:
                now[0] += 3.0
        now[0] += 40.0
        await say(0, messages[-1])
        stop.set()
        await hearing
        return events

    events = asyncio.run(run())
    ups = [one for one in events if isinstance(one, LinkUp) and not one.again]
    assert [one.sensor for one in ups] == [0, 1]
    said = [(one.sensor, one.message) for one in events if isinstance(one, Trouble)]
    assert (0, "this phone is on the wrist") in said
    assert (1, "this phone is on the chest") in said
    assert any(sensor == 1 and "the phone on the chest was lost" in words for sensor, words in said)
    assert any(isinstance(one, LinkLost) and one.sensor == 1 for one in events)
    ended = [one for one in events if isinstance(one, Ended)]
    assert [(one.sensor, one.frames, one.missing_frames) for one in ended] == [(0, len(rows), 0), (1, 450, 0)]


def _frames(sensor: int, time_s: float) -> Frames:
    return Frames(
        sensor=sensor,
        index=0,
        time_s=np.array([time_s]),
        specific_force_m_s2=np.zeros((1, 3)),
        angular_velocity_rad_s=np.zeros((1, 3)),
    )


async def _stream(count: int, stop: asyncio.Event, fault: str = "") -> AsyncGenerator[Event, None]:
    for k in range(count):
        yield _frames(0, float(k))
        await asyncio.sleep(0.001)
    if fault:
        raise SensorError(fault, "look for it")
    await stop.wait()
    yield _frames(0, float(count))


def _heard(first: tuple[int, str], second: tuple[int, str], *, stop_after: int) -> list[Event]:
    async def run() -> list[Event]:
        stop, out = asyncio.Event(), []
        streams = [(_stream(first[0], stop, first[1]), 0), (_stream(second[0], stop, second[1]), 1)]
        async for event in together(streams, stop=stop):
            out.append(event)
            if len(out) == stop_after:
                stop.set()
        return out

    return asyncio.run(run())


def test_streams_run_together_until_they_are_stopped() -> None:
    events = _heard((5, ""), (7, ""), stop_after=12)
    assert [sum(one.sensor == number for one in events) for number in (0, 1)] == [6, 8]


def test_a_stream_that_fails_on_the_way_is_said() -> None:
    events = _heard((5, ""), (3, "the phone was lost"), stop_after=9)
    (said,) = [one for one in events if isinstance(one, Trouble)]
    assert (said.sensor, said.message) == (1, "the phone was lost (look for it)")
    assert sum(one.sensor == 0 for one in events) == 6


@pytest.mark.parametrize("counts", [(0, 5), (5, 0)])
def test_a_stream_that_never_begins_ends_them_all(counts: tuple[int, int]) -> None:
    faults = [(count, "" if count else "nobody there") for count in counts]
    with pytest.raises(SensorError, match="nobody there"):
        _heard(faults[0], faults[1], stop_after=99)


def test_the_last_one_that_fails_is_the_fault() -> None:
    with pytest.raises(SensorError, match="gone"):
        _heard((3, "gone"), (4, "gone"), stop_after=99)


def test_what_was_acknowledged_before_a_stop_is_handed_on_after_it() -> None:
    browser = Browser()
    rows = browser.rows(recording(2, sets=1, reps=1)[0])
    messages = list(browser.messages(rows))

    async def run() -> int:
        inbox: asyncio.Queue[Heard | None] = asyncio.Queue()
        stop = asyncio.Event()
        events: list[Event] = []

        async def hear() -> None:
            async for event in phone_stream(inbox, stop=stop, clock=lambda: 100.0):
                events.append(event)

        hearing = asyncio.create_task(hear())
        await asyncio.sleep(0)
        for text in (hello(next=len(rows)), *messages[:-1]):
            inbox.put_nowait(Heard(kind="message", at_s=100.0, text=text))
        while not inbox.empty():
            await asyncio.sleep(0)
        await asyncio.sleep(0.01)
        stop.set()
        await asyncio.sleep(0.05)  # the last one is still in the pipe between the two processes
        inbox.put_nowait(Heard(kind="message", at_s=100.0, text=messages[-1]))
        inbox.put_nowait(Heard(kind="message", at_s=100.1, text=hello()))  # after the stop
        await hearing
        return sum(len(event.time_s) for event in events if isinstance(event, Frames))

    assert asyncio.run(run()) == len(rows)
