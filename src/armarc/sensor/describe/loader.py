"""Reads a device description; a fault names the file, the key, what was expected and what came."""

from __future__ import annotations

import re
import uuid
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from armarc.errors import FormatError
from armarc.folders import config_folder
from armarc.sensor.describe.layout import (
    ACCELERATION_UNITS,
    ANGULAR_VELOCITY_UNITS,
    AXES,
    CLOCK_UNITS,
    TYPES,
    Command,
    Description,
    Field,
    Quantity,
)
from armarc.sensor.wire.identifiers import assigned
from armarc.strict_toml import Check, Unfit, checked, number, one_of, read_toml, text

FOLDER_NAME = "sensors"
MAX_PAYLOAD = 512
"""Longest attribute value (Core Specification, Vol 3, Part F)."""


def load_descriptions(folder: Path | None = None) -> tuple[Description, ...]:
    """All descriptions in the user's folder, by file name.

    Raises
    ------
    FormatError
        One of them is faulty.
    """
    where = (config_folder() if folder is None else folder) / FOLDER_NAME
    return tuple(load_description(path) for path in sorted(where.glob("*.toml")))


def load_description(path: Path) -> Description:
    """Read one description.

    Raises
    ------
    InputError
        The file cannot be read.
    FormatError
        A key is unknown, missing or has a wrong value.
    """
    file = str(path)
    raw = checked(read_toml(path), _TOP, file=file)
    _need(raw, ("name", "find", "stream", "acceleration", "angular_velocity"), file)
    find = _table(raw["find"], _FIND, file, "find", ("service",))
    stream = _table(raw["stream"], _STREAM, file, "stream", ("characteristic", "rate_hz", "sample"))
    parts = {
        part: tuple(_field(entry, file, part, k) for k, entry in enumerate(stream.get(part, ())))
        for part in ("header", "sample", "trailer")
    }
    description = Description(
        name=raw["name"],
        note=raw.get("note", ""),
        service=find["service"],
        advertised=find.get("advertised", ""),
        name_pattern=find.get("name", ""),
        characteristic=stream["characteristic"],
        rate_hz=stream["rate_hz"],
        samples=stream.get("samples_per_packet", 0),
        big_endian=stream.get("byte_order", "little") == "big",
        acceleration=_quantity(raw["acceleration"], file, "acceleration", ACCELERATION_UNITS),
        angular_velocity=_quantity(raw["angular_velocity"], file, "angular_velocity", ANGULAR_VELOCITY_UNITS),
        start=_commands(stream.get("start", ()), file, "start"),
        stop=_commands(stream.get("stop", ()), file, "stop"),
        file=file,
        **parts,
    )
    _check_whole(description, file)
    return description


def _is_table(value: Any) -> dict[str, Any]:
    if not isinstance(value, dict):
        raise Unfit("a table")
    return value


def _tables(value: Any) -> list[dict[str, Any]]:
    if not isinstance(value, list) or not all(isinstance(one, dict) for one in value):
        raise Unfit('a list of tables such as [{ field = "ax", type = "i16" }]')
    return value


def _uuid(value: Any) -> str:
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


def _bytes(value: Any) -> bytes:
    if isinstance(value, str):
        try:
            data = bytes.fromhex(value)
        except ValueError:
            data = b""
        if 1 <= len(data) <= MAX_PAYLOAD:
            return data
    raise Unfit('bytes in hexadecimal such as "01 64"')


def _flag(value: Any) -> bool:
    if not isinstance(value, bool):
        raise Unfit("true or false")
    return value


def _whole(low: int, high: int) -> Check:
    def check(value: Any) -> int:
        if isinstance(value, bool) or not isinstance(value, int) or not low <= value <= high:
            raise Unfit(f"a whole number from {low} to {high}")
        return value

    return check


def _samples(value: Any) -> int:
    if value == "fill":
        return 0
    try:
        return int(_whole(1, 255)(value))
    except Unfit:
        raise Unfit('a whole number from 1 to 255, or "fill" for as many as the packet holds') from None


def _scale(value: Any) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float) or not 1e-12 <= abs(value) <= 1e6:
        raise Unfit("a number that is not zero: units per count, such as 0.000244")
    return float(value)


def _axes(value: Any) -> tuple[tuple[int, int], ...]:
    words = value if isinstance(value, list) else []
    out = []
    for word in words:
        found = re.fullmatch(r"([+-]?)([xyz])", word.strip()) if isinstance(word, str) else None
        if found:
            out.append(("xyz".index(found[2]), -1 if found[1] == "-" else 1))
    if len(words) != 3 or len(out) != 3 or {column for column, _ in out} != {0, 1, 2}:
        raise Unfit('three of the sensor\'s axes, each once, such as ["x", "-z", "y"]')
    return tuple(out)


_TOP: dict[str, Check] = {
    "name": text(longest=60),
    "note": text(),
    "find": _is_table,
    "stream": _is_table,
    "acceleration": _is_table,
    "angular_velocity": _is_table,
}
_FIND: dict[str, Check] = {"service": _uuid, "advertised": _uuid, "name": text(longest=60)}
_STREAM: dict[str, Check] = {
    "characteristic": _uuid,
    "rate_hz": number(1, 5000, "Hz"),
    "samples_per_packet": _samples,
    "byte_order": one_of(("little", "big")),
    "header": _tables,
    "sample": _tables,
    "trailer": _tables,
    "start": _tables,
    "stop": _tables,
}
_COMMAND: dict[str, Check] = {"characteristic": _uuid, "bytes": _bytes, "response": _flag}
_FIXED = ("clock", "sample_counter", "packet_counter", "count", "constant", "skip")
_FIELDS: dict[str, tuple[str, ...]] = {
    "header": _FIXED,
    "sample": (*AXES, "skip"),
    "trailer": _FIXED,
}


def _quantity(raw: Mapping[str, Any], file: str, name: str, units: Mapping[str, float]) -> Quantity:
    checks: dict[str, Check] = {
        "scale": _scale,
        "unit": one_of(units),
        "axes": _axes,
        "range": number(1e-3, 1e6),
    }
    got = _table(raw, checks, file, name, ("scale", "unit"))
    unit = units[got["unit"]]
    range_si = got["range"] * unit if "range" in got else None
    if "axes" in got:
        return Quantity(scale=got["scale"] * unit, axes=got["axes"], range_si=range_si)
    return Quantity(scale=got["scale"] * unit, range_si=range_si)


def _commands(raw: Sequence[Mapping[str, Any]], file: str, name: str) -> tuple[Command, ...]:
    out = []
    for k, entry in enumerate(raw):
        got = _table(entry, _COMMAND, file, f"stream.{name}[{k}]", ("characteristic", "bytes"))
        out.append(
            Command(
                characteristic=got["characteristic"], data=got["bytes"], response=got.get("response", True)
            )
        )
    return tuple(out)


def _field(raw: Mapping[str, Any], file: str, part: str, k: int) -> Field:
    name = f"stream.{part}[{k}]"
    kind = raw.get("field")
    checks: dict[str, Check] = {"field": one_of(_FIELDS[part])}
    needed: tuple[str, ...] = ("field", "type")
    whole_types = [one for one in TYPES if one[0] == "u"]
    if kind == "skip":
        checks["bytes"], needed = _whole(1, MAX_PAYLOAD), ("field", "bytes")
    elif kind == "constant":
        checks |= {"type": one_of(whole_types), "value": _whole(0, 2**63 - 1)}
        needed = ("field", "type", "value")
    elif kind == "clock":
        units = one_of(CLOCK_UNITS)
        checks |= {
            "type": one_of([*whole_types, "f32", "f64"]),
            "unit": units,
            "tick_s": number(1e-9, 10, "s"),
            "of": one_of(("first", "last")),
        }
    elif kind in ("sample_counter", "packet_counter", "count"):
        checks["type"] = one_of(whole_types)
        if kind == "sample_counter":
            checks["of"] = one_of(("first", "last"))
    else:
        checks["type"] = one_of(TYPES)
    got = _table(raw, checks, file, name, needed)
    if kind == "clock":
        if ("unit" in got) == ("tick_s" in got):
            raise FormatError(
                'expected either unit ("s", "ms", "us") or tick_s (seconds in one tick)',
                file=file,
                column=name,
            )
        got["tick_s"] = got.get("tick_s") or CLOCK_UNITS[got.pop("unit")]
    return Field(**got)


def _table(
    raw: Mapping[str, Any], checks: Mapping[str, Check], file: str, name: str, needed: Sequence[str]
) -> dict[str, Any]:
    got = checked(raw, checks, file=file, name=name)
    _need(got, needed, file, name)
    return got


def _need(got: Mapping[str, Any], needed: Sequence[str], file: str, name: str = "") -> None:
    for key in needed:
        if key not in got:
            raise FormatError(
                "this key is missing",
                "the examples show a whole description: `armarc sensor describe --example`",
                file=file,
                column=f"{name}.{key}" if name else key,
            )


def _check_whole(description: Description, file: str) -> None:
    def fault(message: str, column: str) -> FormatError:
        return FormatError(message, file=file, column=column)

    names = [one.field for one in description.sample if one.field != "skip"]
    for axis in AXES:
        if names.count(axis) != 1:
            raise fault(f"expected {axis} exactly once, got it {names.count(axis)} times", "stream.sample")
    heads = [one.field for one in (*description.header, *description.trailer)]
    for once in ("clock", "count"):
        if heads.count(once) > 1:
            raise fault(f"expected {once} at most once, got it {heads.count(once)} times", "stream.header")
    if heads.count("sample_counter") + heads.count("packet_counter") > 1:
        raise fault("expected one counter at most", "stream.header")
    if "packet_counter" in heads and not description.samples:
        raise fault(
            "expected samples_per_packet to be a number, because the packet counter counts packets",
            "stream.samples_per_packet",
        )
    least = max(1, description.samples)
    size = description.header_bytes + least * description.sample_bytes + description.trailer_bytes
    if size > MAX_PAYLOAD:
        raise fault(f"expected packets of at most {MAX_PAYLOAD} bytes, got {size}", "stream")
    if not any((description.advertised, description.name_pattern)) and description.service.startswith(
        ("00001800", "00001801", "0000180a", "0000180f")
    ):
        raise fault("expected a service of the sensor's own, got one that every device has", "find.service")
