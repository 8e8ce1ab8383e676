"""Numbers out of rows of bytes: whole bytes in either order, and packed 12 bits; and checksums behind packets.

The two CRCs of 16 bits are those of the catalogue of parametrised CRC algorithms (reveng), CRC-16/IBM-3740 and
CRC-16/MODBUS, the one of 8 bits is its CRC-8/SMBUS: check values of "123456789" are 0x29B1, 0x4B37 and 0xF4.
"""

from __future__ import annotations

import functools
import operator
from collections.abc import Callable
from typing import Final

import numpy as np
from numpy.typing import NDArray

from armarc.recording import FloatArray

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
