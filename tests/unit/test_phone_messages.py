"""Messages of the phone's page: what is not one is refused whole, with a sentence."""

from __future__ import annotations

import json

import pytest

from armarc.sensor.phone import Hello, Readings, read_message
from armarc.sensor.wire import PacketError
from phone_page import hello

FRAME = [1000.0, 0.1, 0.2, 9.8, 1.0, 2.0, 3.0]


def frames(**other: object) -> str:
    return json.dumps({"from": 0, "frames": [FRAME], **other})


def test_what_the_page_sends_is_read() -> None:
    said = read_message(hello(first=3, next=9))
    assert isinstance(said, Hello)
    assert (said.first, said.next, said.tab) == (3, 9, "aaaaaaaaaaaaaaaa")
    read = read_message(frames(battery=0.5, interval=16, upright=[-9.5, 10], **{"from": 7}))
    assert isinstance(read, Readings)
    assert (read.index, read.time_s.tolist(), read.battery_pct) == (7, [1.0], 50)
    assert read.acceleration.tolist() == [[0.1, 0.2, 9.8]]
    assert read.rotation.tolist() == [[1.0, 2.0, 3.0]]
    assert read.upright == (-9.5, 10.0)


@pytest.mark.parametrize(
    "text",
    [
        "",
        "{",
        "[]",
        "null",
        '"hello"',
        "{}",
        "[" * 5000,
        frames(frames=[]),
        frames(frames=[FRAME] * 401),
        frames(frames=[FRAME[:6]]),
        frames(frames=[[*FRAME[:6], None]]),
        frames(frames=[[*FRAME[:6], "1"]]),
        frames(frames=[[*FRAME[:6], True]]),
        frames(frames=[[*FRAME[:6], 1e6]]),
        frames().replace("9.8", "NaN"),
        frames().replace("9.8", "Infinity"),
        frames().replace("9.8", "1e999"),
        frames().replace("9.8", "9" * 400),
        frames().replace("9.8", "9" * 5000),
        frames(frames=[[-1.0, *FRAME[1:]]]),
        frames(frames=[[1e12, *FRAME[1:]]]),
        frames(frames=[[2.0, *FRAME[1:]], [1.0, *FRAME[1:]]]),
        frames(**{"from": -1}),
        frames(**{"from": 1.5}),
        frames(**{"from": True}),
        frames(**{"from": 1 << 50}),
        frames(battery=2),
        frames(battery="full"),
        frames(interval=-1),
        frames(upright=[5, 1]),
        frames(upright=[1]),
        hello(phone="../../etc"),
        hello(tab=""),
        hello(session=7),
        hello(place=7),
        hello(place="x" * 17),
        hello(first=5, next=4),
        "x" * (1 << 17),
    ],
    ids=lambda text: text[:40],
)
def test_what_is_none_is_refused(text: str) -> None:
    with pytest.raises(PacketError, match="message of the phone"):
        read_message(text)
    with pytest.raises(PacketError):
        read_message(text.encode())
