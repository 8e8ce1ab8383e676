"""Checks of single values of a description; each raises `Unfit` with what was expected."""

from __future__ import annotations

import re
import uuid
from pathlib import PurePath
from typing import Any

from armarc.sensor.wire.identifiers import assigned
from armarc.strict_toml import Check, Unfit

MAX_PAYLOAD = 512
"""Longest attribute value (Core Specification, Vol 3, Part F)."""


def is_table(value: object) -> dict[str, object]:
    """A table."""
    if not isinstance(value, dict):
        raise Unfit("a table")
    return value


def is_tables(value: object) -> list[dict[str, object]]:
    """A list of tables."""
    if not isinstance(value, list) or not all(isinstance(one, dict) for one in value):
        raise Unfit('a list of tables such as [{ field = "ax", type = "i16" }]')
    return value


def is_uuid(value: object) -> str:
    """A UUID of 128 or 16 bits, in its long form."""
    if isinstance(value, str):
        word = value.strip().lower()
        if re.fullmatch(r"(0x)?[0-9a-f]{4}", word):
            return assigned(int(word, 16))
        try:
            if len(word) == 36:
                return str(uuid.UUID(word))
        except ValueError:
            pass
    raise Unfit('a UUID such as "6e1f0001-8a5d-4c3b-9b7e-2f4d1c0a9e55" or a 16-bit number such as "ffe1"')


def is_bytes(value: object) -> bytes:
    """Bytes, in hexadecimal."""
    if isinstance(value, str):
        try:
            data = bytes.fromhex(value)
        except ValueError:
            data = b""
        if 1 <= len(data) <= MAX_PAYLOAD:
            return data
    raise Unfit('bytes in hexadecimal such as "01 64"')


def is_flag(value: object) -> bool:
    """True or false."""
    if not isinstance(value, bool):
        raise Unfit("true or false")
    return value


def whole(low: int, high: int) -> Check:
    """A check for whole numbers from `low` to `high`."""

    def check(value: object) -> int:
        if isinstance(value, bool) or not isinstance(value, int) or not low <= value <= high:
            raise Unfit(f"a whole number from {low} to {high}")
        return value

    return check


def is_samples(value: object) -> int:
    """Samples in a packet; 0 for as many as it holds."""
    if value == "fill":
        return 0
    try:
        return int(whole(1, 255)(value))
    except Unfit:
        raise Unfit('a whole number from 1 to 255, or "fill" for as many as the packet holds') from None


def is_scale(value: object) -> float:
    """Units per count."""
    if isinstance(value, bool) or not isinstance(value, int | float) or not 1e-12 <= abs(value) <= 1e6:
        raise Unfit("a number that is not zero: units per count, such as 0.000244")
    return float(value)


def is_axes(value: object) -> tuple[tuple[int, int], ...]:
    """Column and sign for x, y and z."""
    words = value if isinstance(value, list) else []
    out = []
    for word in words:
        found = re.fullmatch(r"([+-]?)([xyz])", word.strip()) if isinstance(word, str) else None
        if found:
            out.append(("xyz".index(found[2]), -1 if found[1] == "-" else 1))
    if len(words) != 3 or len(out) != 3 or {column for column, _ in out} != {0, 1, 2}:
        raise Unfit('three of the sensor\'s axes, each once, such as ["x", "-z", "y"]')
    return tuple(out)


def is_stream(value: Any) -> list[dict[str, Any]]:
    """One table [stream], or two [[stream]]."""
    streams = value if isinstance(value, list) else [value]
    if not all(isinstance(one, dict) for one in streams) or not 1 <= len(streams) <= 2:
        raise Unfit("a table [stream], or two [[stream]]")
    return streams


def is_separator(value: object) -> str:
    """Between two columns of a line."""
    if not isinstance(value, str) or len(value) != 1 or value in "\r\n+-." or value.isalnum():
        raise Unfit('one character such as "," or ";", or " " for any white space')
    return " " if value == "\t" else value


def is_file_name(value: object) -> str:
    """A Python file beside the description."""
    if not isinstance(value, str) or PurePath(value).name != value or not value.endswith(".py"):
        raise Unfit('the name of a Python file in the same folder, such as "strap.py"')
    return value
