"""What a description of a sensor says: where the bytes of its packets are and what they mean, and numbers out of them.

The two CRCs of 16 bits are those of the catalogue of parametrised CRC algorithms (reveng), CRC-16/IBM-3740 and
CRC-16/MODBUS, the one of 8 bits is its CRC-8/SMBUS: check values of "123456789" are 0x29B1, 0x4B37 and 0xF4.
"""

from __future__ import annotations

import functools
import math
import operator
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from armarc.recording import FloatArray
from armarc.recording.types import STANDARD_GRAVITY_M_S2
from armarc.sensor.dialect import Timing

BITS: Final = {
    "u8": 8,
    "i8": 8,
    "u12": 12,
    "i12": 12,
    "u16": 16,
    "i16": 16,
    "u24": 24,
    "i24": 24,
    "u32": 32,
    "i32": 32,
    "f32": 32,
    "u64": 64,
    "f64": 64,
}
"""Number types and their bits."""
PACKED: Final = ("u12", "i12")
"""Types that share bytes with their neighbours; only in samples."""


def numbers(raw: NDArray[np.uint8], kind: str, big_endian: bool) -> FloatArray:
    """Values of rows of bytes, shape (n, size) → (n,)."""
    if kind in ("u24", "i24"):
        wide = np.zeros((len(raw), 4), np.uint8)
        # Into the upper three bytes; the arithmetic shift then carries the sign.
        wide[:, 1:] = raw[:, ::-1] if big_endian else raw
        signed = wide.view("<i4")[:, 0] >> 8
        return np.asarray(signed & 0xFFFFFF if kind == "u24" else signed, dtype=np.float64)
    dtype = np.dtype(f"{'>' if big_endian else '<'}{kind[0]}{BITS[kind] // 8}")
    with np.errstate(invalid="ignore"):
        return np.ascontiguousarray(raw).view(dtype)[:, 0].astype(np.float64)


def packed(raw: NDArray[np.uint8], at_bit: int, kind: str, big_endian: bool) -> FloatArray:
    """Values of `BITS[kind]` bits that begin at a bit of each row, shape (n, size) → (n,).

    Little-endian: the lowest bit first, beginning with the lowest of the first byte. Big-endian: the highest first.
    """
    width = BITS[kind]
    bits = np.unpackbits(raw, axis=1, bitorder="big" if big_endian else "little")[:, at_bit : at_bit + width]
    powers = 1 << np.arange(width, dtype=np.int64)
    value = bits.astype(np.int64) @ (powers[::-1] if big_endian else powers)
    if kind[0] == "i":
        value = np.where(value >= 1 << (width - 1), value - (1 << width), value)
    return np.asarray(value, dtype=np.float64)


def _crc8(data: bytes) -> int:
    crc = 0
    for byte in data:
        crc ^= byte
        for _ in range(8):
            crc = (crc << 1 ^ 0x07 if crc & 0x80 else crc << 1) & 0xFF
    return crc


def _crc16_ccitt(data: bytes) -> int:
    crc = 0xFFFF
    for byte in data:
        crc ^= byte << 8
        for _ in range(8):
            crc = (crc << 1 ^ 0x1021 if crc & 0x8000 else crc << 1) & 0xFFFF
    return crc


def _crc16_modbus(data: bytes) -> int:
    crc = 0xFFFF
    for byte in data:
        crc ^= byte
        for _ in range(8):
            crc = crc >> 1 ^ 0xA001 if crc & 1 else crc >> 1
    return crc


METHODS: Final[dict[str, tuple[str, Callable[[bytes], int]]]] = {
    "sum8": ("u8", lambda data: sum(data) & 0xFF),
    "xor8": ("u8", lambda data: functools.reduce(operator.xor, data, 0)),
    "crc8": ("u8", _crc8),
    "sum16": ("u16", lambda data: sum(data) & 0xFFFF),
    "crc16-ccitt": ("u16", _crc16_ccitt),
    "crc16-modbus": ("u16", _crc16_modbus),
}
"""Type of the number in the packet, and how it is computed from all bytes before it."""


AXES: Final = ("ax", "ay", "az", "gx", "gy", "gz")
ACCELERATION_UNITS: Final = {"m/s2": 1.0, "g": STANDARD_GRAVITY_M_S2, "mg": STANDARD_GRAVITY_M_S2 / 1000}
ANGULAR_VELOCITY_UNITS: Final = {
    "rad/s": 1.0,
    "deg/s": math.radians(1),
    "mdeg/s": math.radians(1) / 1000,
}
CLOCK_UNITS: Final = {"s": 1.0, "ms": 1e-3, "us": 1e-6}


@dataclass(frozen=True, slots=True, kw_only=True)
class Field:
    """One number of the packet.

    Parameters
    ----------
    field : str
        ``ax`` … ``gz``, ``clock``, ``sample_counter``, ``packet_counter``, ``count``, ``constant``, ``checksum``,
        ``skip``.
    type : str
        Key of `numbers.BITS`; for ``skip`` an empty text and `bytes` says how many. Empty in a format of lines.
    value : int
        What a constant must be.
    tick_s : float, s
        One unit of a clock.
    of : str
        Sample a clock or a counter belongs to, ``"first"`` or ``"last"``.
    byte_order : str
        ``"little"``, ``"big"`` or, as the stream's, empty.
    method : str
        Key of `checksum.METHODS`.
    text : str
        What a constant column of a line must be.
    wrap : float
        Where a clock (s) or a counter of a line starts again; 0 when it is not known.
    """

    field: str
    type: str = ""
    bytes: int = 0
    value: int = 0
    tick_s: float = 0.0
    of: str = "first"
    byte_order: str = ""
    method: str = ""
    text: str = ""
    wrap: float = 0.0

    @property
    def bits(self) -> int:
        """Bits."""
        return BITS[self.type] if self.type else 8 * self.bytes

    @property
    def size(self) -> int:
        """Whole bytes."""
        return self.bits // 8

    def is_big(self, big_endian: bool) -> bool:
        """Whether it is big-endian in a stream that is."""
        return self.byte_order == "big" if self.byte_order else big_endian


@dataclass(frozen=True, slots=True, kw_only=True)
class Quantity:
    """Scale and axes of the acceleration or the angular velocity.

    Parameters
    ----------
    scale : float
        SI units per count.
    axes : tuple of (int, int)
        For x, y, z: column (0–2) and sign.
    range_si : float or None
    """

    scale: float
    axes: tuple[tuple[int, int], tuple[int, int], tuple[int, int]] = ((0, 1), (1, 1), (2, 1))
    range_si: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Command:
    """Bytes to write to a characteristic."""

    characteristic: str
    data: bytes
    response: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class Ignored:
    """Packets of another kind on the same characteristic: of this length, or with these bytes at a place.

    ``length`` 0 is any; ``data`` may be empty when a length is given.
    """

    at: int = 0
    data: bytes = b""
    length: int = 0

    def fits(self, packet: bytes) -> bool:
        """Whether a packet is of this kind."""
        if self.length and len(packet) != self.length:
            return False
        return packet[self.at : self.at + len(self.data)] == self.data


@dataclass(frozen=True, slots=True, kw_only=True)
class Rate:
    """A sampling rate a sensor can be told to take, and what tells it."""

    hz: float
    commands: tuple[Command, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Description:
    """A sensor of fixed packet layout.

    Parameters
    ----------
    name : str
    service, characteristic : str
        128-bit UUIDs of the service and of the characteristic that notifies.
    advertised : str
        Service UUID in the advertisement; empty when it does not matter.
    name_pattern : str
        Advertised name, ``*`` for anything; empty when it does not matter.
    rate_hz : float, Hz
    samples : int
        In one packet; 0 for as many as there is room for.
    big_endian : bool
    header, sample, trailer : tuple of Field
    layout : str
        ``"samples"``: one sample after the other; ``"axes"``: all of the first field, then all of the next;
        ``"sensors"``: all accelerations, then all angular velocities.
    ignore : tuple of Ignored
    format : str
        ``"packets"`` or ``"lines"`` of text.
    separator : str
        Between the columns of a line; a space is any white space.
    rates : tuple of Rate
        That can be asked for beside `rate_hz`.
    decoder : str
        Python file with a function ``decode``, instead of a layout.
    index_modulus, time_modulus_s
        Where number and time of such a function's batches wrap.
    joined_with : Description or None
        The other stream of a sensor whose accelerometer and gyroscope have a characteristic each.
    """

    name: str
    service: str
    characteristic: str
    rate_hz: float
    header: tuple[Field, ...]
    sample: tuple[Field, ...]
    layout: str = "samples"
    ignore: tuple[Ignored, ...] = ()
    format: str = "packets"
    separator: str = ","
    rates: tuple[Rate, ...] = ()
    decoder: str = ""
    index_modulus: int | None = None
    time_modulus_s: float | None = None
    joined_with: Description | None = None
    acceleration: Quantity
    angular_velocity: Quantity
    trailer: tuple[Field, ...] = ()
    samples: int = 0
    big_endian: bool = False
    advertised: str = ""
    name_pattern: str = ""
    start: tuple[Command, ...] = ()
    stop: tuple[Command, ...] = ()
    note: str = ""
    file: str = ""

    @property
    def has_acceleration(self) -> bool:
        """Whether this stream carries the acceleration."""
        return any(one.field == AXES[0] for one in self.sample)

    @property
    def header_bytes(self) -> int:
        """Bytes before the samples."""
        return sum(one.size for one in self.header)

    @property
    def sample_bytes(self) -> int:
        """Bytes of one sample."""
        return sum(one.bits for one in self.sample) // 8

    @property
    def trailer_bytes(self) -> int:
        """Bytes after the samples."""
        return sum(one.size for one in self.trailer)

    def head_field(self, *names: str) -> Field | None:
        """The field that carries one of these, wherever it stands; None where none does."""
        everywhere = (*self.header, *self.trailer, *self.sample)
        return next((one for one in everywhere if one.field in names), None)

    @property
    def timing(self) -> Timing:
        """How time is carried."""
        clock, counter = self.head_field("clock"), self.head_field("sample_counter", "packet_counter")
        modulus, wrap_s = self.index_modulus, self.time_modulus_s
        if counter is not None:
            modulus = int(counter.wrap) or 1 << (8 * counter.size or 32)
            if counter.field == "packet_counter":
                modulus *= self.samples
        if clock is not None:
            counted = clock.type[:1] in ("u", "i")
            wrap_s = clock.tick_s * 2.0**clock.bits if counted else clock.wrap or math.inf
        ticks = [one.tick_s for one in (clock,) if one is not None and one.type[:1] != "f"]
        if self.joined_with is not None:
            other = self.joined_with.timing
            # What comes out of joining is unwrapped, at the rate of the faster stream.
            rate_hz = max(self.rate_hz, other.rate_hz)
            return Timing(
                rate_hz=rate_hz, time_modulus_s=math.inf, time_step_s=max([other.time_step_s, *ticks])
            )
        return Timing(
            rate_hz=self.rate_hz,
            index_modulus=modulus,
            time_modulus_s=wrap_s,
            time_step_s=ticks[0] if ticks else 1e-6,
        )
