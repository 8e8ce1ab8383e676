"""Counters that wrap, turned into ones that do not; what is missing, doubled or restarted."""

from __future__ import annotations

import math
from dataclasses import dataclass

from armarc.sensor.dialect import Batch, Timing

_FUTURE_S = 0.5
_CLOCK_TOLERANCE = 2e-3
_BACK_S = 5.0
_REMEMBERED = 1000
"""Packets by which a repeated one is known: a link repeats what it sent a moment ago."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Placed:
    """Where a packet belongs.

    Parameters
    ----------
    index : int
        Number of its first frame, not wrapped; goes on rising over restarts.
    device_time_s : float, s
        Device time of its first frame, not wrapped; starts anew with a restart.
    skip : int
        Frames at its start that were had before.
    missing : int
        Frames between the last packet and this one that never came.
    restarted : bool
        The sensor's counters started again: a new clock.
    """

    index: int
    device_time_s: float
    skip: int
    missing: int
    restarted: bool


class Unwrapper:
    """Follows one sensor's frame numbers and device time.

    A number that has wrapped is placed by the device time, the device time by the host clock, so that gaps
    longer than a wrap are counted right. A packet older than what was had is a duplicate when it is one of those
    that were had, to the last bit: a link may repeat packets but never swaps them. Any other, and one from further
    back than 5 s, by its time or its arrival, or from the future, comes from a sensor that was switched on again. A
    number that the device time contradicts is damaged, and the time is believed.
    """

    def __init__(self, timing: Timing) -> None:
        self.timing = timing
        self._next: int | None = None
        self._shift = 0
        self._time_s = 0.0
        self._last_arrival_s = 0.0
        self._least_offset_s = 0.0
        self._first_arrival_s = 0.0
        self._last_n = 0
        self._new_clock = True
        self._had: dict[int, None] = {}

    def restart(self) -> None:
        """The next packet starts a new clock (a new power-up was seen)."""
        self._new_clock = True

    def place(self, batch: Batch, arrival_s: float) -> Placed:
        """Place one packet.

        Parameters
        ----------
        batch : Batch
        arrival_s : float, s
            Host time of arrival.
        """
        n = len(batch.specific_force_m_s2)
        mark = _mark_of(batch)
        placed = None if self._new_clock else self._follow(batch, n, arrival_s, again=mark in self._had)
        if placed is None:
            placed = self._begin(batch, n, arrival_s)
        self._had[mark] = None
        if len(self._had) > _REMEMBERED:
            del self._had[next(iter(self._had))]
        return placed

    def _begin(self, batch: Batch, n: int, arrival_s: float) -> Placed:
        timing = self.timing
        first_ever = self._next is None
        raw = batch.index if batch.index is not None else 0
        time_s = batch.device_time_s if batch.device_time_s is not None else raw / timing.rate_hz
        missing = 0
        if self._next is not None:
            # How long the sensor was silent is known only from the host clock.
            silent_s = arrival_s - self._last_arrival_s - n / timing.rate_hz
            missing = max(0, round(silent_s * timing.rate_hz))
            self._shift = self._next + missing - raw
        self._new_clock = False
        self._least_offset_s = arrival_s - time_s
        self._first_arrival_s = arrival_s
        index = raw + self._shift
        self._remember(index + n, time_s, n, arrival_s)
        return Placed(index=index, device_time_s=time_s, skip=0, missing=missing, restarted=not first_ever)

    def _follow(self, batch: Batch, n: int, arrival_s: float, *, again: bool) -> Placed | None:
        timing = self.timing
        assert self._next is not None
        expected_s = arrival_s - self._least_offset_s
        if batch.device_time_s is not None:
            time_s = batch.device_time_s
            if timing.time_modulus_s and timing.time_modulus_s < math.inf:
                wraps = round((expected_s - time_s) / timing.time_modulus_s)
                time_s += wraps * timing.time_modulus_s
            index = self._index_from_time(batch, time_s)
        else:
            index = self._index_from_arrival(batch, arrival_s)
            time_s = (index - self._shift) / timing.rate_hz
        tolerance_s = _FUTURE_S + _CLOCK_TOLERANCE * (arrival_s - self._first_arrival_s)
        if batch.device_time_s is None:
            # A nominal rate is only that.
            tolerance_s += 0.05 * (arrival_s - self._first_arrival_s)
        elif timing.time_modulus_s is None:
            tolerance_s += 1.0
        from_the_future = (
            not timing.restarts_are_told and arrival_s - time_s < self._least_offset_s - tolerance_s
        )
        behind_s = max(self._time_s - time_s, expected_s - time_s if time_s < self._time_s else 0.0)
        if from_the_future or behind_s > _BACK_S:
            return None
        skip = min(n, max(0, self._next - index))
        missing = max(0, index - self._next)
        if skip == n and not again:
            return None
        if skip < n:
            self._remember(index + n, time_s, n, arrival_s)
        return Placed(index=index, device_time_s=time_s, skip=skip, missing=missing, restarted=False)

    def _index_from_time(self, batch: Batch, time_s: float) -> int:
        timing = self.timing
        assert self._next is not None
        passed = (time_s - self._time_s) * timing.rate_hz
        expected = self._next - self._last_n + round(passed)
        if batch.index is None or not timing.index_modulus:
            # Neither jitter of the time stamps nor a rate a few percent off its nominal value is a loss.
            slack = 0.6 + 0.05 * abs(passed)
            return expected if abs(passed - self._last_n) > slack else self._next
        raw = batch.index + self._shift
        if batch.first and time_s > self._time_s:
            # Nothing was sampled while the sensor was stopped, so the time that passed says nothing.
            return self._next + (raw - self._next) % timing.index_modulus
        index = raw + round((expected - raw) / timing.index_modulus) * timing.index_modulus
        slack = 2 + 0.05 * abs(passed)
        newer = passed > 0.5 * self._last_n
        if index > expected + slack or (newer and index < self._next and expected >= self._next):
            return max(expected, self._next)
        return index

    def _index_from_arrival(self, batch: Batch, arrival_s: float) -> int:
        timing = self.timing
        assert self._next is not None
        if batch.index is None or not timing.index_modulus:
            return self._next
        raw = batch.index + self._shift
        passed = round((arrival_s - self._last_arrival_s) * timing.rate_hz)
        expected = self._next - self._last_n + passed
        return raw + round((expected - raw) / timing.index_modulus) * timing.index_modulus

    def _remember(self, next_index: int, time_s: float, n: int, arrival_s: float) -> None:
        self._next = next_index
        self._time_s = time_s
        self._last_n = n
        self._last_arrival_s = arrival_s
        self._least_offset_s = min(self._least_offset_s, arrival_s - time_s)


def _mark_of(batch: Batch) -> int:
    readings = (batch.specific_force_m_s2.tobytes(), batch.angular_velocity_rad_s.tobytes())
    return hash((batch.index, batch.device_time_s, *readings))
