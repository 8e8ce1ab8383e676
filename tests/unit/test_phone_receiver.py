"""A phone's stream: what browsers differ in is told from the stream itself, and every frame comes once, in time."""

from __future__ import annotations

import json

import numpy as np
import pytest

from armarc.recording import Recording
from armarc.sensor.events import Battery, Ended, Frames, LinkLost, LinkUp, Loss, Trouble
from armarc.sensor.phone import Receiver, read_message, recognise
from armarc.sensor.phone.habits import event_rate_hz
from live_runs import recording
from phone_page import Browser, hello

BROWSERS = {
    "as the specification's example": Browser(),
    "gravity itself, alpha about z": Browser(rate_hz=100.0, gravity=-1, order=(1, 2, 0), interval=10.0),
    "radians and g": Browser(radians=True, in_g=True),
    "interval in microseconds": Browser(interval=16667.0),
    "rounded": Browser(rounding=(0.1, 0.1)),
    "rounded gravity itself": Browser(gravity=-1, order=(1, 2, 0), rounding=(0.1, 0.1)),
}


@pytest.fixture(scope="module")
def made() -> Recording:
    return recording(2, sets=1, reps=3)[0]


def streamed(browser: Browser, rows: np.ndarray, **options: bool) -> list[object]:
    receiver = Receiver()
    events: list[object] = list(receiver.hello(read_message(hello()), 0.0))
    for text in browser.messages(rows, **options):
        message = read_message(text)
        events += receiver.frames(message, float(message.time_s[-1]) + 2.0)
    return [*events, *receiver.finish(1e3)]


def joined(events: list[object], name: str) -> np.ndarray:
    return np.concatenate([getattr(one, name) for one in events if isinstance(one, Frames)])


@pytest.mark.parametrize("name", BROWSERS)
def test_every_habit_gives_the_same_readings(made: Recording, name: str) -> None:
    browser = BROWSERS[name]
    rows = browser.rows(made)
    events = streamed(browser, rows)
    (up,) = [one for one in events if isinstance(one, LinkUp)]
    ended = events[-1]
    assert isinstance(ended, Ended)
    assert (ended.frames, ended.missing_frames) == (len(rows), 0)
    assert up.facts.rate_hz == browser.rate_hz
    t = np.arange(len(rows)) / browser.rate_hz
    true_force, true_rate = (
        np.column_stack([np.interp(t, made.time_s, column) for column in values.T])
        for values in (made.specific_force_m_s2, made.angular_velocity_rad_s)
    )
    # Half a step of rounding at the most: 0.05 m/s² and 0.05 °/s.
    assert np.abs(joined(events, "specific_force_m_s2") - true_force).max() < 0.0501
    assert np.abs(joined(events, "angular_velocity_rad_s") - true_rate).max() < np.radians(0.0501)
    time_s = joined(events, "time_s")
    assert np.abs(time_s - time_s[0] - t).max() < 0.002
    words = " ".join(up.facts.habits)
    assert ("gravity itself" in words) == (browser.gravity < 0)
    assert ("about z, x, y" in words) == (browser.order != (0, 1, 2))
    assert ("rad/s about" in words) == browser.radians
    assert ("in g" in words) == browser.in_g
    assert ("µs)" in words) == (browser.interval > 1000)
    assert ("rounds to 0.1 m/s² and 0.1 °/s" in words) == (browser.rounding != (0.0, 0.0))
    assert (up.facts.rounding_rad_s is not None) == (browser.rounding != (0.0, 0.0))


def test_what_is_not_told_is_said() -> None:
    t = np.arange(0.0, 6.0, 1 / 60)
    still = np.tile([0.0, 0.0, 9.8], (len(t), 1))
    habits = recognise(t, still, np.zeros_like(still), interval=200.0)
    assert not habits.rotation.told
    assert any("until the movement tells" in one for one in habits.words)
    assert any("no orientation events tell" in one for one in habits.words)
    assert any("fits that in no unit" in one for one in habits.words)


def test_a_slow_browser_is_said() -> None:
    t = np.arange(0.0, 6.0, 1 / 20)
    assert event_rate_hz(t) == 20.0
    still = np.tile([0.0, 0.0, 9.8], (len(t), 1))
    assert any("slow" in one for one in recognise(t, still, 0 * still).words)


def test_axes_told_late_are_told_all_the_same(made: Recording) -> None:
    # Eight seconds on a table say nothing; then the movement contradicts what was assumed.
    browser = Browser(order=(1, 2, 0))
    rows = browser.rows(made)
    table = np.repeat(rows[:1], 480, axis=0)
    table[:, 4:] = 0.0
    table[:, 0] = 1000.0 + 1000.0 * np.arange(480) / 60
    rows[:, 0] += 8000.0
    events = streamed(browser, np.vstack([table, rows]))
    said = [one.message for one in events if isinstance(one, Trouble)]
    assert any("what came before was read wrongly" in one for one in said)
    tail = joined(events, "angular_velocity_rad_s")[-60:]
    true = np.column_stack(
        [
            np.interp(np.arange(len(rows)) / 60, made.time_s, column)
            for column in made.angular_velocity_rad_s.T
        ]
    )[-60:]
    assert np.abs(tail - true).max() < 1e-6


def test_a_locked_screen_is_counted_and_flagged(made: Recording) -> None:
    browser = Browser()
    rows = browser.rows(made)
    # Three seconds without an event in the middle.
    gone = slice(400, 580)
    left = np.delete(rows, gone, axis=0)
    events = streamed(browser, left)
    (loss,) = [one for one in events if isinstance(one, Loss)]
    assert loss.missing_frames == 180
    assert loss.cause == "pause"
    assert loss.end_s - loss.start_s == pytest.approx(181 / 60, abs=0.02)
    assert isinstance(events[-1], Ended)
    assert events[-1].missing_frames == 180


def test_events_held_up_are_not_lost(made: Recording) -> None:
    # A busy phone hands three events on at once, 50 ms late: what they hold was sampled in time.
    browser = Browser()
    rows = browser.rows(made)
    stamped = rows[:, 0].copy()
    for first in range(60, len(rows) - 3, 60):
        stamped[first : first + 3] = rows[first + 2, 0] + 1.0
    held = rows.copy()
    held[:, 0] = stamped
    events = streamed(browser, held)
    assert isinstance(events[-1], Ended)
    assert events[-1].missing_frames == 0
    time_s = joined(events, "time_s")
    off = time_s - time_s[0] - np.arange(len(rows)) / 60
    assert np.abs(off).max() < 0.02
    assert off.std() < 0.008


def test_resent_frames_come_once_and_in_place(made: Recording) -> None:
    browser = Browser()
    rows = browser.rows(made)
    receiver = Receiver()
    events: list[object] = list(receiver.hello(read_message(hello()), 0.0))
    messages = list(browser.messages(rows))
    for k, text in enumerate(messages):
        message = read_message(text)
        # From the 100th on ten seconds' worth arrives late and all at once, the first of them twice.
        arrival = float(message.time_s[-1]) + 2.0 + (10.0 if 100 <= k < 300 else 0.0)
        if k == 100:
            events += receiver.lost(arrival - 10.0, "gone")
            events += receiver.hello(read_message(hello(next=999)), arrival)
            events += receiver.frames(read_message(messages[99]), arrival)
        events += receiver.frames(message, arrival)
    events += receiver.finish(1e3)
    time_s = joined(events, "time_s")
    assert len(time_s) == len(rows)
    # Late arrivals may tilt the clock's line by the 500 ppm it is held within: 5 ms in ten seconds.
    assert np.abs(time_s - time_s[0] - np.arange(len(rows)) / 60).max() < 0.006
    assert not [one for one in events if isinstance(one, Loss)]
    kinds = [type(one) for one in events if isinstance(one, LinkUp | LinkLost)]
    assert kinds == [LinkUp, LinkLost, LinkUp]


def test_a_page_loaded_again_goes_on_with_a_new_clock(made: Recording) -> None:
    browser = Browser()
    rows = browser.rows(made)
    receiver = Receiver()
    events: list[object] = list(receiver.hello(read_message(hello()), 0.0))
    half = len(rows) // 2 // 3 * 3
    for text in browser.messages(rows[:half]):
        message = read_message(text)
        events += receiver.frames(message, float(message.time_s[-1]) + 2.0)
    ended_s = rows[half - 1, 0] / 1000 + 2.0
    again = rows[half:].copy()
    again[:, 0] += 500.0 - again[0, 0]
    events += receiver.lost(ended_s, "gone")
    events += receiver.hello(read_message(hello(session="5e55104000000002")), ended_s + 1.5)
    for text in browser.messages(again):
        message = read_message(text)
        events += receiver.frames(message, float(message.time_s[-1]) - 0.5 + ended_s + 2.0)
    events += receiver.finish(1e3)
    time_s = joined(events, "time_s")
    assert len(time_s) == len(rows)
    (loss,) = [one for one in events if isinstance(one, Loss)]
    assert loss.cause == "sensor restart"
    assert loss.missing_frames == pytest.approx(120, abs=5)
    assert (np.diff(time_s) > 0).all()


def test_a_long_run_loses_nothing_and_keeps_nothing() -> None:
    import tracemalloc

    rng = np.random.default_rng(1)
    receiver = Receiver()
    receiver.hello(read_message(hello()), 0.0)
    taken, before = 0, 0
    tracemalloc.start()
    for first in range(0, 24_000, 60):
        t = 1000.0 + 10.0 * np.arange(first, first + 60) * (1 + 40e-6)
        rows = np.column_stack([t, *np.zeros((2, 60)), np.full(60, 9.8), *rng.normal(0, 0.1, (3, 60))])
        message = read_message(json.dumps({"from": first, "frames": np.round(rows, 4).tolist()}))
        arrival = 10.0 * (first + 60) / 1000 + 5.0 + float(rng.exponential(0.02))
        taken += sum(len(e.time_s) for e in receiver.frames(message, arrival) if isinstance(e, Frames))
        if first == 6_000:
            before = tracemalloc.get_traced_memory()[0]
    after = tracemalloc.get_traced_memory()[0]
    tracemalloc.stop()
    ended = receiver.finish(300.0)[-1]
    assert isinstance(ended, Ended)
    assert (taken, ended.missing_frames) == (24_000, 0)
    assert ended.drift_ppm == pytest.approx(40.0, abs=5.0)
    assert after - before < 500_000


def test_the_battery_is_told_once_it_changes(made: Recording) -> None:
    events = streamed(Browser(), Browser().rows(made))
    (up,) = [one for one in events if isinstance(one, LinkUp)]
    assert up.facts.battery_pct == 80
    receiver = Receiver()
    receiver.hello(read_message(hello()), 0.0)
    told: list[object] = []
    for k, text in enumerate(Browser().messages(Browser().rows(made))):
        said = json.loads(text) | {"battery": 0.16 if k < 200 else 0.14}
        told += receiver.frames(read_message(json.dumps(said)), float(k))
    assert [(one.percent, one.low) for one in told if isinstance(one, Battery)] == [(14, True)]


def test_a_message_held_up_longer_than_the_next_ones_is_no_restart():
    rows = [[1000.0 + 1000.0 * k / 60.0, 0.01 * k, 0.0, 9.8, 0.0, 0.0, 0.0] for k in range(180)]
    receiver = Receiver()
    events = list(receiver.hello(read_message(hello()), 0.0))
    for first, stop, arrival_s in ((0, 57, 4.9), (57, 58, 4.95), (58, 120, 5.0), (120, 180, 5.05)):
        message = read_message(json.dumps({"from": first, "frames": rows[first:stop]}))
        events += receiver.frames(message, arrival_s)
    ended = receiver.finish(9.0)[-1]
    assert (ended.frames, ended.missing_frames) == (180, 0)
