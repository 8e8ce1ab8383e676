"""A packet of fixed layout: header, n samples, trailer; and how to read it."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from armarc.recording import FloatArray
from armarc.recording.types import STANDARD_GRAVITY_M_S2
from armarc.sensor.dialect import Batch, Timing
from armarc.sensor.wire.errors import PacketError

TYPES: Final = {
    "u8": 1,
    "i8": 1,
    "u16": 2,
    "i16": 2,
    "u24": 3,
    "i24": 3,
    "u32": 4,
    "i32": 4,
    "f32": 4,
    "u64": 8,
    "f64": 8,
}
"""Number types and their bytes."""

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
        ``ax`` … ``gz``, ``clock``, ``sample_counter``, ``packet_counter``, ``count``, ``constant``, ``skip``.
    type : str
        Key of `TYPES`; for ``skip`` an empty text and `bytes` says how many.
    value : int
        What a constant must be.
    tick_s : float, s
        One unit of a clock.
    of : str
        Sample a clock or a counter belongs to, ``"first"`` or ``"last"``.
    """

    field: str
    type: str = ""
    bytes: int = 0
    value: int = 0
    tick_s: float = 0.0
    of: str = "first"

    @property
    def size(self) -> int:
        """Bytes."""
        return TYPES[self.type] if self.type else self.bytes


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
    """

    name: str
    service: str
    characteristic: str
    rate_hz: float
    header: tuple[Field, ...]
    sample: tuple[Field, ...]
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
    def header_bytes(self) -> int:
        """Bytes before the samples."""
        return sum(one.size for one in self.header)

    @property
    def sample_bytes(self) -> int:
        """Bytes of one sample."""
        return sum(one.size for one in self.sample)

    @property
    def trailer_bytes(self) -> int:
        """Bytes after the samples."""
        return sum(one.size for one in self.trailer)

    def _head(self, *names: str) -> Field | None:
        return next((one for one in (*self.header, *self.trailer) if one.field in names), None)

    @property
    def timing(self) -> Timing:
        """How time is carried."""
        clock, counter = self._head("clock"), self._head("sample_counter", "packet_counter")
        modulus = None
        if counter is not None:
            modulus = 1 << (8 * counter.size)
            if counter.field == "packet_counter":
                modulus *= self.samples
        wrap_s = None
        if clock is not None:
            wrap_s = math.inf if clock.type[0] == "f" else clock.tick_s * 2.0 ** (8 * clock.size)
        return Timing(
            rate_hz=self.rate_hz,
            index_modulus=modulus,
            time_modulus_s=wrap_s,
            time_step_s=1e-6 if clock is None or clock.type[0] == "f" else clock.tick_s,
        )


def decode_described(description: Description, data: bytes) -> Batch:
    """Read one packet.

    Raises
    ------
    PacketError
        Whatever the bytes are, nothing else is raised.
    """
    n = _samples_in(description, len(data))
    fixed = _fixed_values(description, data)
    if fixed.get("count", n) != n:
        raise PacketError(f"the packet says {fixed['count']:g} samples but holds {n}")
    start, size = description.header_bytes, description.sample_bytes
    block = np.frombuffer(data, np.uint8, n * size, start).reshape(n, size)
    columns: dict[str, FloatArray] = {}
    at = 0
    for one in description.sample:
        if one.field in AXES:
            columns[one.field] = _numbers(block[:, at : at + one.size], one.type, description.big_endian)
        at += one.size
    force = _quantity([columns[name] for name in AXES[:3]], description.acceleration)
    rate = _quantity([columns[name] for name in AXES[3:]], description.angular_velocity)
    if not (np.isfinite(force).all() and np.isfinite(rate).all()):
        raise PacketError("the packet holds values that are no numbers")
    return Batch(
        specific_force_m_s2=force,
        angular_velocity_rad_s=rate,
        index=_index(description, fixed, n),
        device_time_s=_device_time_s(description, fixed, n),
    )


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
                value = float(_numbers(raw, one.type, description.big_endian)[0])
                if one.field == "constant" and value != one.value:
                    raise PacketError(
                        f"expected byte {at} to be {one.value}, got {value:g}",
                        f"the description {description.name!r} does not fit this sensor",
                    )
                out[one.field] = value
            at += one.size
    return out


def _index(description: Description, fixed: dict[str, float], n: int) -> int | None:
    counter = description._head("sample_counter", "packet_counter")
    if counter is None:
        return None
    if counter.field == "packet_counter":
        return int(fixed["packet_counter"]) * description.samples
    index = int(fixed["sample_counter"])
    return index - (n - 1) if counter.of == "last" else index


def _device_time_s(description: Description, fixed: dict[str, float], n: int) -> float | None:
    clock = description._head("clock")
    if clock is None:
        return None
    if not math.isfinite(fixed["clock"]):
        raise PacketError("the packet's time is no number")
    time_s = fixed["clock"] * clock.tick_s
    return time_s - (n - 1) / description.rate_hz if clock.of == "last" else time_s


def _quantity(columns: list[FloatArray], quantity: Quantity) -> FloatArray:
    out = np.empty((len(columns[0]), 3))
    with np.errstate(over="ignore", invalid="ignore"):
        for axis, (column, sign) in enumerate(quantity.axes):
            out[:, axis] = columns[column] * (sign * quantity.scale)
    return out


def _numbers(raw: NDArray[np.uint8], kind: str, big_endian: bool) -> FloatArray:
    """Values of rows of bytes, shape (n, size) → (n,)."""
    if kind in ("u24", "i24"):
        wide = np.zeros((len(raw), 4), np.uint8)
        # Into the upper three bytes; the arithmetic shift then carries the sign.
        wide[:, 1:] = raw[:, ::-1] if big_endian else raw
        signed = wide.view("<i4")[:, 0] >> 8
        return np.asarray(signed & 0xFFFFFF if kind == "u24" else signed, dtype=np.float64)
    dtype = np.dtype(f"{'>' if big_endian else '<'}{kind[0]}{TYPES[kind]}")
    with np.errstate(invalid="ignore"):
        return np.ascontiguousarray(raw).view(dtype)[:, 0].astype(np.float64)
