"""Checksums home-made and bought sensors put behind their packets.

The two CRCs of 16 bits are those of the catalogue of parametrised CRC algorithms (reveng), CRC-16/IBM-3740 and
CRC-16/MODBUS, the one of 8 bits is its CRC-8/SMBUS: check values of "123456789" are 0x29B1, 0x4B37 and 0xF4.
"""

from __future__ import annotations

import functools
import operator
from collections.abc import Callable
from typing import Final


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
