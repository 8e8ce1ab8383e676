"""A sensor on the chest in a live session: what it sent during a set, for measuring how the trunk leaned and swung."""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass, field
from statistics import median

import numpy as np

from armarc.live.events import SetEnded
from armarc.live.offline import ChestPart
from armarc.live.source import Samples
from armarc.live.stretch import LONGEST_SET_S, raw_recording
from armarc.recording import Metadata
from armarc.recording.captures import CHEST, FORWARD, PLACE
from armarc.reps import Rep

BESIDE_S = 2.0
"""What is kept on either side of a set's samples."""


def trunk_words(reps: Sequence[Rep]) -> str:
    """What the chest's sensor saw in a measured set, for people; empty where it saw nothing."""
    seen = {rep.rep: math.degrees(rep.trunk_travel_rad) for rep in reps if rep.trunk_travel_rad is not None}
    if not seen:
        return ""
    most = max(seen, key=lambda rep: seen[rep])
    return f"trunk moved {median(seen.values()):.0f}° on the way up, {seen[most]:.0f}° in rep {most}"


@dataclass(slots=True)
class Chest:
    """The last minutes of a chest sensor.

    Parameters
    ----------
    forward : str
        Its axis that faces away from the breastbone.
    head : Metadata
        Of the sensor.
    rate_hz : float or None, Hz
        None until it is known.
    """

    forward: str = "+z"
    head: Metadata = field(default_factory=Metadata)
    rate_hz: float | None = None
    _packets: deque[Samples] = field(default_factory=deque)

    def take(self, item: Samples) -> None:
        """Keep samples as long as a set may want them."""
        self._packets.append(item)
        while self._packets[0].time_s[-1] < item.time_s[-1] - LONGEST_SET_S - BESIDE_S:
            self._packets.popleft()

    def during(self, event: SetEnded) -> ChestPart:
        """What belongs to a set, on the session's clock; without a recording where there is next to nothing."""
        start_s, end_s = event.raw_start_s, event.raw_start_s + event.raw.duration_s
        packets = [one for one in self._packets if one.time_s[-1] >= start_s - BESIDE_S]
        if self.rate_hz is None or not packets:
            return ChestPart(recording=None)
        time_s = np.concatenate([one.time_s for one in packets])
        inside = (time_s >= start_s - BESIDE_S) & (time_s <= end_s + BESIDE_S)
        inside[1:] &= np.diff(time_s) > 0
        if np.count_nonzero(inside) < self.rate_hz:
            return ChestPart(recording=None)
        recording = raw_recording(
            time_s[inside],
            np.concatenate([one.specific_force_m_s2 for one in packets])[inside],
            np.concatenate([one.angular_velocity_rad_s for one in packets])[inside],
            self.rate_hz,
            Metadata(
                sensor=self.head.sensor,
                other=self.head.other | {PLACE: CHEST, FORWARD: self.forward},
            ),
        )
        return ChestPart(recording=recording, forward=self.forward)
