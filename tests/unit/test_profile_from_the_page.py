"""A second encoder, written from ``firmware_notes/wrist-profile.md`` alone, against the vectors and the reader.

Nothing here uses the package to encode: offsets and sizes are taken from the tables of the page as they stand, so a
page that says something else than the code fails here.
"""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from armarc.sensor.wire import PacketError, decode_clock, decode_packet, decode_state
from sensor_side import decode_command

NOTES = Path(__file__).parents[2] / "firmware_notes"
PAGE = (NOTES / "wrist-profile.md").read_text("utf-8")
VECTORS = json.loads((NOTES / "vectors.json").read_text("utf-8"))


def table(section: str, head: str) -> list[list[str]]:
    """Rows of the first table of a section whose head line starts so."""
    part = PAGE[PAGE.index(section) :]
    lines = part[part.index(head) :].splitlines()[2:]
    rows = []
    for line in lines:
        if not line.startswith("|"):
            break
        rows.append([cell.strip().strip("`*") for cell in line.strip("|").split("|")])
    return rows


HEADER = table("## 2. Data", "| offset | size | field |")
STATE = table("## 3. Control", "| offset | size | field |")
FLAGS = {row[1]: int(row[0]) for row in table("## 2. Data", "| flag | name |")}
OPCODES = {row[2].split(":")[0]: int(row[0], 16) for row in table("## 3. Control", "| opcode |")}
CLIPPED = FLAGS["clipped"]


def little(value: int, size: int) -> str:
    return value.to_bytes(size, "little", signed=value < 0).hex()


def data_packet(flags: int, index: int, time_us: int, counts: list[list[int]]) -> str:
    sizes = [int(row[1]) for row in HEADER]
    out = little(1 << 4 | flags, sizes[0]) + little(len(counts), sizes[1])
    out += little(index, sizes[2]) + little(time_us, sizes[3])
    frames = "".join(little(value, 2) for frame in counts for value in frame)
    assert len(frames) == 2 * sizes[4] * len(counts)
    return out + frames


def state_value(one: dict[str, int]) -> str:
    order = (
        "version", "streaming", "rate_dhz", "acc_range_g", "frames_per_packet", "gyr_range_deg_s", "filter_dhz",
        "queue_frames", "dropped_frames", "temperature_ck", "acc_ranges", "gyr_ranges",
    )  # fmt: skip
    values = {"version": 1, **one}
    out = ""
    for name, row in zip(order, STATE, strict=True):
        assert len(out) == 2 * int(row[0])
        out += little(values[name], int(row[1]))
    return out


def command_value(one: dict[str, int]) -> str:
    name = next(name for name, opcode in OPCODES.items() if opcode == one["opcode"])
    out = little(OPCODES[name], 1)
    if name != "configure":
        return out
    out += little(one["rate_dhz"], 2) + little(one["acc_range_g"], 1)
    return out + little(one["gyr_range_deg_s"], 2) + little(one["frames_per_packet"], 1)


@pytest.mark.parametrize("one", VECTORS["data"], ids=lambda one: one["bytes"][:23])
def test_data(one: dict[str, Any]) -> None:
    ours = data_packet(one["flags"], one["index"], one["time_us"], one["counts"])
    assert ours == one["bytes"].replace(" ", "")
    ends = [value for frame in one["counts"] for value in frame if value in (-32768, 32767)]
    assert bool(one["flags"] & CLIPPED) == bool(ends)
    read = decode_packet(bytes.fromhex(ours))
    assert (read.index, read.time_us, read.flags) == (one["index"], one["time_us"], one["flags"])
    np.testing.assert_array_equal(read.counts, one["counts"])


@pytest.mark.parametrize("one", VECTORS["state"], ids=lambda one: one["bytes"][:23])
def test_state(one: dict[str, int]) -> None:
    ours = state_value(one)
    assert ours == str(one["bytes"]).replace(" ", "")
    read = decode_state(bytes.fromhex(ours))
    assert read.rate_hz == pytest.approx(one["rate_dhz"] / 10)
    assert read.gyroscope_range_deg_s == one["gyr_range_deg_s"]
    assert read.accelerometer_ranges_g == tuple(2 * 2**k for k in range(7) if one["acc_ranges"] >> k & 1)
    assert read.gyroscope_ranges_deg_s == tuple(125 * 2**k for k in range(8) if one["gyr_ranges"] >> k & 1)
    if one["temperature_ck"]:
        assert read.temperature_c == pytest.approx(one["temperature_ck"] / 100 - 273.15)
    else:
        assert read.temperature_c is None
    # The first 16 bytes are required; what may be appended later is read over.
    short = decode_state(bytes.fromhex(ours)[:16])
    assert (short.rate_hz, short.temperature_c) == (read.rate_hz, None)
    assert decode_state(bytes.fromhex(ours) + b"later") == read


@pytest.mark.parametrize("one", VECTORS["clock"], ids=lambda one: one["bytes"][:23])
def test_clock(one: dict[str, int]) -> None:
    ours = little(one["boot"], 4) + little(one["uptime_us"], 8) + little(one["next_frame"], 8)
    assert ours == str(one["bytes"]).replace(" ", "")
    read = decode_clock(bytes.fromhex(ours))
    assert (read.boot, read.uptime_us, read.next_frame) == (one["boot"], one["uptime_us"], one["next_frame"])


@pytest.mark.parametrize("one", VECTORS["command"], ids=lambda one: one["bytes"] or "empty")
def test_command(one: dict[str, Any]) -> None:
    data = bytes.fromhex(one["bytes"])
    if one["answer"]:
        assert one["answer"] == 0x80
        with pytest.raises(PacketError):
            decode_command(data)
        return
    assert command_value(one) == one["bytes"].replace(" ", "")
    opcode, settings = decode_command(data)
    assert opcode == one["opcode"]
    assert (settings is None) == (opcode != OPCODES["configure"])


def test_the_example_of_another_sensitivity() -> None:
    """35 mdps in a count, over 32768 counts, is the range the page names."""
    assert "35 mdps in a count" in PAGE
    assert f"±{round(0.035 * 32768)} °/s" in PAGE


def test_the_filter_leaves_a_choice_at_every_usual_rate() -> None:
    part = PAGE[PAGE.index("Anti-alias filter (or") :]
    low, high, most = 0.25, 0.4, 80
    assert f"{low:g} to {high:g} of the rate" in part
    for rate, words in ((100, "25–40 Hz"), (200, "50–80 Hz")):
        assert f"{math.floor(low * rate)}–{min(round(high * rate), most)} Hz" == words
        assert words in part


def test_the_battery_example_adds_up() -> None:
    part = PAGE[PAGE.index("An example: sensor") :]
    streaming_ma = (0.7 + 0.8 + 0.5) / 0.85
    assert f"about {streaming_ma:.1f} mA" in part
    assert f"= {80 / 2.4:.0f} h" in part
    assert f"= {80 / (2.4 + 0.5):.0f} days" in part
