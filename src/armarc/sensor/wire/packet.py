"""The data notification of the wrist profile: a header of 8 bytes and n frames of 12.

========  ====  =====================================================================================
offset    size  meaning (little-endian)
========  ====  =====================================================================================
0         1     high nibble: version (1); low nibble: flags
1         1     n, frames in this packet, 1…42
2         2     running number of the first frame, uint16, wraps
4         4     device time of the first frame, uint32 microseconds, wraps every 71.6 minutes
8 + 12 k  12    frame k: ax ay az gx gy gz, int16
========  ====  =====================================================================================
"""

from __future__ import annotations

import struct
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from armarc.sensor.wire.identifiers import PacketError

VERSION: Final = 1
HEADER: Final = struct.Struct("<BBHI")
FRAME_BYTES: Final = 12
MAX_FRAMES: Final = 42
"""An attribute value holds at most 512 bytes (Core Specification, Vol 3, Part F): 8 + 42 · 12 = 512."""

BATCH_S: Final = 0.025
"""Frames are collected this long before they are sent: short enough for a verdict during the rep."""

INDEX_MODULUS: Final = 1 << 16
TIME_MODULUS_US: Final = 1 << 32

OVERFLOW: Final = 1
"""The sensor had to throw frames away before this packet."""
CLIPPED: Final = 2
"""At least one value of this packet sits at the end of its range."""
FIRST: Final = 4
"""First packet after a start command: numbers may not continue the earlier ones."""
LOW_BATTERY: Final = 8
"""The sensor will switch itself off soon."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class DataPacket:
    """One notification.

    Parameters
    ----------
    index : int
        Number of the first frame, 0…65535.
    time_us : int, µs
        Device time of the first frame, 0…2³² − 1.
    counts : ndarray of int16, shape (n, 6)
        ax ay az gx gy gz, raw.
    flags : int
        `OVERFLOW`, `CLIPPED`, `FIRST`, `LOW_BATTERY`.
    """

    index: int
    time_us: int
    counts: NDArray[np.int16]
    flags: int = 0


def decode_packet(data: bytes) -> DataPacket:
    """Read a packet.

    Raises
    ------
    PacketError
        Whatever the bytes are, nothing else is raised.
    """
    if len(data) < HEADER.size:
        raise PacketError(
            f"a data packet needs at least {HEADER.size} bytes, got {len(data)}",
            "the sensor or its firmware does not follow the wrist profile",
        )
    first, n, index, time_us = HEADER.unpack_from(data)
    if first >> 4 != VERSION:
        raise PacketError(
            f"data packet of version {first >> 4}, this armarc reads version {VERSION}",
            "update armarc or the sensor's firmware",
        )
    if not 1 <= n <= MAX_FRAMES or len(data) != HEADER.size + n * FRAME_BYTES:
        raise PacketError(
            f"a data packet that announces {n} frames should have {HEADER.size + n * FRAME_BYTES} bytes "
            f"(1 to {MAX_FRAMES} frames), got {len(data)}",
            "the packet was cut: the negotiated MTU may be smaller than the firmware believes",
        )
    counts = np.frombuffer(data, dtype="<i2", offset=HEADER.size).reshape(n, 6).astype(np.int16)
    return DataPacket(index=index, time_us=time_us, counts=counts, flags=first & 15)


def batch_frames(rate_hz: float) -> int:
    """Frames to collect for a packet when there is room, at least 1."""
    return max(1, round(rate_hz * BATCH_S))
