"""Reads a device description; a fault names the file, the key, what was expected and what came."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from armarc.computer import config_folder
from armarc.errors import FormatError
from armarc.sensor.describe.checks import (
    MAX_PAYLOAD,
    is_axes,
    is_bytes,
    is_file_name,
    is_flag,
    is_samples,
    is_scale,
    is_separator,
    is_stream,
    is_table,
    is_tables,
    is_uuid,
    whole,
)
from armarc.sensor.describe.description import (
    ACCELERATION_UNITS,
    ANGULAR_VELOCITY_UNITS,
    AXES,
    CLOCK_UNITS,
    Command,
    Description,
    Field,
    Ignored,
    Quantity,
    Rate,
)
from armarc.sensor.describe.numbers import BITS, METHODS, PACKED
from armarc.strict_toml import Check, checked, number, one_of, read_toml, text

FOLDER_NAME = "sensors"

_TOP: dict[str, Check] = {
    "name": text(longest=60),
    "note": text(),
    "find": is_table,
    "stream": is_stream,
    "acceleration": is_table,
    "angular_velocity": is_table,
}
_FIND: dict[str, Check] = {"service": is_uuid, "advertised": is_uuid, "name": text(longest=60)}
_STREAM: dict[str, Check] = {
    "characteristic": is_uuid,
    "rate_hz": number(1, 5000, "Hz"),
    "rates": is_tables,
    "samples_per_packet": is_samples,
    "byte_order": one_of(("little", "big")),
    "layout": one_of(("samples", "axes", "sensors")),
    "format": one_of(("packets", "lines")),
    "separator": is_separator,
    "ignore": is_tables,
    "header": is_tables,
    "sample": is_tables,
    "trailer": is_tables,
    "start": is_tables,
    "stop": is_tables,
    "decoder": is_file_name,
    "index_modulus": whole(2, 2**63),
    "time_modulus_s": number(1e-3, 1e12, "s"),
}
_IGNORE: dict[str, Check] = {
    "at": whole(0, MAX_PAYLOAD - 1),
    "bytes": is_bytes,
    "length": whole(1, MAX_PAYLOAD),
}
_COMMAND: dict[str, Check] = {"characteristic": is_uuid, "bytes": is_bytes, "response": is_flag}
_RATE: dict[str, Check] = {"hz": number(1, 5000, "Hz"), "write": is_tables}
_FIXED = ("clock", "sample_counter", "packet_counter", "count", "constant", "checksum", "skip")
_FIELDS: dict[str, tuple[str, ...]] = {
    "header": tuple(one for one in _FIXED if one != "checksum"),
    "sample": (*AXES, "clock", "sample_counter", "skip"),
    "trailer": _FIXED,
}
_COLUMNS = (*AXES, "clock", "sample_counter", "constant", "skip")


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
    _need(raw, ("name", "find", "stream"), file)
    find = _table(raw["find"], _FIND, file, "find", ("service",))
    own = any("decoder" in one for one in raw["stream"])
    if not own:
        _need(raw, ("acceleration", "angular_velocity"), file)
    first = Description(
        name=raw["name"],
        note=raw.get("note", ""),
        service=find["service"],
        advertised=find.get("advertised", ""),
        name_pattern=find.get("name", ""),
        characteristic="",
        rate_hz=1.0,
        header=(),
        sample=(),
        file=file,
        acceleration=_quantity(raw, file, "acceleration", ACCELERATION_UNITS),
        angular_velocity=_quantity(raw, file, "angular_velocity", ANGULAR_VELOCITY_UNITS),
    )
    streams = [_stream(first, one, file) for one in raw["stream"]]
    for one in streams:
        _check_stream(one, file)
    if len(streams) == 2:
        _check_pair(streams[0], streams[1], file)
        streams[0] = replace(streams[0], joined_with=streams[1])
    _check_whole(streams[0], file)
    return streams[0]


def _stream(sensor: Description, raw: Mapping[str, object], file: str) -> Description:
    got = _table(raw, _STREAM, file, "stream", ("characteristic", "rate_hz"))
    lines = got.get("format") == "lines"
    decoder = got.get("decoder", "")
    if not decoder:
        _need(got, ("sample",), file, "stream")

    def fields(part: str) -> tuple[Field, ...]:
        return tuple(_field(entry, file, part, k, lines) for k, entry in enumerate(got.get(part, ())))

    return replace(
        sensor,
        characteristic=got["characteristic"],
        rate_hz=got["rate_hz"],
        rates=_rates(got.get("rates", ()), file),
        samples=got.get("samples_per_packet", 0),
        big_endian=got.get("byte_order", "little") == "big",
        layout=got.get("layout", "samples"),
        format=got.get("format", "packets"),
        separator=got.get("separator", ","),
        ignore=_ignored(got.get("ignore", ()), file),
        start=_commands(got.get("start", ()), file, "stream.start"),
        stop=_commands(got.get("stop", ()), file, "stream.stop"),
        decoder=str(Path(file).with_name(decoder)) if decoder else "",
        index_modulus=got.get("index_modulus"),
        time_modulus_s=got.get("time_modulus_s"),
        header=fields("header"),
        sample=fields("sample"),
        trailer=fields("trailer"),
    )


def _quantity(sensor: Mapping[str, Any], file: str, name: str, units: Mapping[str, float]) -> Quantity:
    if name not in sensor:
        return Quantity(scale=1.0)
    checks: dict[str, Check] = {
        "scale": is_scale,
        "unit": one_of(units),
        "axes": is_axes,
        "range": number(1e-3, 1e6),
    }
    got = _table(sensor[name], checks, file, name, ("scale", "unit"))
    unit = units[got["unit"]]
    range_si = got["range"] * unit if "range" in got else None
    if "axes" in got:
        return Quantity(scale=got["scale"] * unit, axes=got["axes"], range_si=range_si)
    return Quantity(scale=got["scale"] * unit, range_si=range_si)


def _commands(raw: Sequence[Mapping[str, object]], file: str, name: str) -> tuple[Command, ...]:
    out = []
    for k, entry in enumerate(raw):
        got = _table(entry, _COMMAND, file, f"{name}[{k}]", ("characteristic", "bytes"))
        out.append(
            Command(
                characteristic=got["characteristic"], data=got["bytes"], response=got.get("response", True)
            )
        )
    return tuple(out)


def _rates(raw: Sequence[Mapping[str, object]], file: str) -> tuple[Rate, ...]:
    out = []
    for k, entry in enumerate(raw):
        name = f"stream.rates[{k}]"
        got = _table(entry, _RATE, file, name, ("hz", "write"))
        out.append(Rate(hz=got["hz"], commands=_commands(got["write"], file, f"{name}.write")))
    return tuple(out)


def _ignored(raw: Sequence[Mapping[str, object]], file: str) -> tuple[Ignored, ...]:
    out = []
    for k, entry in enumerate(raw):
        name = f"stream.ignore[{k}]"
        got = _table(entry, _IGNORE, file, name, ())
        if "bytes" not in got and "length" not in got:
            raise FormatError(
                "expected bytes (with at, where they stand), a length, or both", file=file, column=name
            )
        out.append(Ignored(at=got.get("at", 0), data=got.get("bytes", b""), length=got.get("length", 0)))
    return tuple(out)


def _field(raw: Mapping[str, object], file: str, part: str, k: int, lines: bool) -> Field:
    name = f"stream.{part}[{k}]"
    kind = raw.get("field")
    checks: dict[str, Check] = {"field": one_of(_COLUMNS if lines else _FIELDS[part])}
    needed: tuple[str, ...] = ("field",)
    if lines:
        if kind == "constant":
            checks["text"], needed = text(longest=60), ("field", "text")
        elif kind == "clock":
            checks["wrap_s"] = number(1e-3, 1e12, "s")
        elif kind == "sample_counter":
            checks["modulus"] = whole(2, 2**63)
    else:
        more, needed = _packet_keys(kind, part)
        checks |= more
    if kind == "clock":
        checks |= {"unit": one_of(CLOCK_UNITS), "tick_s": number(1e-9, 10, "s")}
    got = _table(raw, checks, file, name, needed)
    if kind == "clock":
        if ("unit" in got) == ("tick_s" in got):
            raise FormatError(
                'expected either unit ("s", "ms", "us") or tick_s (seconds in one tick)',
                file=file,
                column=name,
            )
        got["tick_s"] = got.get("tick_s") or CLOCK_UNITS[got.pop("unit")]
    if kind == "checksum":
        got["type"] = METHODS[got["method"]][0]
    for key in ("wrap_s", "modulus"):
        if key in got:
            got["wrap"] = float(got.pop(key))
    return Field(**got)


def _packet_keys(kind: object, part: str) -> tuple[dict[str, Check], tuple[str, ...]]:
    """Keys a field of a packet may have beside its name and its clock's unit, and those it must have."""
    whole_types = [one for one in BITS if one[0] == "u" and one not in PACKED]
    order: dict[str, Check] = {"byte_order": one_of(("little", "big"))}
    if kind == "skip":
        return {"bytes": whole(1, MAX_PAYLOAD)}, ("field", "bytes")
    if kind == "checksum":
        return {"method": one_of(METHODS), **order}, ("field", "method")
    if kind == "constant":
        return {"type": one_of(whole_types), "value": whole(0, 2**63 - 1), **order}, (
            "field",
            "type",
            "value",
        )
    if kind in ("clock", "sample_counter", "packet_counter", "count"):
        types = [*whole_types, "f32", "f64"] if kind == "clock" else whole_types
        keys: dict[str, Check] = {"type": one_of(types), **order}
        if part != "sample" and kind in ("clock", "sample_counter"):
            keys["of"] = one_of(("first", "last"))
        return keys, ("field", "type")
    return {"type": one_of(BITS), **order}, ("field", "type")


def _table(
    raw: Mapping[str, object], checks: Mapping[str, Check], file: str, name: str, needed: Sequence[str]
) -> dict[str, Any]:
    got = checked(raw, checks, file=file, name=name)
    _need(got, needed, file, name)
    return got


def _need(got: Mapping[str, object], needed: Sequence[str], file: str, name: str = "") -> None:
    for key in needed:
        if key not in got:
            raise FormatError(
                "this key is missing",
                "the examples show a whole description: `armarc sensor describe --example`",
                file=file,
                column=f"{name}.{key}" if name else key,
            )


def _check_stream(one: Description, file: str) -> None:
    def fault(message: str, column: str) -> FormatError:
        return FormatError(message, file=file, column=column)

    if one.decoder:
        if one.sample or one.header or one.trailer or one.format == "lines":
            raise fault("expected either a decoder or a layout, got both", "stream.decoder")
        return
    heads = [field.field for field in (*one.header, *one.trailer)]
    everywhere = heads + [field.field for field in one.sample]
    if one.format == "lines" and (heads or one.samples or one.layout != "samples"):
        raise fault("expected a format of lines to have columns in sample alone", "stream.format")
    for once in ("clock", "count", "checksum"):
        if everywhere.count(once) > 1:
            raise fault(
                f"expected {once} at most once, got it {everywhere.count(once)} times", "stream.header"
            )
    if everywhere.count("sample_counter") + everywhere.count("packet_counter") > 1:
        raise fault("expected one counter at most", "stream.header")
    if "packet_counter" in heads and not one.samples:
        raise fault(
            "expected samples_per_packet to be a number, because the packet counter counts packets",
            "stream.samples_per_packet",
        )
    if one.format == "lines":
        return
    at = 0
    for field in one.sample:
        if at % 8 and field.type not in PACKED:
            raise fault(f"expected packed numbers to fill whole bytes before {field.field}", "stream.sample")
        at += field.bits
    if at % 8 or (one.layout != "samples" and any(field.type in PACKED for field in one.sample)):
        raise fault("expected packed numbers to fill whole bytes, in a layout of samples", "stream.sample")
    least = max(1, one.samples)
    size = one.header_bytes + least * one.sample_bytes + one.trailer_bytes
    if size > MAX_PAYLOAD:
        raise fault(f"expected packets of at most {MAX_PAYLOAD} bytes, got {size}", "stream")


def _check_pair(first: Description, second: Description, file: str) -> None:
    for one in (first, second):
        if one.format == "lines" or one.decoder:
            raise FormatError("expected packets in both of two streams", file=file, column="stream")
        if one.head_field("clock") is None:
            raise FormatError(
                "expected a clock in both of two streams, because it joins them", file=file, column="stream"
            )
    if first.characteristic == second.characteristic:
        raise FormatError(
            "expected two streams to have two characteristics", file=file, column="stream.characteristic"
        )
    for names in (AXES[:3], AXES[3:]):
        held = [[one.field for one in each.sample if one.field in names] for each in (first, second)]
        if all(held):
            raise FormatError(
                "expected one stream with the acceleration and one with the angular velocity",
                file=file,
                column="stream.sample",
            )


def _check_whole(one: Description, file: str) -> None:
    streams = [one] if one.joined_with is None else [one, one.joined_with]
    names = [field.field for each in streams for field in each.sample if field.field != "skip"]
    for axis in () if one.decoder else AXES:
        if names.count(axis) != 1:
            raise FormatError(
                f"expected {axis} exactly once, got it {names.count(axis)} times",
                file=file,
                column="stream.sample",
            )
    if not any((one.advertised, one.name_pattern)) and one.service.startswith(
        ("00001800", "00001801", "0000180a", "0000180f")
    ):
        raise FormatError(
            "expected a service of the sensor's own, got one that every device has",
            file=file,
            column="find.service",
        )
