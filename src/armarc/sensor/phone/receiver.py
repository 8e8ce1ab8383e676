"""One phone's messages in, events out."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from armarc.recording import FloatArray
from armarc.sensor.dialect import Batch, Timing
from armarc.sensor.events import Battery, Ended, Event, LinkLost, LinkUp, SensorFacts, Trouble
from armarc.sensor.phone.habits import Habits, recognise, recognise_rotation
from armarc.sensor.phone.messages import Hello, Readings
from armarc.sensor.timing import Timeline

SURE_S = 2.0
"""So much of the stream is looked at before anything is handed on; it comes while the phone is strapped on."""
WAIT_S = 5.0
"""So long movement is waited for that tells what the rotation rates are."""
_LOOK_S = 2.0
_SEEN_S = 20.0
_LATE = 0.75
"""Of a period: an event later than that by the even course of events, and not made up for, was skipped."""
_PAUSE = 3
_STAMP_STEP = 0.25
"""Of a period: how well it is known when an event was due."""
_LONGEST_PAUSE_S = 3600.0
LOW_BATTERY_PCT = 15


class Receiver:
    """Follows one phone through reloads and lost connections.

    The first seconds are held back until it is known what the readings mean. Frames are counted along an even course
    of time, so that events a browser did not send (locked screen, hidden tab) count as missing.

    Parameters
    ----------
    sensor : int
        Goes into the events.
    """

    def __init__(self, sensor: int = 0) -> None:
        self.sensor = sensor
        self.habits: Habits | None = None
        self.links = 0
        self.bad = 0
        self.linked = False
        self._phone = self._session = ""
        self._next = 0
        self._held: list[tuple[Readings, float]] = []
        self._seen: list[Readings] = []
        self._looked_s = 0.0
        self._timeline: Timeline | None = None
        self._grid = 0
        self._due_s: float | None = None
        self._battery_pct: int | None = None

    def hello(self, hello: Hello, at_s: float) -> list[Event]:
        """The page has connected, for the first time or again."""
        out: list[Event] = []
        if hello.session != self._session:
            if self._timeline is not None:
                out += self._timeline.finish()
                self._timeline.resume(self._timing(), same_clock=False)
            elif self._held:
                # A page that was loaded anew before anything was known: its clock is another, so begin again.
                self._held, self._seen = [], []
            self._due_s, self._next, self._seen = None, hello.first, []
        self._phone, self._session = hello.phone, hello.session
        self._next = max(self._next, hello.first)
        if self.habits is not None:
            out += self.up(at_s)
        return out

    def up(self, at_s: float) -> list[Event]:
        """Frames come (again)."""
        if self.linked or self.habits is None:
            return []
        self.linked = True
        self.links += 1
        return [LinkUp(sensor=self.sensor, time_s=at_s, facts=self._facts(), again=self.links > 1)]

    def lost(self, at_s: float, reason: str) -> list[Event]:
        """The connection is gone or silent."""
        if not self.linked:
            return []
        self.linked = False
        released = [] if self._timeline is None else self._timeline.finish()
        return [*released, LinkLost(sensor=self.sensor, time_s=at_s, reason=reason)]

    def frames(self, frames: Readings, at_s: float) -> list[Event]:
        """Take in frames that arrived at a time of this machine."""
        frames = _without(frames, max(0, self._next - frames.index))
        if not len(frames.time_s):
            return []
        self._next = frames.index + len(frames.time_s)
        out = self._battery(frames, at_s)
        if self.habits is None:
            self._held.append((frames, at_s))
            return [*out, *self._begin(at_s)]
        out += self._look_again(frames, at_s)
        out += self.up(at_s)
        return [*out, *self._place(frames, at_s)]

    def finish(self, at_s: float) -> list[Event]:
        """The end of the capture: what is still held, and the count."""
        out: list[Event] = []
        if self.habits is None and self._held:
            out += self._begin(at_s, now=True)
        timeline = self._timeline
        if timeline is not None:
            out += timeline.finish()
        ended = Ended(
            sensor=self.sensor,
            time_s=at_s,
            frames=timeline.frames if timeline else 0,
            missing_frames=timeline.missing_frames if timeline else 0,
            duplicate_frames=timeline.duplicate_frames if timeline else 0,
            bad_packets=self.bad,
            reconnects=max(0, self.links - 1),
            drift_ppm=timeline.drift_ppm if timeline else None,
        )
        return [*out, ended]

    def _begin(self, at_s: float, *, now: bool = False) -> list[Event]:
        parts = [frames for frames, _ in self._held]
        time_s, acceleration, rotation = _joined(parts)
        if len(time_s) < 20 or (time_s[-1] - time_s[0] < SURE_S and not now):
            return []
        last = parts[-1]
        habits = recognise(time_s, acceleration, rotation, interval=last.interval, upright=last.upright)
        if not habits.rotation.told and time_s[-1] - time_s[0] < WAIT_S and not now:
            return []
        self.habits = habits
        self._timeline = Timeline(self.sensor, self._timing())
        out: list[Event] = [Trouble(sensor=self.sensor, time_s=at_s, message=words) for words in habits.words]
        out += self.up(at_s)
        held, self._held = self._held, []
        self._seen = parts
        for frames, arrival_s in held:
            out += self._place(frames, arrival_s)
        return out

    def _look_again(self, frames: Readings, at_s: float) -> list[Event]:
        """What no movement has told yet is looked at again while the arm moves."""
        assert self.habits is not None
        if self.habits.rotation.told:
            self._seen = []
            return []
        self._seen.append(frames)
        newest_s = float(frames.time_s[-1])
        if newest_s - self._looked_s < _LOOK_S:
            return []
        self._looked_s = newest_s
        self._seen = [one for one in self._seen if newest_s - one.time_s[-1] < _SEEN_S]
        turning = recognise_rotation(*_joined(self._seen))
        if not turning.told:
            return []
        before = self.habits.rotation
        self.habits = replace(self.habits, rotation=turning)
        if (turning.order, turning.unit) == (before.order, before.unit):
            return []
        words = f"{turning.words}; what came before was read wrongly"
        return [Trouble(sensor=self.sensor, time_s=at_s, message=words)]

    def _place(self, frames: Readings, at_s: float) -> list[Event]:
        assert self.habits is not None
        assert self._timeline is not None
        period_s = 1.0 / self.habits.rate_hz
        force, rates = self.habits.force(frames.acceleration), self.habits.rates(frames.rotation)
        out: list[Event] = []
        for first, stop, skipped, due_s in self._runs(frames.time_s, period_s):
            self._grid += skipped
            batch = Batch(
                specific_force_m_s2=force[first:stop],
                angular_velocity_rad_s=rates[first:stop],
                index=self._grid % (1 << 32),
                device_time_s=due_s,
                first=skipped > 0,
            )
            self._grid += stop - first
            out += self._timeline.add(batch, at_s)
        return out

    def _runs(self, time_s: FloatArray, period_s: float) -> list[tuple[int, int, int, float]]:
        """Stretches without a skipped event: first, stop, how many were skipped before, and when the first was due.

        Events are even in time and their stamps late, by a busy phone's business: when one was due is told by the
        course of all before it.
        """
        n = len(time_s)
        if self._due_s is None or not -_LONGEST_PAUSE_S < time_s[0] - self._due_s < _LONGEST_PAUSE_S:
            self._due_s = float(time_s[0])
        # A late event whose followers made up for it was held up, not skipped.
        all_there = time_s[-1] - (self._due_s + (n - 1) * period_s) < _LATE * period_s
        runs: list[tuple[int, int, int, float]] = []
        first, skipped, due_s = 0, 0, self._due_s
        for k in range(n):
            late_s = float(time_s[k]) - self._due_s
            if not all_there and late_s >= _LATE * period_s:
                if k > first:
                    runs.append((first, k, skipped, due_s))
                first, skipped = k, max(1, round(late_s / period_s))
                # After a pause nothing says that events come in step with those before.
                self._due_s += skipped * period_s if skipped < _PAUSE else late_s
                due_s = self._due_s
                late_s = float(time_s[k]) - due_s
            # An event is never early but for its stamp's coarseness: early ones pull at once, late ones slowly.
            self._due_s += period_s + (0.1 if late_s > 0 else 0.5) * max(-period_s, min(period_s, late_s))
        runs.append((first, n, skipped, due_s))
        return runs

    def _battery(self, frames: Readings, at_s: float) -> list[Event]:
        percent = frames.battery_pct
        if percent is None or percent == self._battery_pct:
            return []
        self._battery_pct = percent
        if self.habits is None:
            return []
        return [Battery(sensor=self.sensor, time_s=at_s, percent=percent, low=percent <= LOW_BATTERY_PCT)]

    def _timing(self) -> Timing:
        assert self.habits is not None
        rate_hz = self.habits.rate_hz
        return Timing(
            rate_hz=rate_hz,
            index_modulus=1 << 32,
            time_modulus_s=float("inf"),
            restarts_are_told=True,
            time_step_s=_STAMP_STEP / rate_hz,
        )

    def _facts(self) -> SensorFacts:
        assert self.habits is not None
        return SensorFacts(
            name=f"phone-{self._phone[:4]}",
            address="",
            profile="phone page 1",
            rate_hz=self.habits.rate_hz,
            serial=self._phone,
            battery_pct=self._battery_pct,
            rounding_m_s2=self.habits.rounding_m_s2,
            rounding_rad_s=self.habits.rounding_rad_s,
            habits=self.habits.words,
        )


def _without(frames: Readings, had: int) -> Readings:
    """The frames without the first ones, which came before."""
    if had == 0:
        return frames
    return replace(
        frames,
        index=frames.index + had,
        time_s=frames.time_s[had:],
        acceleration=frames.acceleration[had:],
        rotation=frames.rotation[had:],
    )


def _joined(parts: list[Readings]) -> tuple[FloatArray, FloatArray, FloatArray]:
    return (
        np.concatenate([one.time_s for one in parts]),
        np.concatenate([one.acceleration for one in parts]),
        np.concatenate([one.rotation for one in parts]),
    )
