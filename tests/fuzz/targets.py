"""What is fuzzed: every place where bytes from outside enter. Only errors of `armarc.errors` may come out."""

from __future__ import annotations

import contextlib
import functools
import gzip
import json
import os
import random
import re
import tempfile
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

HERE = Path(__file__).parent
CORPUS = HERE / "corpus"


@functools.cache
def folder() -> Path:
    """A folder in memory where the system has one."""
    fast = Path("/dev/shm")
    made = tempfile.mkdtemp(prefix="armarc-fuzz-", dir=fast if fast.is_dir() else None)
    return Path(made)


def csv_reader(data: bytes) -> None:
    """`read_csv`, and for some of what it takes the whole road to sets."""
    from armarc.pipeline import process
    from armarc.recording import read_csv

    path = folder() / "recording.csv"
    path.write_bytes(data)
    recording = read_csv(path)
    if len(data) % 64 == 0 and len(recording.time_s) < 5000:
        json.dumps(process(recording).to_dict(), allow_nan=False)


def packets(data: bytes) -> None:
    """The decoders of the wrist profile and of described sensors; the first byte chooses."""
    from armarc.sensor.describe import decode_described
    from armarc.sensor.wire import decode_clock, decode_command, decode_packet, decode_state

    chosen, rest = (data[0] if data else 0) % 6, data[1:]
    if chosen < 4:
        (decode_packet, decode_state, decode_clock, decode_command)[chosen](rest)
    else:
        decode_described(_descriptions()[chosen - 4], rest)


@functools.cache
def _descriptions():
    from importlib.resources import as_file, files

    from armarc.sensor.describe import load_description

    out = []
    for name in ("invented-counter.toml", "invented-clock.toml"):
        with as_file(files("armarc.sensor.describe") / "examples" / name) as path:
            out.append(load_description(path))
    return out


def exercises(data: bytes) -> None:
    """The lifter's own exercises."""
    from armarc.exercises import load_catalogue

    place = folder() / "exercises"
    place.mkdir(exist_ok=True)
    (place / "own.toml").write_bytes(data)
    load_catalogue(place)


def sensors(data: bytes) -> None:
    """A device description, and a packet decoded by what it describes."""
    from armarc.sensor.describe import decode_described, load_description
    from armarc.sensor.wire import PacketError

    path = folder() / "sensor.toml"
    path.write_bytes(data)
    description = load_description(path)
    for size in (0, 13, 16, 20, 39, 64):
        with contextlib.suppress(PacketError):
            decode_described(description, bytes(range(size)))


def resistances(data: bytes) -> None:
    """Resistances, as a file or (after a zero byte) as words of the command line."""
    from armarc.load.grammar import parse_resistances, read_resistances
    from armarc.load.resistance import describe

    if data[:1] == b"\0":
        found = parse_resistances(data[1:].decode("utf-8", "surrogateescape").replace("\0", " "))
    else:
        path = folder() / "resistance.toml"
        path.write_bytes(data)
        found = read_resistances(path)
    describe(found)


def settings(data: bytes) -> None:
    """The settings file and, with the same bytes, the lifter's file."""
    from armarc.load.lifter_file import load_lifter
    from armarc.settings import load_settings

    place = folder() / "config"
    place.mkdir(exist_ok=True)
    if data[:1] == b"#":
        (place / "lifter.toml").write_bytes(data)
        load_lifter(place / "lifter.toml")
    else:
        (place / "armarc.toml").write_bytes(data)
        load_settings(place)


_log = {"store": None, "count": 0}


def log_import(data: bytes) -> None:
    """A result that comes from elsewhere, into the log and out again."""
    from armarc.errors import InputError
    from armarc.log import add_result, list_sets, open_log
    from armarc.log.exporting import reps_table, sets_table
    from armarc.log.reading import reps_by_set

    try:
        result = json.loads(data)
    except (ValueError, RecursionError):
        raise InputError("not JSON") from None
    if _log["count"] % 300 == 0:
        if _log["store"] is not None:
            _log["store"].close()
        _log["store"] = open_log(str(folder() / f"log{_log['count']}.sqlite"))
        for old in folder().glob("log*"):
            if not old.name.startswith(f"log{_log['count']}."):
                old.unlink() if old.is_file() else None
    _log["count"] += 1
    store = _log["store"]
    add_result(store, result)
    entries = list_sets(store, limit=1)
    sets_table(entries)
    reps_table(entries, reps_by_set(store, [entry.id for entry in entries]))


def close_log() -> None:
    """Let go of the log that `log_import` writes to."""
    if _log["store"] is not None:
        _log["store"].close()
    _log.update(store=None, count=0)


def backup(data: bytes) -> None:
    """A backup that came from anywhere."""
    from armarc.log.backup import restore

    path = folder() / "backup.zip"
    path.write_bytes(data)
    restore(path, str(folder() / f"restored{os.getpid()}.sqlite"), replace=True)


@dataclass(frozen=True)
class Target:
    run: Callable[[bytes], None]
    seeds: Callable[[], list[bytes]]
    words: tuple[bytes, ...]


@functools.cache
def _tables() -> tuple[bytes, ...]:
    """Small tables in many dialects."""
    from armarc.recording import write_csv
    from armarc.simulate import Knobs, plan_session, simulate_session

    recording, _ = simulate_session(plan_session(Knobs(reps=1, still_s=0.5), 1), 1)
    path = folder() / "seed.csv"
    write_csv(recording, path)
    own = b"".join(path.read_bytes().splitlines(keepends=True)[:104])
    rows = [
        [k / 50, 0.1 * (k % 7), 9.8 - 0.1 * (k % 5), 0.3, 1.5 * (k % 11), 2.0, -0.5 * (k % 3)]
        for k in range(50)
    ]

    def table(header, delimiter=",", decimal=".", scale=1.0, first=lambda t: f"{t:.3f}", end="\n"):
        lines = [
            delimiter.join([first(row[0] * scale), *(f"{x:.4f}".replace(".", decimal) for x in row[1:])])
            for row in rows
        ]
        return end.join([*([header] if header else []), *lines, ""]).encode()

    stamp = "2026-01-02T03:04:{:06.3f}Z".format
    return (
        own,
        table("time,ax,ay,az,gx,gy,gz"),
        table(
            "time_s;ax_g;ay_g;az_g;gx_dps;gy_dps;gz_dps",
            ";",
            ",",
            first=lambda t: f"{t:.3f}".replace(".", ","),
        ),
        table("t\tax\tay\taz\tgx\tgy\tgz", "\t", scale=1000.0, first=lambda t: f"{t:.0f}", end="\r\n"),
        table("timestamp,acc_x (m/s^2),acc_y,acc_z,gyro_x (rad/s),gyro_y,gyro_z", first=stamp),
        table("", " "),
        table("# rate: 50 Hz\n# side: left\nn,ax,ay,az,gx,gy,gz", first=lambda t: f"{50 * t:.0f}"),
        table("time,ax,ay,az,gx,gy,gz").decode().encode("utf-16"),
        gzip.compress(table("time,ax,ay,az,gx,gy,gz")),
        b"sensor,time,x,y,z\n"
        + b"".join(
            b"%s,%.3f,%.2f,9.%d,0.3\n" % (kind, k / 50, k % 7, k % 9)
            for k in range(50)
            for kind in (b"accelerometer", b"gyroscope")
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
    from armarc.exercises.records import TEMPLATE

    open_all = re.sub(r"(?m)^# (?=[a-z_]+ =)", "", TEMPLATE)
    return [TEMPLATE.encode(), open_all.encode(), *_toml_seeds("armarc.exercises/catalogue/raises.toml")]


@functools.cache
def _settings_seeds() -> list[bytes]:
    from armarc.load.lifter import Lifter
    from armarc.load.lifter_file import save_lifter
    from armarc.settings import TEMPLATE

    path = save_lifter(Lifter(), folder() / "seed-lifter.toml")
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


def _packet_seeds() -> list[bytes]:
    rng = random.Random(2)
    header = bytes([0x11, 3, 7, 0, 1, 2, 3, 4])
    seeds = [bytes([0]) + header + rng.randbytes(36)]
    for chosen in range(1, 6):
        seeds += [bytes([chosen]) + rng.randbytes(size) for size in (1, 4, 8, 14, 20, 39)]
        seeds += [bytes([chosen, 0x10]) + rng.randbytes(13), bytes([chosen, 0xA5]) + rng.randbytes(38)]
    return seeds


@functools.cache
def _result() -> bytes:
    from armarc.pipeline import process
    from armarc.simulate import Knobs, plan_session, simulate_session

    recording, _ = simulate_session(plan_session(Knobs(reps=2, load_kg=8.0), 1), 1)
    result = process(recording).to_dict()
    result["source"]["sha256"] = "0" * 64
    return json.dumps(result).encode()


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
    "csv": Target(csv_reader, lambda: list(_tables()), _CELLS),
    "packets": Target(packets, _packet_seeds, (b"\x10", b"\x11", b"\xa5", b"\xff\xff", b"\x00\x80")),
    "exercises": Target(exercises, _exercise_seeds, _TOML),
    "sensors": Target(
        sensors,
        lambda: _toml_seeds(
            "armarc.sensor.describe/examples/invented-counter.toml",
            "armarc.sensor.describe/examples/invented-clock.toml",
        ),
        _TOML,
    ),
    "resistances": Target(resistances, _resistance_seeds, _TOML),
    "settings": Target(settings, _settings_seeds, _TOML),
    "log": Target(log_import, lambda: [_result()], _JSON),
    "backup": Target(backup, lambda: [_backup_seed()], (b"PK\x01\x02", b"PK\x05\x06", b"\0\0\0\0")),
}


def mutate(data: bytes, rng: random.Random, words: tuple[bytes, ...]) -> bytes:
    """Change bytes in a few places: bits, words, cells, lines, stretches."""
    out = bytearray(data)
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
