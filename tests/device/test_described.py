"""Every example of a description through the real client: what an invented sensor sends is what the file holds.

Sample k of each sensor carries its number in the first axis of the gyroscope (in the counts of its description), so
that a lost, doubled or moved sample shows.
"""

from __future__ import annotations

import asyncio
import json
import struct
from collections.abc import Callable, Iterator
from importlib.resources import as_file, files

import numpy as np
import pytest
from captured import Captured
from fake_daemon import Characteristic, FakeDaemon, Peripheral
from program import Bench

Run = Callable[..., None]
G = 9.80665
TURN = 900
"""Numbers wrap here, inside 12 bits."""
Send = tuple[int, bytes]
"""Place of the characteristic, and a notification."""


def counts(k: int) -> tuple[int, ...]:
    """ax ay az gx gy gz of sample k, within a signed byte's step of the next."""
    return (100 + k % 3, -200, 250, k % TURN, 11, -5)


def crc16(data: bytes) -> int:
    """CRC-16/IBM-3740, bit by bit."""
    crc = 0xFFFF
    for byte in data:
        for bit in range(8):
            feedback = (byte >> (7 - bit) & 1) ^ (crc >> 15)
            crc = (crc << 1 & 0xFFFF) ^ (0x1021 if feedback else 0)
    return crc


def mixed() -> Iterator[list[Send]]:
    for k in range(0, 10**6, 2):
        body = b"".join(
            struct.pack(">I", 4294967290 + 10 * one & 0xFFFFFFFF) + struct.pack("<6h", *counts(one))
            for one in (k, k + 1)
        )
        yield [(0, b"\xa0" + body), (0, b"\xb0\x57"), (0, b"\xa0\x01\x02\x03\x04")]


def blocks() -> Iterator[list[Send]]:
    for k in range(0, 10**6, 5):
        rows = np.array([counts(one) for one in range(k, k + 5)], "<i2")
        head = struct.pack("<HI", (65530 + k) % 65536, 10_000 * k % 2**32)
        data = head + rows.T.tobytes()
        yield [(0, data + struct.pack("<H", crc16(data)))]


def two_streams() -> Iterator[list[Send]]:
    for k in range(0, 10**6, 4):
        start_us = 4294900000 + 10_000 * k
        slow = [(3 * (k + j), -200, 250) for j in (0, 2)]
        fast = [counts(k + j)[3:] for j in range(4)]
        yield [
            (
                1,
                struct.pack("<I", start_us + 30_000 & 0xFFFFFFFF)
                + b"".join(struct.pack("<3h", *one) for one in fast),
            ),
            (
                0,
                struct.pack("<I", start_us & 0xFFFFFFFF) + b"".join(struct.pack("<3h", *one) for one in slow),
            ),
        ]


def lines() -> Iterator[list[Send]]:
    text = b"0.1,0.2,3,4\r\n"  # the rest of a line that began before
    for k in range(0, 10**6):
        c = counts(k)
        text += f"IMU,{20 * k + 4294967200 - (4294967296 if k > 4 else 0)},".encode()
        text += ",".join(f"{value / 1000:.3f}" for value in c[:3]).encode() + b","
        text += ",".join(str(value) for value in c[3:]).encode() + b"\r\n"
        if k % 7 == 0:
            text += b"BAT,87\r\n"
        whole, text = text[: len(text) // 17 * 17], text[len(text) // 17 * 17 :]
        yield [(0, whole[at : at + 17]) for at in range(0, len(whole), 17)]


def packed() -> Iterator[list[Send]]:
    for k in range(0, 10**6, 2):
        body = b""
        for one in (k, k + 1):
            wide = [value & 0xFFF for value in counts(one)]
            for low, high in zip(wide[::2], wide[1::2], strict=True):
                body += (low | high << 12).to_bytes(3, "little")
        data = bytes([k // 2 % 256]) + body
        yield [(0, data + bytes([sum(data) % 256]))]


def differences() -> Iterator[list[Send]]:
    for k in range(0, 10**6, 4):
        rows = np.array([counts(one) for one in range(k, k + 4)])
        if (np.abs(np.diff(rows, axis=0)) > 127).any():
            rows[:, 3] = rows[0, 3] + np.arange(4)  # no number wraps inside a packet
        steps = np.diff(rows, axis=0).astype(np.int8).tobytes()
        yield [(0, b"\x01" + struct.pack("<H6h", k % 65536, *rows[0].tolist()) + steps), (0, b"\x02info")]


CASES = {
    "mixed": (mixed, 0.02, 100, 0.244e-3 * G, 0.035),
    "blocks": (blocks, 0.05, 100, 0.244e-3 * G, 0.035),
    "two-streams": (two_streams, 0.04, 100, 0.244e-3 * G, 0.035),
    "lines": (lines, 0.02, 50, 1e-3 * G, 1.0),
    "packed": (packed, 0.02, 100, 3.9e-3 * G, 0.5),
    "decoder": (differences, 0.04, 100, 8 * G / 32768, 1000 / 32768),
}


def sensor_for(text: str) -> tuple[Peripheral, list[str], list[bytes]]:
    """An invented device with the service, the characteristics and the name of a description."""
    import tomllib

    raw = tomllib.loads(text)
    streams = raw["stream"] if isinstance(raw["stream"], list) else [raw["stream"]]
    uuids = [one["characteristic"] for one in streams]
    written: list[bytes] = []
    control = Characteristic(uuids[0][:4] + "ff02" + uuids[0][8:], ["write"], write=written.append)
    if "rates" in streams[0]:
        control = Characteristic(
            streams[0]["rates"][0]["write"][0]["characteristic"], ["write"], write=written.append
        )
    made = Peripheral(
        name=raw["find"].get("name", "Invented*").replace("*", " 1"),
        address="C0:FF:EE:00:00:05",
        services=[(raw["find"]["service"], [*(Characteristic(one, ["notify"]) for one in uuids), control])],
        advertises=[raw["find"]["advertised"]] if "advertised" in raw["find"] else [],
    )
    return made, uuids, written


async def send(made: Peripheral, uuids: list[str], packets: Iterator[list[Send]], every_s: float) -> None:
    """One group of notifications after the other, from the moment somebody has subscribed to all of them."""
    for group in packets:
        for place, data in group:
            while not made.notify(uuids[place], data):
                await asyncio.sleep(0.002 if made.connected else 0.02)
        await asyncio.sleep(every_s)


@pytest.mark.parametrize("name", CASES)
def test_example(bench: Bench, run: Run, name: str) -> None:
    packets, every_s, rate_hz, acc, gyr = CASES[name]

    async def story() -> None:
        with as_file(files("armarc.sensor.describe") / "examples") as folder:
            description = folder / f"invented-{name}.toml"
            made, uuids, _ = sensor_for(description.read_text("utf-8"))
            async with FakeDaemon(bench.address) as daemon:
                daemon.add(made)
                sending = asyncio.create_task(send(made, uuids, packets(), every_s))
                out = bench.folder / "a.csv"
                # Named, a sensor is taken as soon as it is seen; one of them is what nobody named.
                words = ("-d", description, *(() if name == "mixed" else ("-s", made.name)))
                program = await bench.armarc("record", out, *words, "--seconds", "2", "--json")
                code, printed = await program.end(30)
                sending.cancel()
        assert code == 0, program.talk
        (said,) = json.loads(printed)["files"]
        assert (said["missing_samples"], said["unreadable_packets"]) == (0, 0), program.talk
        got = Captured(out)
        assert got.head["rate_hz"] == rate_hz
        numbers = np.rint(np.degrees(got.rows[:, 4]) / gyr).astype(int)
        assert len(numbers) >= 2 * rate_hz * 0.9
        steps = np.diff(numbers) % TURN
        assert (steps == 1).all()
        assert (np.diff(got.time_s) > 0).all()
        assert got.rows[:, 5:] == pytest.approx(
            np.radians(np.tile([11 * gyr, -5 * gyr], (len(numbers), 1))), abs=2e-5
        )
        assert got.rows[:, 2:4] == pytest.approx(
            np.tile([-200 * acc, 250 * acc], (len(numbers), 1)), abs=2e-5
        )
        if name == "two-streams":
            # The slower stream climbs by three counts with every sample of the faster one.
            assert np.diff(got.rows[:, 1]) == pytest.approx(3 * acc, abs=2e-5)
            assert np.diff(got.time_s) == pytest.approx(0.01, rel=0.1)
        else:
            wanted = [counts(int(k))[0] * acc for k in numbers]
            assert got.rows[:, 1] == pytest.approx(wanted, abs=2e-5)

    run(story())


@pytest.mark.parametrize(("rate", "code"), [("50", 0), ("80", 4)])
def test_a_rate_that_was_asked_for_is_taken_or_refused(bench: Bench, run: Run, rate: str, code: int) -> None:
    def halved() -> Iterator[list[Send]]:
        for k in range(10**6):
            yield [(0, b"\xa0" + struct.pack(">I", 20 * k) + struct.pack("<6h", *counts(k)))]

    async def story() -> None:
        with as_file(files("armarc.sensor.describe") / "examples") as folder:
            description = folder / "invented-mixed.toml"
            made, uuids, written = sensor_for(description.read_text("utf-8"))
            async with FakeDaemon(bench.address) as daemon:
                daemon.add(made)
                sending = asyncio.create_task(send(made, uuids, halved(), 0.02))
                out = bench.folder / "a.csv"
                words = ("-d", description, "--seconds", "1", "--rate", rate)
                program = await bench.armarc("record", out, *words)
                got, _ = await program.end(30)
                sending.cancel()
        assert got == code, program.talk
        if code:
            assert "knows of 50, 100 Hz, not of 80" in program.talk
            assert written == []
        else:
            assert written == [b"\x10\x32"]
            assert Captured(out).head["rate_hz"] == 50
            assert np.diff(Captured(out).time_s) == pytest.approx(0.02, rel=0.1)

    run(story())
