"""Device descriptions: known bytes in, clear words out."""

from __future__ import annotations

import math
import struct
from pathlib import Path

import numpy as np
import pytest

from armarc.errors import FormatError
from armarc.sensor.describe import decode_described, load_description, load_descriptions
from armarc.sensor.wire import PacketError

EXAMPLES = Path(__file__).parents[2] / "src/armarc/sensor/describe/examples"
COUNTER = (EXAMPLES / "invented-counter.toml").read_text("utf-8")


def test_counter_example() -> None:
    one = load_description(EXAMPLES / "invented-counter.toml")
    samples = [(10, 20, -30, 1000, -2000, 4098), (0,) * 6, (1,) * 6]
    data = b"\xa5\x07" + b"".join(struct.pack(">6h", *row) for row in samples) + b"\xff"
    batch = decode_described(one, data)
    assert batch.index == 21
    assert batch.device_time_s is None
    mg = 9.80665e-3 * 0.244
    assert batch.specific_force_m_s2[0] == pytest.approx([1000 * mg, -4098 * mg, -2000 * mg])
    assert batch.angular_velocity_rad_s[0] == pytest.approx(np.radians([0.35, 1.05, 0.7]))
    assert one.timing.index_modulus == 256 * 3
    assert one.timing.time_modulus_s is None
    assert one.acceleration.range_si == pytest.approx(8 * 9.80665)


def test_clock_example() -> None:
    one = load_description(EXAMPLES / "invented-clock.toml")
    rows = [(0.0, 0.0, 1.0, 0.1, 0.2, 0.3), (0.5, 0.0, 1.0, 0.0, 0.0, 0.0)]
    data = struct.pack("<IHB", 32768, 9, 2) + b"".join(struct.pack("<6f", *row) for row in rows)
    batch = decode_described(one, data)
    assert batch.index == 9
    assert batch.device_time_s == pytest.approx(1 - 1 / 200)
    assert batch.specific_force_m_s2[1] == pytest.approx([0.5 * 9.80665, 0, 9.80665])
    assert one.timing.time_modulus_s == pytest.approx(131072.0)


@pytest.mark.parametrize(
    ("kind", "big", "raw", "value"),
    [
        ("i24", False, b"\xff\xff\xff", -1),
        ("i24", True, b"\x80\x00\x00", -(2**23)),
        ("u24", False, b"\x01\x00\x80", 0x800001),
        ("i8", False, b"\x80", -128),
        ("u16", True, b"\x01\x02", 258),
        ("i32", False, b"\xfe\xff\xff\xff", -2),
        ("f64", True, struct.pack(">d", math.pi), math.pi),
    ],
)
def test_number_types(tmp_path: Path, kind: str, big: bool, raw: bytes, value: float) -> None:
    text = COUNTER.replace('"i16"', f'"{kind}"').replace('"big"', '"big"' if big else '"little"')
    text = text.replace('["x", "-z", "y"]', '["x", "y", "z"]').replace("scale = 0.244 ", "scale = 1 ")
    path = tmp_path / "a.toml"
    path.write_text(text)
    batch = decode_described(load_description(path), b"\xa5\x00" + raw * 18 + b"\x00")
    assert batch.specific_force_m_s2[2] == pytest.approx([value * 9.80665e-3] * 3)


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (b"", "expected a packet of 2 \\+ n · 12 \\+ 1 bytes with n = 3, got 0"),
        (bytes(39), "expected byte 0 to be 165, got 0"),
    ],
)
def test_packets_that_do_not_fit(data: bytes, said: str) -> None:
    with pytest.raises(PacketError, match=said):
        decode_described(load_description(EXAMPLES / "invented-counter.toml"), data)


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        (
            "rate_hz = 104",
            "rate_hz = 0",
            r"column 'stream.rate_hz': expected a number from 1 to 5000 Hz, got 0",
        ),
        ("rate_hz = 104\n", "", r"column 'stream.rate_hz': this key is missing"),
        ("rate_hz", "rate", r"column 'stream.rate': unknown key \(did you mean rate_hz\?\)"),
        (
            'type = "u8" },\n]',
            'type = "i8" },\n]',
            r"'stream.header\[1\].type': expected one of .*\"u8\".*, got \"i8\"",
        ),
        ('"gz"', '"gy"', r"'stream.sample': expected gy exactly once, got it 2 times"),
        ('["x", "-z", "y"]', '["x", "-z", "x"]', r"'acceleration.axes': expected three of the sensor's axes"),
        (
            'unit = "mg"',
            'unit = "lb"',
            r"'acceleration.unit': expected one of \"m/s2\", \"g\", \"mg\", got \"lb\"",
        ),
        ("samples_per_packet = 3", 'samples_per_packet = "fill"', "the packet counter counts packets"),
        (
            "samples_per_packet = 3",
            "samples_per_packet = 60",
            "expected packets of at most 512 bytes, got 723",
        ),
        ('bytes = "01"', 'bytes = "0"', r"'stream.start\[0\].bytes': expected bytes in hexadecimal"),
        ('service = "7d3e0001-', 'service = "7d3e001-', "'find.service': expected a UUID"),
        ('field = "packet_counter"', 'field = "clock"', "expected either unit"),
        ("[find]", "[find", "line 5: is not valid TOML"),
    ],
)
def test_faults_name_file_key_expected_and_got(tmp_path: Path, old: str, new: str, said: str) -> None:
    assert old in COUNTER
    path = tmp_path / "strap.toml"
    path.write_text(COUNTER.replace(old, new, 1))
    with pytest.raises(FormatError, match=said) as caught:
        load_description(path)
    assert str(caught.value).startswith(str(path))


def test_users_folder(tmp_path: Path) -> None:
    assert load_descriptions(tmp_path) == ()
    (tmp_path / "sensors").mkdir()
    (tmp_path / "sensors" / "b.toml").write_text(COUNTER)
    (one,) = load_descriptions(tmp_path)
    assert one.name == "Invented band, counter only"
