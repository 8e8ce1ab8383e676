"""The normative page says what the code does: UUIDs, layouts, worked examples, throughput."""

from __future__ import annotations

import json
from dataclasses import asdict
from pathlib import Path

import numpy as np
import pytest

from armarc.sensor.wire import (
    DataPacket,
    SensorSettings,
    configure_command,
    decode_clock,
    decode_packet,
    decode_state,
    start_command,
    stop_command,
)
from armarc.sensor.wire import identifiers as ids
from armarc.sensor.wire.packet import FRAME_BYTES, HEADER, batch_frames
from sensor_side import encode_clock, encode_packet, encode_state, frames_that_fit

NOTES = Path(__file__).parents[2] / "firmware_notes"
PAGE = (NOTES / "wrist-profile.md").read_text("utf-8")


def _rows(head: str) -> list[list[str]]:
    """Cells of the table whose first line starts with `head`."""
    lines = PAGE[PAGE.index(head) :].splitlines()
    table = []
    for line in lines[2:]:
        if not line.startswith("|"):
            break
        table.append([cell.strip().strip("`") for cell in line.strip("|").split("|")])
    return table


def _meaning(text: str) -> dict[str, float | tuple[int, ...]]:
    pairs = (word.split("=") for word in text.split())
    return {key: tuple(map(int, value.split(","))) if "," in value else float(value) for key, value in pairs}


EXAMPLES = _rows("| kind | bytes | meaning |")


def test_there_is_an_example_of_everything() -> None:
    assert {row[0] for row in EXAMPLES} == {"data", "state", "clock", "configure", "start", "stop"}


@pytest.mark.parametrize(("kind", "hexadecimal", "meaning"), EXAMPLES)
def test_worked_examples(kind: str, hexadecimal: str, meaning: str) -> None:
    data = bytes.fromhex(hexadecimal)
    said = _meaning(meaning)
    if kind == "data":
        packet = decode_packet(data)
        assert {"index": packet.index, "time_us": packet.time_us, "flags": packet.flags} == {
            key: said[key] for key in ("index", "time_us", "flags")
        }
        counts = [int(word) for word in meaning.split("counts=")[1].split(",")]
        np.testing.assert_array_equal(packet.counts.ravel(), counts)
        assert encode_packet(packet) == data
    elif kind == "state":
        assert asdict(decode_state(data)) == said
        assert encode_state(decode_state(data)) == data
    elif kind == "clock":
        assert asdict(decode_clock(data)) == said
        assert encode_clock(decode_clock(data)) == data
    elif kind == "configure":
        whole = {key: int(value) for key, value in said.items() if key != "rate_hz"}
        assert configure_command(SensorSettings(rate_hz=said["rate_hz"], **whole)) == data
    else:
        assert data == {"start": start_command(), "stop": stop_command()}[kind]


def test_throughput_table() -> None:
    rows = _rows("| ATT_MTU | rate, Hz |")
    assert [(int(row[0]), int(row[1])) for row in rows] == [
        (mtu, rate) for mtu in (23, 185, 247, 517) for rate in (100, 200, 400)
    ]
    for row in rows:
        fit, rate_hz = frames_that_fit(int(row[0])), float(row[1])
        frames = min(fit, batch_frames(rate_hz))
        per_s = rate_hz / frames
        payload = per_s * (HEADER.size + frames * FRAME_BYTES)
        first_waits_ms = 1000 * (frames - 1) / rate_hz
        assert row[2:] == [str(fit), str(frames), f"{per_s:.1f}", f"{payload:.0f}", f"{first_waits_ms:.1f}"]


def test_uuids() -> None:
    rows = {row[0]: row[1] for row in _rows("| what | UUID |")}
    assert rows["wrist service"] == ids.WRIST_SERVICE
    assert rows["data"] == ids.WRIST_DATA
    assert rows["control"] == ids.WRIST_CONTROL
    assert rows["clock"] == ids.WRIST_CLOCK


def test_layout_tables_add_up() -> None:
    control = [
        row for row in _rows("| offset | size | field |\n|---|---|---|\n| 0 | 1 | version: 1") if row[0]
    ]
    at = 0
    for offset, size, _ in control:
        assert int(offset) == at
        at += int(size)
    assert at == 20
    flags = {row[1]: int(row[0]) for row in _rows("| flag | name | meaning |")}
    assert flags == {"overflow": 1, "clipped": 2, "first": 4, "low battery": 8}


def test_vectors() -> None:
    for vector in json.loads((NOTES / "vectors.json").read_text())["data"]:
        packet = DataPacket(
            index=vector["index"],
            time_us=vector["time_us"],
            flags=vector["flags"],
            counts=np.array(vector["counts"], np.int16),
        )
        assert encode_packet(packet).hex(" ") == vector["bytes"]
