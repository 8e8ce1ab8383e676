"""The sensor's side of the wrist profile (``firmware_notes/wrist-profile.md``), which armarc has no use for.

The page's layouts once more, so that a mistake in armarc's does not cancel.
"""

from __future__ import annotations

import struct

import numpy as np

from armarc.sensor.wire import ClockReading, DataPacket, PacketError, SensorSettings, SensorState

VERSION = 1
MOST_FRAMES = 42
ACCELEROMETER_RANGES_G = (2, 4, 8, 16, 32, 64, 128)
GYROSCOPE_RANGES_DEG_S = (125, 250, 500, 1000, 2000, 4000, 8000, 16000)
_PACKET = struct.Struct("<BBHI")
_CONFIGURE = struct.Struct("<BHBHB")
_STATE = struct.Struct("<BBHBBHHHIHBB")
_CLOCK = struct.Struct("<IQQ")


def frames_that_fit(att_mtu: int) -> int:
    """Frames in one notification: its payload is ATT_MTU − 3 bytes (Core Specification, Vol 3, Part F)."""
    return max(0, min(MOST_FRAMES, (att_mtu - 3 - _PACKET.size) // 12))


def encode_packet(packet: DataPacket) -> bytes:
    """Bytes of a packet; ValueError where the frames or the flags do not fit."""
    counts = np.asarray(packet.counts, dtype="<i2")
    if counts.ndim != 2 or counts.shape[1] != 6 or not 1 <= len(counts) <= MOST_FRAMES:
        raise ValueError(f"expected counts of shape (1…{MOST_FRAMES}, 6), got {counts.shape}")
    if not 0 <= packet.flags <= 15:
        raise ValueError(f"expected flags between 0 and 15, got {packet.flags}")
    first = VERSION << 4 | packet.flags
    return _PACKET.pack(first, len(counts), packet.index % 2**16, packet.time_us % 2**32) + counts.tobytes()


def decode_command(data: bytes) -> tuple[int, SensorSettings | None]:
    """Opcode (1 configure, 2 start, 3 stop) and, for the first, what is asked; PacketError for anything else."""
    if len(data) == _CONFIGURE.size and data[0] == 1:
        _, rate, acc, gyr, frames = _CONFIGURE.unpack(data)
        if not (rate and acc and gyr):
            raise PacketError(f"a rate or a range of zero: {data.hex(' ')}")
        return 1, SensorSettings(
            rate_hz=rate / 10,
            accelerometer_range_g=acc,
            gyroscope_range_deg_s=gyr,
            frames_per_packet=frames,
        )
    if len(data) == 1 and data[0] in (2, 3):
        return data[0], None
    raise PacketError(f"not a command of the wrist profile: {data.hex(' ') or 'no bytes'}")


def encode_state(state: SensorState) -> bytes:
    """Twenty bytes."""
    return _STATE.pack(
        VERSION,
        int(state.streaming),
        round(state.rate_hz * 10),
        state.accelerometer_range_g,
        state.frames_per_packet,
        state.gyroscope_range_deg_s,
        round(state.filter_hz * 10),
        state.queue_frames,
        state.dropped_frames,
        0 if state.temperature_c is None else round(100 * (state.temperature_c + 273.15)),
        sum(1 << ACCELEROMETER_RANGES_G.index(one) for one in state.accelerometer_ranges_g),
        sum(1 << GYROSCOPE_RANGES_DEG_S.index(one) for one in state.gyroscope_ranges_deg_s),
    )


def encode_clock(reading: ClockReading) -> bytes:
    """Twenty bytes."""
    return _CLOCK.pack(reading.boot, reading.uptime_us, reading.next_frame)
