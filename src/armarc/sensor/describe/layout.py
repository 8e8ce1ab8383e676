"""A packet of fixed layout: header, n samples, trailer; and how to read it."""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from armarc.recording import FloatArray
from armarc.sensor.describe.description import (
    AXES,
    METHODS,
    PACKED,
    Description,
    Field,
    Quantity,
    numbers,
    packed,
)
from armarc.sensor.dialect import Batch
from armarc.sensor.wire.identifiers import PacketError


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Packet:
    """What one packet holds, in SI units; a quantity is None where another stream carries it.

    ``index`` and ``device_time_s`` are the first sample's, None where nothing carries them.
    """

    n: int
    specific_force_m_s2: FloatArray | None
    angular_velocity_rad_s: FloatArray | None
    index: int | None
    device_time_s: float | None


def decode_described(description: Description, data: bytes) -> Batch:
    """Read one packet of a sensor with a single stream of packets.

    Raises
    ------
    PacketError
        Whatever the bytes are, nothing else is raised.
    """
    packet = read_packet(description, data)
    if packet.specific_force_m_s2 is None or packet.angular_velocity_rad_s is None:
        raise PacketError("the packet holds only one of acceleration and angular velocity")
    return Batch(
        specific_force_m_s2=packet.specific_force_m_s2,
        angular_velocity_rad_s=packet.angular_velocity_rad_s,
        index=packet.index,
        device_time_s=packet.device_time_s,
    )


def read_packet(description: Description, data: bytes) -> Packet:
    """Read one packet of one stream.

    Raises
    ------
    PacketError
        Whatever the bytes are, nothing else is raised.
    """
    n = _samples_in(description, len(data))
    fixed = _fixed_values(description, data)
    if fixed.get("count", n) != n:
        raise PacketError(f"the packet says {fixed['count']:g} samples but holds {n}")
    columns = _columns(description, data, n)
    for name in ("clock", "sample_counter"):
        if name in columns:
            fixed[name] = float(columns[name][0])
    return Packet(
        n=n,
        specific_force_m_s2=quantity_of(columns, AXES[:3], description.acceleration),
        angular_velocity_rad_s=quantity_of(columns, AXES[3:], description.angular_velocity),
        index=_index(description, fixed, n),
        device_time_s=_device_time_s(description, fixed, n),
    )


def _columns(description: Description, data: bytes, n: int) -> dict[str, FloatArray]:
    """Every field of the samples that counts, shape (n,) each."""
    columns: dict[str, FloatArray] = {}
    start = description.header_bytes
    for group in _groups(description):
        size = sum(one.bits for one in group) // 8
        block = np.frombuffer(data, np.uint8, n * size, start).reshape(n, size)
        start += n * size
        at = 0
        for one in group:
            big = one.is_big(description.big_endian)
            if one.field == "skip":
                pass
            elif one.type in PACKED:
                columns[one.field] = packed(block, at, one.type, big)
            else:
                columns[one.field] = numbers(block[:, at // 8 : at // 8 + one.size], one.type, big)
            at += one.bits
    return columns


def _groups(description: Description) -> list[list[Field]]:
    """Fields that lie together sample by sample."""
    if description.layout == "axes":
        return [[one] for one in description.sample]
    if description.layout == "sensors":
        parts = itertools.groupby(description.sample, lambda one: one.field[0] if one.field in AXES else "")
        return [list(part) for _, part in parts]
    return [list(description.sample)]


def _samples_in(description: Description, length: int) -> int:
    room = length - description.header_bytes - description.trailer_bytes
    n, rest = divmod(room, description.sample_bytes)
    wanted = description.samples
    if room <= 0 or rest or (wanted and n != wanted):
        frame = f"{description.header_bytes} + n · {description.sample_bytes} + {description.trailer_bytes}"
        raise PacketError(
            f"expected a packet of {frame} bytes{f' with n = {wanted}' if wanted else ''}, got {length}",
            f"the description {description.name!r} does not fit this sensor",
        )
    return n


def _fixed_values(description: Description, data: bytes) -> dict[str, float]:
    out: dict[str, float] = {}
    at = 0
    tail = len(data) - description.trailer_bytes
    for part, begin in ((description.header, 0), (description.trailer, tail)):
        at = begin
        for one in part:
            if one.type:
                raw = np.frombuffer(data, np.uint8, one.size, at).reshape(1, one.size)
                value = float(numbers(raw, one.type, one.is_big(description.big_endian))[0])
                if one.field == "checksum" and value != METHODS[one.method][1](data[:at]):
                    raise PacketError("the packet's checksum is wrong: it was damaged on its way")
                if one.field == "constant" and value != one.value:
                    raise PacketError(
                        f"expected byte {at} to be {one.value}, got {value:g}",
                        f"the description {description.name!r} does not fit this sensor",
                    )
                out[one.field] = value
            at += one.size
    return out


def _index(description: Description, fixed: dict[str, float], n: int) -> int | None:
    counter = description.head_field("sample_counter", "packet_counter")
    if counter is None:
        return None
    if counter.field == "packet_counter":
        return int(fixed["packet_counter"]) * description.samples
    index = int(fixed["sample_counter"])
    return index - (n - 1) if counter.of == "last" else index


def _device_time_s(description: Description, fixed: dict[str, float], n: int) -> float | None:
    clock = description.head_field("clock")
    if clock is None:
        return None
    if not math.isfinite(fixed["clock"]):
        raise PacketError("the packet's time is no number")
    time_s = fixed["clock"] * clock.tick_s
    return time_s - (n - 1) / description.rate_hz if clock.of == "last" else time_s


def quantity_of(
    columns: Mapping[str, FloatArray], names: Sequence[str], quantity: Quantity
) -> FloatArray | None:
    """Three columns as a quantity in the axes of the sensor, shape (n, 3); None where the columns are not there.

    Raises
    ------
    PacketError
        Values that are no numbers.
    """
    if any(name not in columns for name in names):
        return None
    out = np.empty((len(columns[names[0]]), 3))
    with np.errstate(over="ignore", invalid="ignore"):
        for axis, (column, sign) in enumerate(quantity.axes):
            out[:, axis] = columns[names[column]] * (sign * quantity.scale)
    if not np.isfinite(out).all():
        raise PacketError("the packet holds values that are no numbers")
    return out
