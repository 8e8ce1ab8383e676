"""The reference packer in C, compiled strictly and with sanitizers, byte for byte against the Python side."""

from __future__ import annotations

import json
import shutil
import subprocess
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as arrays

from armarc.sensor.wire import (
    CLIPPED,
    FIRST,
    LOW_BATTERY,
    OVERFLOW,
    ClockReading,
    DataPacket,
    PacketError,
    SensorState,
    decode_packet,
)
from sensor_side import decode_command, encode_clock, encode_packet, encode_state, frames_that_fit

NOTES = Path(__file__).parents[2] / "firmware_notes"
STRICT = ["-std=c99", "-Wall", "-Wextra", "-Werror", "-pedantic", "-Wconversion", "-O1", "-g"]
SANITIZERS = ["-fsanitize=address,undefined", "-fno-sanitize-recover=all"]

U8, U16, U32 = st.integers(0, 255), st.integers(0, 65535), st.integers(0, 2**32 - 1)
COUNTS = arrays.arrays(np.int16, st.tuples(st.integers(1, 42), st.just(6)))
FRAME = st.lists(st.integers(-32768, 32767), min_size=6, max_size=6)


class Packer:
    """The driver, running."""

    def __init__(self, program: Path) -> None:
        self._process = subprocess.Popen(
            [program], stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
        )

    def ask(self, letter: str, *numbers: int) -> str:
        assert self._process.stdin is not None
        assert self._process.stdout is not None
        self._process.stdin.write(f"{letter} {' '.join(map(str, numbers))}\n")
        self._process.stdin.flush()
        return self._process.stdout.readline().strip()

    def close(self) -> None:
        _, complaints = self._process.communicate(timeout=10)
        assert self._process.returncode == 0, complaints
        assert complaints == ""


@pytest.fixture(scope="module")
def packer(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Packer]:
    compiler = shutil.which("cc") or shutil.which("gcc") or shutil.which("clang")
    if compiler is None:
        pytest.skip("no C compiler on this machine")
    folder = tmp_path_factory.mktemp("packer")
    program, packer_object = folder / "driver", folder / "packer.o"
    source, driver = NOTES / "wrist_profile.c", Path(__file__).parent / "packer_driver.c"
    subprocess.run([compiler, *STRICT, "-c", source, "-o", packer_object], check=True)
    build = [
        compiler,
        "-std=c99",
        "-Wall",
        "-Wextra",
        "-Werror",
        "-g",
        "-I",
        NOTES,
        source,
        driver,
        "-o",
        program,
    ]
    if subprocess.run([*build, *SANITIZERS], capture_output=True).returncode:
        pytest.skip("the C compiler has no sanitizers")
    running = Packer(program)
    yield running
    running.close()


VECTORS = json.loads((NOTES / "vectors.json").read_text())
STATE_KEYS = (
    "streaming",
    "rate_dhz",
    "acc_range_g",
    "frames_per_packet",
    "gyr_range_deg_s",
    "filter_dhz",
    "queue_frames",
    "dropped_frames",
    "temperature_ck",
    "acc_ranges",
    "gyr_ranges",
)


def test_shared_vectors(packer: Packer) -> None:
    for one in VECTORS["data"]:
        values = [value for frame in one["counts"] for value in frame]
        got = packer.ask("d", one["flags"], one["index"], one["time_us"], len(one["counts"]), *values)
        assert got == one["bytes"].replace(" ", "")
    for one in VECTORS["state"]:
        assert packer.ask("s", *(one[key] for key in STATE_KEYS)) == one["bytes"].replace(" ", "")
    for one in VECTORS["clock"]:
        if max(one["uptime_us"], one["next_frame"]) < 2**63:  # the driver reads signed numbers
            got = packer.ask("k", one["boot"], one["uptime_us"], one["next_frame"])
            assert got == one["bytes"].replace(" ", "")
    for one in VECTORS["command"]:
        verdict, opcode, *rest = map(int, packer.ask("c", *bytes.fromhex(one["bytes"])).split())
        assert verdict == one["answer"]
        if verdict == 0:
            assert opcode == one["opcode"]
            keys = ("rate_dhz", "acc_range_g", "gyr_range_deg_s", "frames_per_packet")
            assert rest == [one.get(key, 0) for key in keys]


def clipped_of(counts: np.ndarray) -> int:
    return CLIPPED if np.isin(counts, (-32768, 32767)).any() else 0


@settings(max_examples=60, deadline=None)
@given(flags=st.integers(0, 15), index=U16, time_us=U32, counts=COUNTS)
def test_data(packer: Packer, flags: int, index: int, time_us: int, counts: np.ndarray) -> None:
    got = packer.ask("d", flags, index, time_us, len(counts), *counts.ravel().tolist())
    flags = flags & ~CLIPPED | clipped_of(counts)  # the packer sees for itself
    packet = DataPacket(index=index, time_us=time_us, counts=counts, flags=flags)
    assert got == encode_packet(packet).hex()
    back = decode_packet(bytes.fromhex(got))
    assert (back.index, back.time_us, back.flags) == (index, time_us, flags)
    np.testing.assert_array_equal(back.counts, counts)


def test_too_many_frames_and_none(packer: Packer) -> None:
    assert packer.ask("d", 0, 0, 0, 0) == "-"
    assert packer.ask("d", 0, 0, 0, 43, *[0] * (43 * 6)) == "-"


@settings(max_examples=40, deadline=None)
@given(values=st.tuples(st.integers(0, 1), U16, U8, U8, U16, U16, U16, U32, U16, st.integers(0, 127), U8))
def test_state(packer: Packer, values: tuple[int, ...]) -> None:
    streaming, rate, acc, frames, gyr, cutoff, queue, dropped, warmth, acc_bits, gyr_bits = values
    state = SensorState(
        streaming=bool(streaming),
        rate_hz=rate / 10,
        accelerometer_range_g=acc,
        gyroscope_range_deg_s=gyr,
        frames_per_packet=frames,
        filter_hz=cutoff / 10,
        queue_frames=queue,
        dropped_frames=dropped,
        temperature_c=warmth / 100 - 273.15 if warmth else None,
        accelerometer_ranges_g=tuple(2 << k for k in range(7) if acc_bits >> k & 1),
        gyroscope_ranges_deg_s=tuple(125 << k for k in range(8) if gyr_bits >> k & 1),
    )
    assert packer.ask("s", *values) == encode_state(state).hex()


@settings(max_examples=40, deadline=None)
@given(boot=U32, uptime_us=st.integers(0, 2**63 - 1), next_frame=st.integers(0, 2**63 - 1))
def test_clock(packer: Packer, boot: int, uptime_us: int, next_frame: int) -> None:
    reading = ClockReading(boot=boot, uptime_us=uptime_us, next_frame=next_frame)
    assert packer.ask("k", boot, uptime_us, next_frame) == encode_clock(reading).hex()


@settings(max_examples=100, deadline=None)
@given(
    data=st.one_of(
        st.binary(max_size=12),
        st.binary(min_size=6, max_size=6).map(lambda rest: b"\x01" + rest),
        st.sampled_from([b"\x02", b"\x03"]),
    )
)
def test_commands(packer: Packer, data: bytes) -> None:
    verdict, opcode, rate, acc, gyr, frames = map(int, packer.ask("c", *data).split())
    try:
        wanted, asked = decode_command(data)
    except PacketError:
        assert verdict == 0x80
        return
    assert (verdict, opcode) == (0, wanted)
    if asked is not None:
        assert rate == round(asked.rate_hz * 10)
        assert (acc, gyr) == (asked.accelerometer_range_g, asked.gyroscope_range_deg_s)
        assert frames == asked.frames_per_packet


def test_frames_that_fit(packer: Packer) -> None:
    for mtu in (0, 3, 22, 23, 34, 35, 185, 247, 514, 515, 517, 65535):
        assert int(packer.ask("f", mtu)) == frames_that_fit(mtu)


STEP = st.one_of(
    st.tuples(st.just("A"), U32, FRAME),
    st.tuples(st.just("D"), st.integers(0, 70000)),
    st.tuples(st.just("F")),
    st.tuples(st.just("L")),
)


@settings(max_examples=60, deadline=None)
@given(capacity=st.integers(0, 600), wanted=st.integers(0, 60), first=U16, steps=st.lists(STEP, max_size=40))
def test_batches(packer: Packer, capacity: int, wanted: int, first: int, steps: list[tuple]) -> None:
    fit = min(42, max(0, (capacity - 8) // 12))
    assert packer.ask("B", capacity, wanted, first) == str(int(fit > 0))
    if not fit:
        return
    size = wanted if 1 <= wanted <= fit else fit
    model: list[tuple[int, list[int]]] = []
    index, pending, flags, standing = first, FIRST, 0, 0

    def close() -> str:
        nonlocal model, flags
        if not model:
            return "-"
        counts = np.array([frame for _, frame in model], np.int16)
        clipped = clipped_of(counts)
        start = (index - len(model)) % 65536
        packet = DataPacket(index=start, time_us=model[0][0], counts=counts, flags=flags | clipped)
        model = []
        return encode_packet(packet).hex()

    for step in steps:
        expected = "-"
        if step[0] == "A":
            if not model:
                flags, pending = pending | standing, 0
            model.append((step[1], step[2]))
            index = (index + 1) % 65536
            if len(model) == size:
                expected = close()
            got = packer.ask("A", step[1], *step[2])
        elif step[0] == "D":
            expected = close()
            if step[1]:
                index = (index + step[1]) % 65536
                pending |= OVERFLOW
            got = packer.ask("D", step[1])
        elif step[0] == "F":
            expected, got = close(), packer.ask("F")
        else:
            standing = LOW_BATTERY
            got = packer.ask("L")
        assert got == expected


QUEUE_STEP = st.one_of(
    st.tuples(st.just("P"), U32, FRAME),
    st.tuples(st.just("P"), U32, FRAME),
    st.tuples(st.just("N"), st.integers(0, 60), st.integers(0, 8), st.integers(0, 1)),
    st.tuples(st.just("T")),
    st.tuples(st.just("S")),
    st.tuples(st.just("X")),
)


@settings(max_examples=120, deadline=None)
@given(
    size=st.integers(0, 6),
    begin=st.sampled_from([0, 65530, 2**32 - 3]),
    steps=st.lists(QUEUE_STEP, max_size=60),
)
def test_queue(packer: Packer, size: int, begin: int, steps: list[tuple]) -> None:
    """The ring against a plain list: oldest out first, numbers that go on, sessions that never share a packet."""
    packer.ask("Q", size, begin)
    held: list[tuple[int, int, list[int]]] = []
    number, session, dropped, overflow = begin, 0, 0, False
    built: tuple[int, int] | None = None
    for step in steps:
        if step[0] == "P":
            held.append((number, step[1], step[2]))
            number += 1
            while len(held) > size:
                held.pop(0)
                dropped, overflow = dropped + 1, True
            assert int(packer.ask("P", step[1], *step[2])) == dropped
        elif step[0] == "S":
            packer.ask("S")
            session, dropped = number, 0
        elif step[0] == "X":
            packer.ask("X")
            held, overflow, built = [], False, None
        elif step[0] == "N":
            _, frames_room, wanted, flush = step
            capacity = 8 + 12 * (frames_room % 6)
            got = packer.ask("N", capacity, wanted, flush)
            fit = (capacity - 8) // 12
            fit = wanted if 1 <= wanted < fit else fit
            old = [one for one in held if one[0] < session]
            waiting = old or held
            chosen = waiting[:fit] if flush or old or len(waiting) >= fit else []
            if old and len(old) == len(held) and len(held) < fit and not flush:
                chosen = []  # nothing of the new session waits behind it: it may still grow until the start
            if not chosen:
                assert got == "-"
                continue
            counts = np.array([one[2] for one in chosen], np.int16)
            flags = OVERFLOW * overflow | FIRST * (chosen[0][0] == session) | clipped_of(counts)
            packet = DataPacket(index=chosen[0][0] % 65536, time_us=chosen[0][1], counts=counts, flags=flags)
            assert got == encode_packet(packet).hex()
            built = chosen[0][0], len(chosen)
        elif built is not None:
            index, n = built
            packer.ask("T", index % 65536, n)
            gone = (held[0][0] if held else number) - index
            if gone == 0:
                overflow = False
            held = held[max(0, n - gone) :]
            built = None
