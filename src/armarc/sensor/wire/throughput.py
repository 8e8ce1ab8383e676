"""How many notifications a rate needs at a given MTU: the table of the profile page."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from armarc.sensor.wire.packet import FRAME_BYTES, HEADER, frames_that_fit

BATCH_S: Final = 0.025
"""Frames are collected this long before they are sent: short enough for a verdict during the rep."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Throughput:
    """What one MTU and one rate mean for the link.

    Parameters
    ----------
    frames_fit : int
        Most frames in one notification.
    frames : int
        Frames when `BATCH_S` is collected, as far as they fit.
    notifications_per_s : float
    payload_bytes_per_s : float
        ATT payload.
    delay_ms : float, ms
        Age of the first frame of a packet when its last is there.
    """

    frames_fit: int
    frames: int
    notifications_per_s: float
    payload_bytes_per_s: float
    delay_ms: float


def batch_frames(rate_hz: float) -> int:
    """Frames to collect for a packet when there is room, at least 1."""
    return max(1, round(rate_hz * BATCH_S))


def throughput(att_mtu: int, rate_hz: float) -> Throughput:
    """Frames, notifications and bytes for one MTU and one rate."""
    fit = frames_that_fit(att_mtu)
    frames = min(fit, batch_frames(rate_hz))
    per_s = rate_hz / frames
    return Throughput(
        frames_fit=fit,
        frames=frames,
        notifications_per_s=per_s,
        payload_bytes_per_s=per_s * (HEADER.size + frames * FRAME_BYTES),
        delay_ms=1000 * (frames - 1) / rate_hz,
    )
