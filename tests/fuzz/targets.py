"""What is fuzzed: every place where bytes from outside enter. Only errors of `armarc.errors` may come out."""

from __future__ import annotations

import atexit
import contextlib
import functools
import gzip
import json
import math
import os
import random
import re
import shutil
import tempfile
import types
import zlib
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np

HERE = Path(__file__).parent
CORPUS = HERE / "corpus"
LONGEST = 20_000


@functools.cache
def folder() -> Path:
    """A folder in memory where the system has one."""
    fast = Path("/dev/shm")
    made = Path(tempfile.mkdtemp(prefix="armarc-fuzz-", dir=fast if fast.is_dir() else None))
    atexit.register(shutil.rmtree, made, ignore_errors=True)
    (made / "exercises").mkdir()
    (made / "config").mkdir()
    return made


def _laid(name: str, data: bytes) -> Path:
    """A file with these bytes."""
    path = folder() / name
    with open(path, "wb", buffering=0) as file:
        file.write(data)
    return path


def csv_reader(data: bytes) -> None:
    """`read_csv`, with and without pandas loaded; for some of what it takes the whole road to sets."""
    from armarc.api import process
    from armarc.recording import read_csv

    path = _laid("recording.csv", data)
    if len(data) % 4 == 0:
        recording = read_csv(path)
    else:
        with _as_if_pandas_were_not_loaded():
            recording = read_csv(path)
    if len(data) % 16 == 1:
        again = read_csv(path)
        for name in ("time_s", "specific_force_m_s2", "angular_velocity_rad_s"):
            if not np.array_equal(getattr(recording, name), getattr(again, name)):
                raise AssertionError(f"{name} depends on whether pandas is loaded")
        if recording.warnings != again.warnings:
            raise AssertionError(f"warnings depend on whether pandas is loaded: {recording.warnings}")
    if len(data) % 256 == 0 and len(recording.time_s) < 5000:
        json.dumps(process(recording).to_dict(), allow_nan=False)


@contextlib.contextmanager
def _as_if_pandas_were_not_loaded():
    """Small clean tables go another way in a process that has not loaded pandas."""
    from armarc.recording import table

    table.sys, real = types.SimpleNamespace(modules={}), table.sys
    try:
        yield
    finally:
        table.sys = real


def csv_head(data: bytes) -> None:
    """What `read_csv` does before it reads the numbers: text, dialect, names and their units."""
    from armarc.recording.columns import choose_columns
    from armarc.recording.layout import sniff
    from armarc.recording.text import open_text
    from armarc.recording.unnamed import choose_unnamed

    source = open_text(_laid("head.csv", data))
    layout = sniff(source)
    if layout.names:
        choose_columns(layout, source.file, {})
    else:
        choose_unnamed(layout, source.file)


def packets(data: bytes) -> None:
    """The decoders of the wrist profile and of described sensors; the first byte chooses."""
    from armarc.sensor.describe import decoder_of
    from armarc.sensor.wire import decode_clock, decode_packet, decode_state
    from sensor_side import decode_command

    chosen, rest = (data[0] if data else 0) % 6, data[1:]
    if chosen < 4:
        (decode_packet, decode_state, decode_clock, decode_command)[chosen](rest)
    else:
        described = _descriptions()
        decoder_of(described[len(rest) % len(described)])(rest, 0)


def phone(data: bytes) -> None:
    """What a phone's page sends, one message a line, and the stream that comes of what is taken."""
    from armarc.sensor.phone import Hello, Receiver, read_message
    from armarc.sensor.wire import PacketError

    receiver = Receiver()
    for number, line in enumerate(data.split(b"\n")):
        try:
            message = read_message(line)
        except PacketError:
            continue
        if isinstance(message, Hello):
            receiver.hello(message, 0.5 * number)
        else:
            receiver.frames(message, 0.5 * number)
    receiver.finish(1e3)


def _phone_seeds() -> list[bytes]:
    hello = {
        "hello": 1,
        "phone": "0123456789abcdef",
        "tab": "a" * 16,
        "session": "b" * 16,
        "first": 0,
        "next": 0,
    }
    lines = [json.dumps(hello)]
    for first in range(0, 160, 20):
        rows = [
            [
                1000.0 + 16.7 * k,
                round(math.sin(k / 30), 3),
                0.1,
                round(9.8 * math.cos(k / 30), 3),
                1.5,
                -40.0,
                0.2,
            ]
            for k in range(first, first + 20)
        ]
        said = {
            "from": first,
            "frames": rows,
            "interval": 16,
            "upright": [first + 1, first + 1],
            "battery": 0.5,
        }
        lines.append(json.dumps(said))
    return ["\n".join(lines).encode()]


@functools.cache
def _descriptions():
    from importlib.resources import as_file, files

    from armarc.sensor.describe import load_description

    out = []
    with as_file(files("armarc.sensor.describe") / "examples") as examples:
        out += [load_description(path) for path in sorted(examples.glob("*.toml"))]
    return out


def exercises(data: bytes) -> None:
    """The lifter's own exercises."""
    from armarc.exercises import load_catalogue

    load_catalogue(_laid("exercises/own.toml", data).parent)


def sensors(data: bytes) -> None:
    """A device description, and a packet decoded by what it describes."""
    from armarc.sensor.describe import decoder_of, load_description
    from armarc.sensor.wire import PacketError

    description = load_description(_laid("sensor.toml", data))
    decode = decoder_of(description)
    for size in (0, 13, 16, 20, 39, 64):
        for source in range(1 if description.joined_with is None else 2):
            with contextlib.suppress(PacketError):
                decode(bytes(range(size)), source)


def resistances(data: bytes) -> None:
    """Resistances, as a file or (after a zero byte) as words of the command line."""
    from armarc.load.grammar import parse_resistances, read_resistances
    from armarc.load.resistance import describe

    if data[:1] == b"\0":
        found = parse_resistances(data[1:].decode("utf-8", "surrogateescape").replace("\0", " "))
    else:
        found = read_resistances(_laid("resistance.toml", data))
    describe(found)


def settings(data: bytes) -> None:
    """The settings file and, with the same bytes, the lifter's file."""
    from armarc.load.lifter import load_lifters
    from armarc.settings import load_settings

    if data[:1] == b"#":
        load_lifters(_laid("config/lifter.toml", data).parent)
    else:
        load_settings(_laid("config/armarc.toml", data).parent)


_log = {"store": None, "count": 0}


def log_import(data: bytes) -> None:
    """A result that comes from elsewhere, into the log, and for half of them out again."""
    from armarc.errors import InputError
    from armarc.log import add_result, list_sets, open_log
    from armarc.log.exporting import reps_table, sets_table
    from armarc.log.reading import Filter, reps_by_set

    try:
        result = json.loads(data)
    except (ValueError, RecursionError):
        raise InputError("not JSON") from None
    if _log["count"] % 2000 == 0:
        if _log["store"] is not None:
            _log["store"].close()
        _log["store"] = open_log(str(folder() / f"log{_log['count']}.sqlite"))
        for old in folder().glob("log*"):
            if not old.name.startswith(f"log{_log['count']}."):
                old.unlink() if old.is_file() else None
    _log["count"] += 1
    store = _log["store"]
    chosen = zlib.crc32(data)
    if chosen % 8 and isinstance(result, dict) and isinstance(result.get("source"), dict):
        # A recording of its own, so that it is stored; the others meet one that is there already.
        result["source"]["sha256"] = f"{chosen:064x}"
    added = add_result(store, result)
    if chosen & 16:
        entries = list_sets(store, Filter(ids=added.set_ids))
        sets_table(entries)
        reps_table(entries, reps_by_set(store, added.set_ids))


def close_log() -> None:
    """Let go of the log that `log_import` writes to."""
    if _log["store"] is not None:
        _log["store"].close()
    _log.update(store=None, count=0)


def backup(data: bytes) -> None:
    """A backup that came from anywhere."""
    from armarc.log.backup import restore

    path = _laid("backup.zip", data)
    restore(path, str(folder() / f"restored{os.getpid()}.sqlite"), replace=True)


@dataclass(frozen=True)
class Target:
    run: Callable[[bytes], None]
    seeds: Callable[[], list[bytes]]
    words: tuple[bytes, ...]
    rooms: tuple[str, ...]
    """Modules that are instrumented for coverage."""


@functools.cache
def _tables() -> tuple[bytes, ...]:
    """Small tables in many dialects."""
    from armarc.recording import write_csv
    from armarc.simulate import SimulationOptions, plan_session, simulate_session

    recording, _ = simulate_session(plan_session(SimulationOptions(reps=1, still_s=0.5), 1), 1)
    path = folder() / "seed.csv"
    write_csv(recording, path)
    lines = path.read_bytes().splitlines(keepends=True)
    own = b"".join(lines[:3] + lines[3:103:5]).replace(b'"rate_hz": 100.0', b'"rate_hz": 20.0')
    # An arm that turns about x, sampled 22 times at 20 Hz: gravity tells the gyroscope's unit.
    turns = [(0.6 * math.sin(3 * k / 20), 1.8 * math.cos(3 * k / 20)) for k in range(22)]
    rows = [
        [k / 20, 0.2, 9.81 * math.sin(at), 9.81 * math.cos(at), rate, 0.01 * (k % 3), -0.02]
        for k, (at, rate) in enumerate(turns)
    ]

    def table(
        header, delimiter=",", decimal=".", first="{:.2f}".format, scales=(1.0, 1.0), end="\n", digits=3
    ):
        factors = (*(scales[0],) * 3, *(scales[1],) * 3)
        lines = [
            delimiter.join(
                [
                    first(row[0]).replace(".", decimal),
                    *(
                        f"{x * factor:.{digits}f}".replace(".", decimal)
                        for x, factor in zip(row[1:], factors, strict=True)
                    ),
                ]
            )
            for row in rows
        ]
        return end.join([*([header] if header else []), *lines, ""]).encode()

    degrees = (1.0, 180 / math.pi)
    plain = table("time,ax,ay,az,gx,gy,gz", digits=2)
    return (
        own,
        table("time,ax,ay,az,gx,gy,gz", scales=degrees),
        table("time_s;ax_g;ay_g;az_g;gx_dps;gy_dps;gz_dps", ";", ",", scales=(1 / 9.81, 180 / math.pi)),
        table("t\tax\tay\taz\tgx\tgy\tgz", "\t", first=lambda t: f"{1000 * t:.0f}", end="\r\n"),
        table(
            "timestamp,acc_x (m/s^2),acc_y (m/s^2),acc_z (m/s^2),gyro_x (rad/s),gyro_y (rad/s),gyro_z (rad/s)",
            first="2026-01-02T03:04:{:06.3f}Z".format,
            digits=2,
        ),
        table("", " ", digits=2),
        table("# rate: 20 Hz\n# side: left\nn,ax,ay,az,gx,gy,gz", first=lambda t: f"{20 * t:.0f}", digits=2),
        plain.decode().encode("utf-16"),
        gzip.compress(plain, mtime=0),
        b"sensor,time,x,y,z\n"
        + b"".join(
            b"%s,%.2f,%.2f,%.2f,%.2f\n" % (kind, row[0], *row[first : first + 3])
            for row in rows
            for kind, first in ((b"accelerometer", 1), (b"gyroscope", 4))
        ),
    )


def _toml_seeds(*names: str) -> list[bytes]:
    from importlib.resources import files

    out = []
    for name in names:
        package, _, file = name.partition("/")
        out.append((files(package) / file).read_bytes())
    return out


@functools.cache
def _exercise_seeds() -> list[bytes]:
    from armarc.exercises.types import TEMPLATE

    open_all = re.sub(r"(?m) +#.*", "", re.sub(r"(?m)^# (?=[a-z_]+ =)", "", TEMPLATE))
    two = re.split(rb"(?m)^(?=\[)", *_toml_seeds("armarc.exercises/catalogue/raises.toml"))[1:3]
    return [TEMPLATE.encode(), open_all.encode(), b"".join(two)]


@functools.cache
def _settings_seeds() -> list[bytes]:
    from armarc.load.lifter import Lifter, Lifters, save_lifters
    from armarc.settings import TEMPLATE

    path = save_lifters(Lifters(others={"Ada": Lifter(name="Ada", body_mass_kg=58.0)}), folder() / "seed")
    opened = re.sub(r"(?m)^# (?=[a-z_]+ =)", "", TEMPLATE).split("\n", 3)[-1]
    return [b"\n" + opened.encode(), b"#\n" + path.read_bytes()]


def _resistance_seeds() -> list[bytes]:
    words = [
        "8kg",
        "dumbbell:8kg,beyond=2cm",
        "cable:20kg,pulley=0.6/-0.9/0,ratio=2,friction=5%",
        "cable:80N,pulley=0.3/-1.2/0",
        "band:120N/m,anchor=0.1/-1.3/0,length=0.9",
        "machine:60N,pad=0.3",
        "8kg + machine:30Nm,inertia=2kgm2",
    ]
    tables = [
        b'kind = "cable"\nstack_kg = 20\npulley_m = [0.6, -0.9, 0]\nratio = 2\nfriction = 0.1\n',
        b'[one]\nkind = "band"\nanchor_m = [0.3, -0.9, 0.0]\nforce_by_length = [[0.5, 0], [1.0, 40]]\n',
        b'[two]\nkind = "machine"\npad_m = 0.3\nforce_by_angle = [[0, 50], [90, 60.5]]\ninertia_kg_m2 = 1\n',
        b'kind = "dumbbell"\nmass_kg = 8\nbeyond_grip_m = 0.02\n',
    ]
    return [*(b"\0" + word.encode() for word in words), *tables]


@functools.cache
def _packet_seeds() -> list[bytes]:
    from armarc.sensor import wire
    from sensor_side import encode_clock, encode_packet, encode_state

    rng = random.Random(2)
    seeds = []
    for n in (1, 3):
        counts = np.frombuffer(rng.randbytes(12 * n), "<i2").reshape(n, 6)
        seeds.append(b"\0" + encode_packet(wire.DataPacket(index=7, time_us=1 << 30, counts=counts, flags=n)))
    settings = wire.SensorSettings()
    state = wire.SensorState(
        streaming=True,
        rate_hz=200.0,
        accelerometer_range_g=8,
        gyroscope_range_deg_s=1000,
        frames_per_packet=10,
        filter_hz=92.0,
        queue_frames=64,
    )
    clock = wire.ClockReading(boot=77, uptime_us=1 << 33, next_frame=1 << 17)
    seeds += [b"\1" + encode_state(state), b"\2" + encode_clock(clock)]
    seeds += [
        b"\3" + one for one in (wire.configure_command(settings), wire.start_command(), wire.stop_command())
    ]
    seeds += [
        b"\4\xa5" + rng.randbytes(38),
        *(b"\5" + rng.randbytes(6) + bytes([n]) + rng.randbytes(24 * n) for n in (1, 2)),
    ]
    return seeds


@functools.cache
def _result() -> bytes:
    from armarc.api import process
    from armarc.simulate import SimulationOptions, plan_session, simulate_session

    recording, _ = simulate_session(plan_session(SimulationOptions(reps=1, load_kg=8.0), 1), 1)
    result = process(recording).to_dict()
    result["source"]["sha256"] = "0" * 64
    # One value a line, so that lines can be lost, doubled and swapped.
    return json.dumps(result, indent=0).encode()


@functools.cache
def _backup_seed() -> bytes:
    from armarc.log import add_result, open_log
    from armarc.log.backup import back_up

    with open_log(str(folder() / "seed.sqlite")) as store:
        add_result(store, json.loads(_result()))
        path = folder() / "seed.zip"
        back_up(store, path)
    return path.read_bytes()


_CELLS = (
    *(
        b"nan",
        b"inf",
        b"-1e308",
        b"1e400",
        b"0",
        b"-0.0",
        b"9.81",
        b"1,5",
        b"",
        b'"',
        b"#",
        b"1e-320",
        b"NaT",
    ),
    *(
        b"1700000000000",
        b"1970-01-01",
        b"2026-13-45T99:99",
        b"24:00:00.5",
        b"9223372036854775808",
        b"\xff\xfe",
    ),
    *(
        b"time",
        b"ax",
        b"gyro_x (deg/s)",
        b"acc_x [g]",
        b"Timestamp (ms)",
        b"sensor",
        b"label",
        b"temp",
        b"quat_w",
    ),
    *(
        b"# armarc recording 1\n",
        b"{}",
        b"# rate: 0 Hz",
        b"# rate: 1e9 kHz",
        b"sep=;",
        b"\x00",
        b"\xc2\xa0",
        b"\r",
    ),
)
_TOML = (
    *(
        b"nan",
        b"inf",
        b"-inf",
        b"1e400",
        b"[]",
        b"{}",
        b"[[",
        b"]]",
        b'""',
        b"true",
        b"1979-05-27",
        b"0x10",
        b"_",
    ),
    *(
        b"99999999999999999999999",
        b"9" * 400,
        b"[1, 2]",
        b"[2, 1]",
        b'"none"',
        b"\xef\xbb\xbf",
        b"\\u0000",
        b'"\\ud800"',
    ),
    *(
        b"name",
        b"gate_deg",
        b"based_on",
        b"aliases",
        b"type",
        b"field",
        b"stream",
        b"kind",
        b"ratio",
        b"pulley_m",
    ),
)
_JSON = (
    *(
        b"null",
        b"[]",
        b"{}",
        b"1e400",
        b"-1",
        b"1e308",
        b'""',
        b"true",
        b'"\\ud800"',
        b'"x"',
        b"9" * 30,
        b"9" * 400,
        b"0.5",
    ),
    *(
        b'"quality"',
        b'"reps"',
        b'"sets"',
        b'"summary"',
        b'"settings"',
        b'"source"',
        b'"start_s"',
        b'"load_kg"',
    ),
)

TARGETS = {
    "csv": Target(csv_reader, lambda: list(_tables()), _CELLS, ("armarc.recording",)),
    "csv_head": Target(csv_head, lambda: list(_tables()), _CELLS, ("armarc.recording",)),
    "packets": Target(
        packets, _packet_seeds, (b"\x10", b"\x11", b"\xa5", b"\xff\xff", b"\x00\x80"), ("armarc.sensor",)
    ),
    "phone": Target(phone, _phone_seeds, _JSON, ("armarc.sensor",)),
    "exercises": Target(exercises, _exercise_seeds, _TOML, ("armarc.exercises", "armarc.strict_toml")),
    "sensors": Target(
        sensors,
        lambda: _toml_seeds(
            "armarc.sensor.describe/examples/invented-counter.toml",
            "armarc.sensor.describe/examples/invented-clock.toml",
            "armarc.sensor.describe/examples/invented-mixed.toml",
            "armarc.sensor.describe/examples/invented-blocks.toml",
            "armarc.sensor.describe/examples/invented-two-streams.toml",
            "armarc.sensor.describe/examples/invented-lines.toml",
            "armarc.sensor.describe/examples/invented-packed.toml",
        ),
        _TOML,
        ("armarc.sensor", "armarc.strict_toml"),
    ),
    "resistances": Target(
        resistances,
        _resistance_seeds,
        _TOML,
        ("armarc.load.grammar", "armarc.load.resistance", "armarc.strict_toml"),
    ),
    "settings": Target(
        settings,
        _settings_seeds,
        _TOML,
        ("armarc.settings", "armarc.quantities", "armarc.load.lifter", "armarc.strict_toml"),
    ),
    "log": Target(log_import, lambda: [_result()], _JSON, ("armarc.log",)),
    "backup": Target(
        backup, lambda: [_backup_seed()], (b"PK\x01\x02", b"PK\x05\x06", b"\0\0\0\0"), ("armarc.log",)
    ),
}


def mutate(data: bytes, rng: random.Random, words: tuple[bytes, ...]) -> bytes:
    """Change bytes in a few places: bits, words, cells, lines, stretches; seldom something far too long."""
    out = bytearray(data)
    if rng.random() < 0.002 and out:
        # What takes the square of the length shows only here.
        at = rng.randrange(len(out))
        piece = out[at : at + rng.choice((1, 1, 2, 5, 60))]
        out[at:at] = piece * (rng.randrange(1000, LONGEST) // len(piece))
    for _ in range(rng.choice((1, 1, 1, 2, 4))):
        kind = rng.randrange(10)
        at = rng.randrange(len(out) + 1)
        if kind == 0 and out:
            out[at % len(out)] ^= 1 << rng.randrange(8)
        elif kind == 1:
            out[at:at] = rng.randbytes(rng.randrange(1, 5))
        elif kind == 2 and out:
            del out[at : at + rng.choice((1, 2, 5, 40, len(out) // 2 + 1))]
        elif kind == 3:
            out[at : at + rng.randrange(4)] = rng.choice(words)
        elif kind in (4, 5, 6):
            # One cell, value or word becomes another.
            cells = [m.span() for m in re.finditer(rb"[^,;\t\n= \[\]{}:]+", bytes(out[at : at + 400]))]
            if cells:
                first, last = rng.choice(cells)
                if rng.random() < 0.7:
                    new = rng.choice(words)
                else:
                    new = b"%.6g" % (rng.choice((-1, 1)) * 10 ** rng.uniform(-12, 20))
                out[at + first : at + last] = new
        else:
            lines = bytes(out).splitlines(keepends=True)
            if len(lines) > 1:
                i, j = sorted(rng.randrange(len(lines)) for _ in range(2))
                if kind == 7:
                    del lines[i : i + rng.choice((1, 1, 3, j - i + 1))]
                elif kind == 8:
                    lines[j:j] = lines[i : i + rng.choice((1, 3, 20))]
                else:
                    lines[i], lines[j] = lines[j], lines[i]
                out = bytearray(b"".join(lines))
    return bytes(out)
