"""Two streams of one sensor, joined by its clock: accelerometer and gyroscope on a characteristic each.

The faster stream keeps its samples; the slower one is interpolated straight to their times. Where it has a gap the
faster one's samples are left out, and the gap shows in the time.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from armarc.recording import FloatArray
from armarc.sensor.describe.description import Description
from armarc.sensor.describe.layout import read_packet
from armarc.sensor.dialect import Batch
from armarc.sensor.wire.errors import PacketError

LONGEST_BRIDGE = 2.5
"""Periods of the slower stream that are bridged: one lost sample is, more are not."""
SAME_S = 1e-5
"""Times this close are one instant: coarser than rounding, finer than any sample."""
MOST_WAITING_S = 2.0
"""One stream that goes on without the other keeps this much."""


class _Stream:
    """Samples of one stream with their times, unwrapped."""

    def __init__(self, description: Description) -> None:
        self.description = description
        self.time_s: FloatArray = np.zeros(0)
        self.values: FloatArray = np.zeros((0, 3))
        self._before: tuple[float, int] | None = None
        self._newest_s: float | None = None

    def add(self, data: bytes, other_s: float | None) -> None:
        packet = read_packet(self.description, data)
        values = packet.specific_force_m_s2
        if values is None:
            values = packet.angular_velocity_rad_s
        if values is None or packet.device_time_s is None:
            raise PacketError("the packet holds no sample with a time")
        first_s = self._unwrapped(packet.device_time_s, other_s)
        newest_s = self._newest_s
        if newest_s is not None and first_s <= newest_s:
            if first_s > newest_s - MOST_WAITING_S:
                return  # had before
            self.time_s, self.values, self._before = np.zeros(0), np.zeros((0, 3)), None
        period_s = self._period_s(first_s)
        times = first_s + period_s * np.arange(packet.n)
        self._before, self._newest_s = (first_s, packet.n), float(times[-1])
        self.time_s = np.concatenate([self.time_s, times])
        self.values = np.concatenate([self.values, values])
        late = int(np.searchsorted(self.time_s, times[-1] - MOST_WAITING_S))
        self.drop(late)

    def drop(self, count: int) -> None:
        self.time_s, self.values = self.time_s[count:], self.values[count:]

    @property
    def newest_s(self) -> float | None:
        return self._newest_s

    def _unwrapped(self, raw_s: float, other_s: float | None) -> float:
        modulus_s = self.description.timing.time_modulus_s
        near_s = self._newest_s if self._newest_s is not None else other_s
        if near_s is None or modulus_s is None or not np.isfinite(modulus_s):
            return raw_s
        return raw_s + round((near_s - raw_s) / modulus_s) * modulus_s

    def _period_s(self, first_s: float) -> float:
        nominal_s = 1 / self.description.rate_hz
        if self._before is None:
            return nominal_s
        before_s, n = self._before
        measured_s = (first_s - before_s) / n
        return measured_s if 0.8 < measured_s / nominal_s < 1.25 else nominal_s


class JoinedDecoder:
    """Packets of either stream in, batches on the faster one's times out."""

    def __init__(self, description: Description) -> None:
        assert description.joined_with is not None
        alone = replace(description, joined_with=None)  # with the clock of its own packets
        self._streams = (_Stream(alone), _Stream(description.joined_with))
        fast = 0 if description.rate_hz >= description.joined_with.rate_hz else 1
        self._fast, self._slow = self._streams[fast], self._streams[1 - fast]

    def __call__(self, data: bytes, source: int = 0) -> tuple[Batch, ...]:
        """Samples for which both streams are there now.

        Raises
        ------
        PacketError
            The packet does not follow its description.
        """
        self._streams[source].add(data, self._streams[1 - source].newest_s)
        return self._ready()

    def _ready(self) -> tuple[Batch, ...]:
        fast, slow = self._fast, self._slow
        if len(slow.time_s) < 2:
            return ()
        count = int(np.searchsorted(fast.time_s, slow.time_s[-1] + SAME_S))
        time_s, values = fast.time_s[:count], fast.values[:count]
        fast.drop(count)
        after = np.clip(np.searchsorted(slow.time_s, time_s - SAME_S), 1, len(slow.time_s) - 1)
        bridge = slow.time_s[after] - slow.time_s[after - 1]
        usable = (time_s >= slow.time_s[0] - SAME_S) & (bridge <= LONGEST_BRIDGE / slow.description.rate_hz)
        between = np.stack([np.interp(time_s, slow.time_s, slow.values[:, k]) for k in range(3)], axis=1)
        out = []
        for run in _runs(time_s, usable, 1.5 / fast.description.rate_hz):
            pair = (values[run], between[run])
            if fast.description.has_acceleration:
                force, rate = pair
            else:
                rate, force = pair
            out.append(
                Batch(
                    specific_force_m_s2=force,
                    angular_velocity_rad_s=rate,
                    device_time_s=float(time_s[run][0]),
                )
            )
        if count:
            # The slower stream's last sample before the next of the faster one is needed for one more bridge.
            slow.drop(max(0, int(np.searchsorted(slow.time_s, time_s[-1])) - 1))
        return tuple(out)


def _runs(time_s: FloatArray, usable: FloatArray, longest_s: float) -> list[slice]:
    """Stretches of usable samples without a gap."""
    out: list[slice] = []
    start = None
    for k, fit in enumerate(usable):
        apart = k > 0 and time_s[k] - time_s[k - 1] > longest_s
        if start is not None and (not fit or apart):
            out.append(slice(start, k))
            start = None
        if fit and start is None:
            start = k
    if start is not None:
        out.append(slice(start, len(time_s)))
    return out
