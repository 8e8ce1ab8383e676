"""A sensor on the chest in a live session: what it sent during a set, for measuring how the trunk leaned and swung."""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass, field

import numpy as np

from armarc.live.source import Samples
from armarc.live.stretch import LONGEST_SET_S, raw_recording
from armarc.recording import Metadata, Recording
from armarc.recording.head import CHEST, PLACE

BESIDE_S = 2.0
"""What is kept on either side of a set's samples."""


@dataclass(slots=True)
class Chest:
    """The last minutes of a chest sensor.

    Parameters
    ----------
    head : Metadata
        Of the sensor.
    rate_hz : float or None, Hz
        None until it is known.
    """

    head: Metadata = field(default_factory=Metadata)
    rate_hz: float | None = None
    _packets: deque[Samples] = field(default_factory=deque)

    def take(self, item: Samples) -> None:
        """Keep samples as long as a set may want them."""
        self._packets.append(item)
        while self._packets[0].time_s[-1] < item.time_s[-1] - LONGEST_SET_S - BESIDE_S:
            self._packets.popleft()

    def during(self, start_s: float, end_s: float) -> Recording | None:
        """The recording of a stretch of the session's clock; None where there is next to nothing."""
        packets = [one for one in self._packets if one.time_s[-1] >= start_s - BESIDE_S]
        if self.rate_hz is None or not packets:
            return None
        time_s = np.concatenate([one.time_s for one in packets])
        inside = (time_s >= start_s - BESIDE_S) & (time_s <= end_s + BESIDE_S)
        inside[1:] &= np.diff(time_s) > 0
        if np.count_nonzero(inside) < self.rate_hz:
            return None
        return raw_recording(
            time_s[inside],
            np.concatenate([one.specific_force_m_s2 for one in packets])[inside],
            np.concatenate([one.angular_velocity_rad_s for one in packets])[inside],
            self.rate_hz,
            Metadata(sensor=self.head.sensor, other=self.head.other | {PLACE: CHEST}),
        )
