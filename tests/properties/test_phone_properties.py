"""Whatever comes from a phone: no fault but the room's own, and every frame once however often it is sent."""

from __future__ import annotations

import contextlib
import json

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from armarc.sensor.events import Ended, Frames
from armarc.sensor.phone import Hello, Receiver, read_message
from armarc.sensor.phone import Readings as Message
from armarc.sensor.wire import PacketError
from phone_page import hello

NUMBERS = st.one_of(st.floats(), st.integers(), st.booleans(), st.none(), st.text(max_size=3))
LEAVES = st.one_of(
    NUMBERS, st.lists(NUMBERS, max_size=9), st.lists(st.lists(NUMBERS, max_size=8), max_size=4)
)
KEYS = st.sampled_from(
    ["hello", "from", "frames", "phone", "tab", "session", "place", "first", "next", "upright", "battery"]
)


@given(
    st.one_of(st.binary(max_size=300), st.text(max_size=300), st.dictionaries(KEYS, LEAVES).map(json.dumps))
)
def test_a_message_is_read_or_refused(text: str | bytes) -> None:
    with contextlib.suppress(PacketError):
        assert isinstance(read_message(text), Hello | Message)


@settings(deadline=None, max_examples=40)
@given(
    st.lists(
        st.tuples(
            st.floats(0, 1e10),
            st.lists(st.floats(-1e5, 1e5), min_size=6, max_size=6),
            st.integers(0, 5000),
            st.floats(0, 1e4),
        ),
        min_size=1,
        max_size=30,
    )
)
def test_lies_break_nothing(said: list[tuple[float, list[float], int, float]]) -> None:
    receiver = Receiver()
    events: list[object] = list(receiver.hello(read_message(hello()), 0.0))
    for began_ms, readings, index, arrival_s in said:
        rows = [[min(1e10, began_ms + 16.0 * k), *readings] for k in range(40)]
        message = read_message(json.dumps({"from": index, "frames": rows}))
        assert isinstance(message, Message)
        events += receiver.frames(message, arrival_s)
    events += receiver.finish(1e5)
    times = [one.time_s for one in events if isinstance(one, Frames)]
    if times:
        time_s = np.concatenate(times)
        assert np.isfinite(time_s).all()
        assert (np.diff(time_s) > 0).all()


@settings(deadline=None, max_examples=30)
@given(st.data())
def test_every_frame_comes_once_however_it_is_cut_and_sent_again(data: st.DataObject) -> None:
    n = data.draw(st.integers(130, 600), label="frames")
    t = 1000.0 + 1000.0 * np.arange(n) / 60.0
    rows = np.column_stack([t, np.arange(n) / 100.0, np.zeros(n), np.full(n, 9.8), *np.zeros((3, n))])
    receiver, events, at, arrival = Receiver(), [], 0, 0.0
    events += receiver.hello(read_message(hello()), 0.0)
    while at < n:
        stop = min(n, at + data.draw(st.integers(1, 60)))
        back = data.draw(st.integers(0, min(at, 90)))
        message = read_message(json.dumps({"from": at - back, "frames": rows[at - back : stop].tolist()}))
        arrival = max(arrival, t[stop - 1] / 1000.0 + data.draw(st.floats(0.0, 3.0)))
        events += receiver.frames(message, arrival)
        at = stop
    events += receiver.finish(1e3)
    frames = [one for one in events if isinstance(one, Frames)]
    force = np.concatenate([one.specific_force_m_s2 for one in frames])
    assert np.array_equal(force[:, 0], np.arange(n) / 100.0)
    ended = events[-1]
    assert isinstance(ended, Ended)
    assert (ended.frames, ended.missing_frames) == (n, 0)
