"""One sensor's packets in, frames on the shared host clock out."""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass

import numpy as np

from armarc.recording import FloatArray
from armarc.sensor.dialect import Batch, Timing
from armarc.sensor.events import Event, Frames, Loss
from armarc.sensor.timing.unwrap import Placed, Unwrapper


@dataclass(frozen=True, slots=True, kw_only=True)
class ClockFit:
    """host = device · (1 + drift) + offset.

    Parameters
    ----------
    drift : float
        Dimensionless; 1e-6 is 1 ppm.
    offset_s : float, s
    """

    drift: float
    offset_s: float

    def host_s(self, device_s: float) -> float:
        """Host time of a device time, s."""
        return device_s * (1 + self.drift) + self.offset_s


class LowerEnvelope:
    """Lower convex hull of (device time, arrival − device time), one point at a time.

    Parameters
    ----------
    max_drift : float
        Largest drift believed; ±500 ppm is the most the Bluetooth Core Specification allows a sleep clock
        (Vol 6, Part B, from memory).
    """

    def __init__(self, max_drift: float = 500e-6) -> None:
        self._max_drift = max_drift
        self._x: list[float] = []
        self._y: list[float] = []

    @property
    def span_s(self) -> float:
        """Device time covered, s."""
        return self._x[-1] - self._x[0] if self._x else 0.0

    def __len__(self) -> int:
        return len(self._x)

    def add(self, device_s: float, arrival_s: float) -> None:
        """Take in a packet; device times never fall. Amortised constant time."""
        x, y = self._x, self._y
        delay = arrival_s - device_s
        if x and device_s <= x[-1]:
            if delay >= y[-1]:
                return
            device_s = x.pop()
            y.pop()
        while len(x) > 1 and (x[-1] - x[-2]) * (delay - y[-2]) <= (y[-1] - y[-2]) * (device_s - x[-2]):
            x.pop()
            y.pop()
        x.append(device_s)
        y.append(delay)

    def fit(self) -> ClockFit:
        """The supporting line, its slope held within the believable drift.

        Raises
        ------
        ValueError
            No point yet.
        """
        x, y = self._x, self._y
        if not x:
            raise ValueError("expected at least one packet")
        drift = 0.0
        middle = (x[0] + x[-1]) / 2
        for k in range(len(x) - 1):
            if x[k + 1] >= middle:
                drift = (y[k + 1] - y[k]) / (x[k + 1] - x[k])
                break
        drift = min(self._max_drift, max(-self._max_drift, drift))
        return ClockFit(drift=drift, offset_s=min(b - drift * a for a, b in zip(x, y, strict=True)))


_HOLD_S = 0.2
"""Packets of a new clock are held back this long, so that its offset is not taken from one late packet."""
_CATCH_UP_S = 1.0
_SLEW_FIRST = 0.02
_SLEW = 0.002
_SETTLE_S = 2.0
_PERIOD_WINDOW_S = 2.0


class Timeline:
    """Places frames in time.

    Frame times come from the device clock; arrival times only teach where that clock stands against the
    host's (`LowerEnvelope`). What has been handed out is never moved: when the fit improves, later frames
    approach the new line at no more than 2 ms/s (20 ms/s in the first 2 s).

    Parameters
    ----------
    sensor : int
        Goes into the events.
    timing : Timing
    """

    def __init__(self, sensor: int, timing: Timing) -> None:
        self.sensor = sensor
        self.frames = 0
        self.missing_frames = 0
        self.duplicate_frames = 0
        self._timing = timing
        self._unwrapper = Unwrapper(timing)
        self._held: list[tuple[Batch, Placed, str]] = []
        self._held_since_s: float | None = None
        self._cause = ""
        self._last_out_s: float | None = None
        self._new_clock()

    def _new_clock(self) -> None:
        # Without a device time the count of frames is the clock, and a nominal rate may be a few percent off.
        self._envelope = LowerEnvelope(500e-6 if self._timing.time_modulus_s is not None else 0.05)
        self._anchor: tuple[float, float] | None = None
        self._clock_began_s = 0.0
        self._marks: deque[tuple[int, float]] = deque()
        self._smooth: tuple[int, float] | None = None

    @property
    def drift_ppm(self) -> float | None:
        """Rate of the device clock against the host's; None until 10 s are covered."""
        if self._envelope.span_s < 10.0:
            return None
        # host = device · (1 + drift): a positive drift is a device clock that runs slow.
        return -1e6 * self._envelope.fit().drift

    def resume(self, timing: Timing, *, same_clock: bool) -> None:
        """A new connection: the next gap is a reconnect; another power-up is another clock."""
        self._cause = "reconnect" if same_clock else "sensor restart"
        counts = timing.index_modulus is not None or timing.time_modulus_s is not None
        self._timing = timing
        self._unwrapper.timing = timing
        if not same_clock or not counts:
            self._unwrapper.restart()

    def add(self, batch: Batch, arrival_s: float) -> list[Event]:
        """Take in a packet; returns the losses before it and the frames that can now be placed.

        Parameters
        ----------
        batch : Batch
        arrival_s : float, s
            Host time since the start of the capture.
        """
        placed = self._unwrapper.place(batch, arrival_s)
        n = len(batch.specific_force_m_s2)
        self.duplicate_frames += placed.skip
        if placed.skip == n:
            return []
        cause = self._cause or ("sensor overflow" if batch.overflow else "pause" if batch.first else "link")
        self._cause = ""
        out: list[Event] = []
        if placed.restarted:
            cause = "sensor restart" if cause != "reconnect" else cause
            out = self._release()
            self._new_clock()
        device_s = self._smoothed(placed)
        placed = Placed(
            index=placed.index,
            device_time_s=device_s,
            skip=placed.skip,
            missing=placed.missing,
            restarted=placed.restarted,
        )
        self._envelope.add(device_s + (n - 1) * self._period_s(), arrival_s)
        self._held.append((batch, placed, cause))
        if self._held_since_s is None:
            self._held_since_s = arrival_s
        if self._anchor is not None or arrival_s - self._held_since_s >= _HOLD_S:
            out += self._release()
        return out

    def finish(self) -> list[Event]:
        """What is still held back."""
        return self._release()

    def _smoothed(self, placed: Placed) -> float:
        """Device time of the first frame; stamps coarser than a fiftieth of a period are smoothed."""
        time_s = placed.device_time_s
        self._marks.append((placed.index, time_s))
        while self._marks[-1][1] - self._marks[0][1] > _PERIOD_WINDOW_S and len(self._marks) > 2:
            self._marks.popleft()
        if self._timing.time_modulus_s is None or self._timing.time_step_s * self._timing.rate_hz < 0.02:
            return time_s
        if self._smooth is not None:
            index, before_s = self._smooth
            predicted_s = before_s + (placed.index - index) * self._period_s()
            if abs(time_s - predicted_s) <= 2 * self._timing.time_step_s:
                time_s = predicted_s + 0.1 * (time_s - predicted_s)
        self._smooth = (placed.index, time_s)
        return time_s

    def _period_s(self) -> float:
        """Sampling period as the device clock sees it."""
        nominal = 1 / self._timing.rate_hz
        if len(self._marks) < 2:
            return nominal
        (i0, t0), (i1, t1) = self._marks[0], self._marks[-1]
        if i1 <= i0:
            return nominal
        # A pause makes the quotient useless; no sensor is a fifth off its own rate.
        period = (t1 - t0) / (i1 - i0)
        return period if 0.8 < period / nominal < 1.25 else nominal

    def _release(self) -> list[Event]:
        out: list[Event] = []
        for batch, placed, cause in self._held:
            out += self._place(batch, placed, cause)
        self._held.clear()
        self._held_since_s = None
        return out

    def _place(self, batch: Batch, placed: Placed, cause: str) -> list[Event]:
        n = len(batch.specific_force_m_s2)
        period_s = self._period_s()
        device_s = placed.device_time_s + period_s * np.arange(placed.skip, n, dtype=np.float64)
        time_s = self._to_host(device_s)
        if self._last_out_s is not None and time_s[0] <= self._last_out_s:
            time_s = self._squeezed(time_s, self._last_out_s, period_s)
        self._anchor = (float(device_s[-1]), float(time_s[-1]))
        out: list[Event] = []
        start_s = self._last_out_s
        paused = start_s is not None and time_s[0] - start_s > max(0.05, 1.5 * period_s) and cause != "link"
        if start_s is not None and (placed.missing or paused or placed.restarted):
            self.missing_frames += placed.missing
            out.append(
                Loss(
                    sensor=self.sensor,
                    start_s=start_s,
                    end_s=float(time_s[0]),
                    missing_frames=placed.missing,
                    cause=cause,
                )
            )
        self._last_out_s = float(time_s[-1])
        self.frames += n - placed.skip
        out.append(
            Frames(
                sensor=self.sensor,
                index=placed.index + placed.skip,
                time_s=time_s,
                specific_force_m_s2=batch.specific_force_m_s2[placed.skip :],
                angular_velocity_rad_s=batch.angular_velocity_rad_s[placed.skip :],
                clipped=batch.clipped,
            )
        )
        return out

    def _to_host(self, device_s: FloatArray) -> FloatArray:
        fit: ClockFit = self._envelope.fit()
        if self._anchor is None:
            time_s = device_s * (1 + fit.drift) + fit.offset_s
            self._clock_began_s = float(device_s[0])
        else:
            anchor_device_s, anchor_host_s = self._anchor
            passed = device_s - anchor_device_s
            error_s = fit.host_s(anchor_device_s) - anchor_host_s
            if passed[0] > _CATCH_UP_S:
                time_s = np.maximum(device_s * (1 + fit.drift) + fit.offset_s, anchor_host_s + 0.5 * passed)
            else:
                young = device_s[0] - self._clock_began_s < _SETTLE_S
                limit = _SLEW_FIRST if young else _SLEW
                slew = min(limit, max(-limit, error_s / _CATCH_UP_S))
                time_s = anchor_host_s + passed * (1 + fit.drift + slew)
        return np.asarray(time_s, dtype=np.float64)

    @staticmethod
    def _squeezed(time_s: FloatArray, after_s: float, period_s: float) -> FloatArray:
        """Times that overlap what was handed out (a bad device clock), pressed into rising order."""
        floor_s = after_s + 0.1 * period_s * np.arange(1, len(time_s) + 1)
        return np.asarray(np.maximum(time_s, floor_s), dtype=np.float64)
