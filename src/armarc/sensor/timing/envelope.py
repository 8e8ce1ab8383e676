"""A device clock against the host clock, seen through a link that can only delay.

Arrival time minus device time is offset + drift · device time + delay, and the delay is never below a fixed
minimum: the packets that came through fastest lie on a straight line below all others. The line is the edge
of the lower convex hull over the middle of the data; of all lines below every point it has the least sum of
distances when the points are spread evenly (Moon, Skelly and Towsley, "Estimation and removal of clock skew
from network delay measurements", IEEE INFOCOM 1999; hull by Andrew's monotone chain, Information Processing
Letters 9(5), 1979). Both citations from memory.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from armarc.recording import FloatArray


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


def fit_clock(
    device_s: Sequence[float] | FloatArray, arrival_s: Sequence[float] | FloatArray, max_drift: float = 500e-6
) -> ClockFit:
    """Fit a whole series at once.

    Parameters
    ----------
    device_s, arrival_s : shape (n,), s
        Device time of each packet, rising, and host time when it arrived.

    Raises
    ------
    ValueError
        No packet.
    """
    envelope = LowerEnvelope(max_drift)
    for device, arrival in zip(device_s, arrival_s, strict=True):
        envelope.add(float(device), float(arrival))
    return envelope.fit()
