"""Device descriptions: known bytes in, clear words out."""

from __future__ import annotations

import math
import struct
from pathlib import Path

import numpy as np
import pytest

from armarc.errors import FormatError
from armarc.sensor.describe import decode_described, decoder_of, load_description, load_descriptions
from armarc.sensor.describe.description import METHODS, packed
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
        ("rate_hz", "rate", r"column 'stream.rate': unknown key \(did you mean .*rate_hz"),
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


def changed(tmp_path: Path, name: str, old: str, new: str) -> Path:
    """An example with one thing changed."""
    text = (EXAMPLES / f"invented-{name}.toml").read_text("utf-8")
    assert old in text
    path = tmp_path / "strap.toml"
    path.write_text(text.replace(old, new))
    return path


def test_packed_numbers_of_twelve_bits() -> None:
    """Against integers put together with shifts, in both orders."""
    values = [-2048, 2047, -1, 0, 1234, -987]
    raw = [value & 0xFFF for value in values]
    little = b"".join((a | b << 12).to_bytes(3, "little") for a, b in zip(raw[::2], raw[1::2], strict=True))
    big = b"".join((a << 12 | b).to_bytes(3, "big") for a, b in zip(raw[::2], raw[1::2], strict=True))
    for data, is_big in ((little, False), (big, True)):
        rows = np.frombuffer(data, np.uint8).reshape(1, 9)
        assert [packed(rows, 12 * k, "i12", is_big)[0] for k in range(6)] == values
        assert [packed(rows, 12 * k, "u12", is_big)[0] for k in range(6)] == raw


@pytest.mark.parametrize(
    ("method", "check"),
    [("crc8", 0xF4), ("crc16-ccitt", 0x29B1), ("crc16-modbus", 0x4B37), ("sum8", 0xDD), ("xor8", 0x31)],
)
def test_checksums_have_the_published_check_values(method: str, check: int) -> None:
    """ "123456789" through the algorithms of the catalogue of parametrised CRCs; sum and exclusive or by hand."""
    assert METHODS[method][1](b"123456789") == check


def test_a_damaged_packet_is_no_sample() -> None:
    decode = decoder_of(load_description(EXAMPLES / "invented-packed.toml"))
    data = bytes(19)
    assert len(decode(data + b"\x00", 0)) == 1
    with pytest.raises(PacketError, match="checksum is wrong"):
        decode(data[:-1] + b"\x01\x00", 0)


def test_blocks_by_sensor(tmp_path: Path) -> None:
    path = changed(tmp_path, "blocks", 'layout = "axes"', 'layout = "sensors"')
    rows = np.arange(30).reshape(5, 6).astype("<i2")
    data = bytes(6) + rows[:, :3].tobytes() + rows[:, 3:].tobytes()
    crc = METHODS["crc16-ccitt"][1](data).to_bytes(2, "little")
    (batch,) = decoder_of(load_description(path))(data + crc, 0)
    assert batch.specific_force_m_s2 == pytest.approx(rows[:, :3] * 0.244e-3 * 9.80665)
    assert batch.angular_velocity_rad_s == pytest.approx(np.radians(rows[:, 3:] * 0.035))


def test_lines_are_joined_and_others_left_out() -> None:
    decode = decoder_of(load_description(EXAMPLES / "invented-lines.toml"))
    assert decode(b"9,9\nIMU,10,1,", 0) == ()
    (one,) = decode(b"2,3,4,5,6\r\nBAT,5\nIMU,30", 0)
    assert one.device_time_s == pytest.approx(0.010)
    assert one.specific_force_m_s2[0] == pytest.approx(np.array([1, 2, 3]) * 9.80665)
    (two,) = decode(b",1,2,3,gx: 4,gy=5,6\nIMU,50,1,2\n", 0)
    assert two.angular_velocity_rad_s[0] == pytest.approx(np.radians([4, 5, 6]))
    with pytest.raises(PacketError, match="expected 8 columns in a line, got 3"):
        decode(b"IMU,7,8\n", 0)
    with pytest.raises(PacketError, match="is no number"):
        decode(b"IMU,7,8,x,0,0,0,0\n", 0)
    with pytest.raises(PacketError, match="goes on for more than"):
        decode(b"1" * 2000, 0)


def test_a_gap_of_the_slower_stream_is_a_gap() -> None:
    decode = decoder_of(load_description(EXAMPLES / "invented-two-streams.toml"))
    times: list[float] = []
    for k in range(0, 80, 4):
        fast = struct.pack("<I", 10_000 * (k + 3)) + struct.pack("<12h", *range(12))
        slow = struct.pack("<I", 10_000 * k) + struct.pack("<6h", *range(6))
        for source, data in ((1, fast), (0, slow)):
            if source == 0 and 32 <= k < 44:
                continue  # three packets of the accelerometer are lost
            for batch in decode(data, source):
                n = len(batch.specific_force_m_s2)
                times += [batch.device_time_s + 0.01 * j for j in range(n)]  # type: ignore[operator]
    steps = np.diff(times)
    assert (steps > 0).all()
    assert sorted(steps)[-1] == pytest.approx(0.15, abs=1e-6)  # nothing is invented between 0.30 and 0.44 s
    assert sorted(steps)[-2] == pytest.approx(0.01, abs=1e-6)


@pytest.mark.parametrize(
    ("name", "old", "new", "said"),
    [
        (
            "two-streams",
            'header = [{ field = "clock", type = "u32", unit = "us" }]\n',
            "",
            "expected a clock in both",
        ),
        ("two-streams", 'field = "gx"', 'field = "ax"', "expected one stream with the acceleration and one"),
        ("packed", '  { field = "gz", type = "i12" },\n', "", "fill whole bytes"),
        ("mixed", "{ length = 5 }", "{ at = 3 }", r"'stream.ignore\[1\]': expected bytes"),
        ("lines", 'separator = ","', 'separator = "ab"', "'stream.separator': expected one character"),
        (
            "decoder",
            "invented_decoder.py",
            "../evil.py",
            "'stream.decoder': expected the name of a Python file",
        ),
        ("blocks", '"crc16-ccitt"', '"crc5"', "expected one of"),
    ],
)
def test_faults_of_the_newer_keys(tmp_path: Path, name: str, old: str, new: str, said: str) -> None:
    with pytest.raises(FormatError, match=said):
        load_description(changed(tmp_path, name, old, new))


def test_a_decoder_of_ones_own_cannot_bring_anything_down(tmp_path: Path) -> None:
    description = load_description(changed(tmp_path, "decoder", "invented_decoder.py", "mine.py"))
    with pytest.raises(FormatError, match=r"no such file .*beside the description"):
        decoder_of(description)
    (tmp_path / "mine.py").write_text("def decode(:\n")
    with pytest.raises(FormatError, match="cannot be loaded: SyntaxError"):
        decoder_of(description)
    (tmp_path / "mine.py").write_text("x = 1\n")
    with pytest.raises(FormatError, match="has no function decode"):
        decoder_of(description)
    (tmp_path / "mine.py").write_text("def decode(data):\n    return data[0] if data != b'x' else None\n")
    decode = decoder_of(description)
    assert decode(b"x", 0) == ()
    with pytest.raises(PacketError, match="decode gave int"):
        decode(b"a", 0)
    with pytest.raises(PacketError, match="IndexError"):
        decode(b"", 0)
