"""`armarc record` against the fake daemon: nothing is lost, whatever happens to the link."""

from __future__ import annotations

import asyncio
import json
import random
import re
import time
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from datetime import datetime
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from captured import Captured
from fake_daemon import FakeDaemon
from fake_sensor import FakeSensor
from program import Bench, Program

from armarc.recording.captures import paired
from live_runs import recording as live_recording
from phone_page import Browser, stream_in_time

Run = Callable[..., None]
MINE = ("-s", "wrist-1")  # named, so that it is taken as soon as it is seen


@asynccontextmanager
async def recording(
    bench: Bench, *words: str, **kind: Any
) -> AsyncIterator[tuple[Program, FakeSensor, Path]]:
    """A capture of one sensor, of some kind, that streams into a file."""
    async with FakeDaemon(bench.address) as daemon, FakeSensor(**kind) as sensor:
        daemon.add(sensor)
        out = bench.folder / "set.csv"
        program = await bench.armarc("record", out, *MINE, *words)
        await program.says("wrist-1: 200 Hz")
        yield program, sensor, out


def _capture(bench: Bench, seconds: float) -> Any:
    async def story() -> None:
        async with FakeDaemon(bench.address) as daemon, FakeSensor() as sensor:
            daemon.add(sensor)
            out = bench.folder / "set.csv"
            program = await bench.armarc("record", out, *MINE, "--seconds", str(seconds), "--json")
            code, data = await program.end(seconds + 20)
            assert code == 0, program.talk
            got = Captured(out)
            got.assert_whole()
            assert got.numbers[0] == 0
            assert len(got.rows) >= 200 * seconds
            assert len(got.rows) == sensor.sent_packets  # one frame in a packet: 200 packets/s
            (said,) = json.loads(data)["files"]
            assert said["samples"] == len(got.rows)
            assert said["missing_samples"] == 0
            assert np.diff(got.time_s) == pytest.approx(0.005, rel=0.03)
            assert got.head["rate_hz"] == 200
            assert got.head["sensor_serial"] == "A-0001"
            assert "wrist-1: 200 Hz, wrist profile 1, firmware 0.3 (invented)" in program.talk

    return story()


def test_nothing_is_lost_at_200_packets_per_second(bench: Bench, run: Run) -> None:
    run(_capture(bench, 4))


@pytest.mark.slow
def test_nothing_is_lost_in_a_minute(bench: Bench, run: Run) -> None:
    run(_capture(bench, 60), 100)


def test_ctrl_c_ends_and_keeps_everything(bench: Bench, run: Run) -> None:
    async def story() -> None:
        words = "--exercise lateral-raise --side left --load 17.5lb --lifter Anna --variant cable --rir 2 --tag Heavy"
        more = ("--tag", "gym", "--resistance", "dumbbell:8kg", "--note", "felt easy")
        async with recording(bench, *words.split(), *more) as (program, sensor, out):
            await asyncio.sleep(0.7)
            program.interrupt()
            code, data = await program.end()
            assert (code, data) == (0, f"{out}\n")
            got = Captured(out)
            assert [got.head[name] for name in ("lifter", "variant", "rir")] == ["Anna", "cable", 2]
            assert got.head["tags"] == ["heavy", "gym"]
            assert (got.head["resistance"], got.head["note"]) == (["dumbbell:8kg"], "felt easy")
            assert got.head["load_kg"] == pytest.approx(17.5 * 0.45359237)
            got.assert_whole()
            assert len(got.rows) == sensor.sent_packets
            assert got.head["exercise"] == "lateral-raise"
            assert got.head["side"] == "left"
            assert got.named("end")[0]["missing_samples"] == 0
            assert not sensor.connected

    run(story())


def test_ctrl_c_before_a_sensor_is_there(bench: Bench, run: Run) -> None:
    async def story() -> None:
        async with FakeDaemon(bench.address):
            program = await bench.armarc("record", bench.folder / "set.csv")
            await program.says("looking for")
            await asyncio.sleep(0.3)
            program.interrupt()
            code, _ = await program.end()
            assert code == 130
            assert not (bench.folder / "set.csv").exists()

    run(story())


def test_a_second_ctrl_c_ends_at_once(bench: Bench, run: Run) -> None:
    async def story() -> None:
        async with recording(bench) as (program, _, out):
            await asyncio.sleep(0.5)
            program.interrupt()
            await asyncio.sleep(0.02)
            program.interrupt()
            code, _ = await program.end()
            assert code in (0, 130)  # 0 when it had ended already
            assert "Traceback" not in program.talk
            Captured(out).assert_whole()

    run(story())


def test_two_sensors_share_a_clock(bench: Bench, run: Run) -> None:
    async def story() -> None:
        bench.config.mkdir()
        known = [
            {
                "nickname": "l",
                "side": "left",
                "name": "wrist-1",
                "address": "C0:FF:EE:00:00:01",
                "serial": "A-1",
            },
            {"nickname": "r", "side": "right", "name": "wrist-1", "address": "gone", "serial": "A-2"},
        ]
        (bench.config / "known-sensors.json").write_text(json.dumps({"sensors": known}))
        left = FakeSensor(serial="A-1", drift_ppm=80)
        right = FakeSensor(serial="A-2", address="C0:FF:EE:00:00:02", drift_ppm=-80, frames_per_packet=5)
        async with FakeDaemon(bench.address) as daemon, left, right:
            daemon.add(left)
            daemon.add(right)
            out = bench.folder / "set.csv"
            program = await bench.armarc("record", out, "-s", "l", "-s", "r", "--seconds", "2")
            code, data = await program.end(30)
            assert code == 0, program.talk
            files = [Path(line) for line in data.split()]
            assert [one.name for one in files] == ["set-left.csv", "set-right.csv"]
            got = [Captured(one) for one in files]
            for key in ("capture", "clock_zero_at"):
                assert got[0].head[key] == got[1].head[key]
            assert [one.head["sensor_serial"] for one in got] == ["A-1", "A-2"]
            offsets = []
            for one, sensor in zip(got, (left, right), strict=True):
                one.assert_whole()
                # True time of frame k on the host's clock, up to one constant that both sensors share.
                at = sensor.started_s + (one.numbers[-1] + 1) / 200 / (1 + sensor.drift)
                offsets.append(one.time_s[-1] - at)
            assert offsets[0] - offsets[1] == pytest.approx(0, abs=0.010)

    run(story())


@pytest.mark.parametrize("words", [("-s", "l", "-s", "chest=c"), ("-s", "wrist=l,chest=c")])
def test_a_wrist_and_a_chest(bench: Bench, run: Run, words: tuple[str, ...]) -> None:
    async def story() -> None:
        bench.config.mkdir()
        name = "wrist-1"  # what both call themselves
        known = [
            {"nickname": "l", "side": "left", "name": name, "address": "C0:FF:EE:00:00:01", "serial": "A-1"},
            {"nickname": "c", "side": "right", "name": name, "address": "gone", "serial": "A-2"},
        ]
        (bench.config / "known-sensors.json").write_text(json.dumps({"sensors": known}))
        wrist = FakeSensor(serial="A-1")
        chest = FakeSensor(serial="A-2", address="C0:FF:EE:00:00:02", frames_per_packet=5)
        async with FakeDaemon(bench.address) as daemon, wrist, chest:
            daemon.add(wrist)
            daemon.add(chest)
            program = await bench.armarc("record", bench.folder / "set.csv", *words, "--seconds", "1")
            code, data = await program.end(30)
            assert code == 0, program.talk
            files = [Path(line) for line in data.split()]
            assert [one.name for one in files] == ["set-wrist.csv", "set-chest.csv"]
            heads = [Captured(one).head for one in files]
            assert [(h["place"], h.get("side"), h["sensor_serial"]) for h in heads] == [
                ("wrist", "left", "A-1"),
                ("chest", None, "A-2"),
            ]
            for key in ("capture", "clock_zero_at"):
                assert heads[0][key] == heads[1][key]
            assert paired(files).chest_of == {files[0]: files[1]}

    run(story())


def test_a_strap_on_the_wrist_and_a_phone_on_the_chest(bench: Bench, run: Run) -> None:
    for library in ("websockets", "segno", "cryptography"):
        pytest.importorskip(library, reason="the extra 'phone' is not installed")
    rows = Browser().rows(live_recording(2, sets=1, reps=1)[0])[:400]

    async def story() -> None:
        async with FakeDaemon(bench.address) as daemon, FakeSensor() as sensor:
            daemon.add(sensor)
            words = ("--phone", "chest", "--host", "127.0.0.1", "--port", "0")
            out = bench.folder / "set.csv"
            program = await bench.armarc("record", out, "-s", "wrist-1", *words)
            await program.says("SHA-256")
            found = re.search(r"open https://(\S+)/phone(\?\S+)", program.talk)
            assert found
            url = f"wss://{found[1]}/phone/stream{found[2]}"
            began_s = time.time()
            acked = await asyncio.to_thread(stream_in_time, url, Browser(), rows)
            ended_s = time.time()
            program.interrupt()
            code, data = await program.end(30)
            assert code == 0, program.talk
            files = [Path(line) for line in data.split()]
            assert [one.name for one in files] == ["set-wrist.csv", "set-chest.csv"]
            wrist, chest = (Captured(one) for one in files)
            wrist.assert_whole()
            assert len(chest.rows) == acked == 400
            assert paired(files).chest_of == {files[0]: files[1]}
            # One clock: the phone was heard while the strap was, and after it.
            zero_s = datetime.fromisoformat(chest.head["clock_zero_at"]).timestamp()
            assert wrist.head["clock_zero_at"] == chest.head["clock_zero_at"]
            assert began_s - 0.1 < zero_s + chest.time_s[0] < zero_s + chest.time_s[-1] < ended_s + 0.1
            assert wrist.time_s[0] < chest.time_s[0]
            assert chest.time_s[-1] < wrist.time_s[-1] + 0.5

    run(story())


def test_a_sensor_that_cannot_be_found_ends_the_phone_s_wait(bench: Bench, run: Run) -> None:

    async def story() -> None:
        async with FakeDaemon(bench.address):
            words = ("--phone", "chest", "--host", "127.0.0.1", "--port", "0", "--timeout", "1")
            program = await bench.armarc("record", bench.folder / "set.csv", "-s", "nobody", *words)
            code, _ = await program.end(30)
            assert code == 4
            assert "nobody" in program.talk
            assert "Traceback" not in program.talk

    run(story())


def test_a_drop_within_the_sensors_queue_loses_nothing(bench: Bench, run: Run) -> None:
    async def story() -> None:
        async with recording(bench) as (program, sensor, out):
            await asyncio.sleep(1)
            sensor.lose_link()
            await program.says("link lost")
            sensor.return_()
            await program.says("linked again")
            await asyncio.sleep(1)
            program.interrupt()
            code, _ = await program.end()
            assert code == 0
            got = Captured(out)
            got.assert_whole()
            assert len(got.rows) == sensor.sent_packets
            assert [event["event"] for event in got.events if event["event"].startswith("link")] == [
                "link up",
                "link lost",
                "link up",
            ]

    run(story())


def test_a_longer_drop_is_a_counted_gap(bench: Bench, run: Run) -> None:
    async def story() -> None:
        async with recording(bench, queue_frames=50) as (program, sensor, out):
            await asyncio.sleep(1)
            sensor.lose_link()
            await asyncio.sleep(1)
            sensor.return_()
            await program.says("samples lost")
            await asyncio.sleep(0.5)
            program.interrupt()
            code, _ = await program.end()
            assert code == 0
            got = Captured(out)
            steps = np.diff(got.numbers)
            assert sorted(set(steps.tolist()))[0] == 1
            (gap,) = got.named("gap")
            assert steps.max() - 1 == gap["missing_samples"] == sensor.dropped > 0
            assert gap["cause"] == "reconnect"
            assert gap["end_s"] - gap["start_s"] == pytest.approx((sensor.dropped + 1) / 200, abs=0.03)

    run(story())


def test_a_sensor_that_restarts_goes_on_as_a_new_clock(bench: Bench, run: Run) -> None:
    async def story() -> None:
        async with recording(bench) as (program, sensor, out):
            await asyncio.sleep(1)
            sensor.lose_link()
            sensor.power_up()
            sensor.return_()
            await program.says("linked again")
            await asyncio.sleep(1)
            program.interrupt()
            await program.end()
            got = Captured(out)
            assert (np.diff(got.time_s) > 0).all()
            assert list(np.flatnonzero(got.numbers == 0)) == [0, int(np.argmin(np.diff(got.numbers))) + 1]
            assert got.named("gap")[0]["cause"] == "sensor restart"

    run(story())


def test_silence_is_a_broken_link(bench: Bench, run: Run) -> None:
    async def story() -> None:
        async with recording(bench) as (program, sensor, out):
            await asyncio.sleep(0.5)
            sensor.mute = True
            await program.says("nothing came for 2 s", 5)
            sensor.mute = False
            await program.says("linked again")
            await asyncio.sleep(0.5)
            program.interrupt()
            assert (await program.end())[0] == 0
            Captured(out).assert_whole()

    run(story())


def test_a_forgotten_device_is_found_again(bench: Bench, run: Run) -> None:
    async def story() -> None:
        async with FakeDaemon(bench.address, keep_devices=False) as daemon, FakeSensor() as sensor:
            daemon.add(sensor)
            out = bench.folder / "set.csv"
            program = await bench.armarc("record", out, *MINE)
            await program.says("wrist-1: 200 Hz")
            await asyncio.sleep(0.5)
            sensor.vanish()  # bleak goes on believing that it is connected
            await program.says("linked again", 8)
            await asyncio.sleep(0.5)
            program.interrupt()
            assert (await program.end())[0] == 0
            Captured(out).assert_whole()

    run(story())


def test_the_daemon_dies_and_comes_back(bench: Bench, run: Run) -> None:
    async def story() -> None:
        out = bench.folder / "set.csv"
        async with FakeSensor() as sensor:
            async with FakeDaemon(bench.address) as daemon:
                daemon.add(sensor)
                program = await bench.armarc("record", out, *MINE)
                await program.says("wrist-1: 200 Hz")
                await asyncio.sleep(0.5)
            await program.says("link lost", 5)
            async with FakeDaemon(bench.address) as daemon:
                daemon.add(sensor)
                await program.says("linked again", 10)
                await asyncio.sleep(0.5)
                program.interrupt()
                assert (await program.end())[0] == 0
        Captured(out).assert_whole()

    run(story())


def test_the_bus_dies_for_good(private_bus: Any, bench: Bench, run: Run) -> None:
    async def story() -> None:
        out = bench.folder / "set.csv"
        async with FakeDaemon(bench.address) as daemon, FakeSensor() as sensor:
            daemon.add(sensor)
            program = await bench.armarc("record", out, *MINE, "--give-up", "1")
            await program.says("wrist-1: 200 Hz")
            await asyncio.sleep(0.7)
            private_bus.kill()
            code, _ = await program.end()
            assert code == 4
            assert "was lost and did not come back in 1 s" in program.talk
            assert "Traceback" not in program.talk
        got = Captured(out)
        got.assert_whole()
        assert len(got.rows) > 100

    run(story())


def test_doubled_and_unreadable_packets(bench: Bench, run: Run) -> None:
    async def story() -> None:
        async with recording(bench, "--seconds", "1.5", "--json") as (program, sensor, out):
            sensor.repeat = 2
            sensor.garbage += [b"", b"\x10", b"\x20" + bytes(19), b"\x10\x05" + bytes(18), bytes(244)]
            code, data = await program.end()
            assert code == 0
            (said,) = json.loads(data)["files"]
            assert said["unreadable_packets"] == 5
            assert said["duplicate_samples"] > 100
            Captured(out).assert_whole()
            assert "unreadable packet (1 so far)" in program.talk

    run(story())


def test_a_killed_capture_loses_less_than_half_a_second(bench: Bench, run: Run) -> None:
    run(_killed(bench, 2))


@pytest.mark.slow
def test_killed_twenty_times(bench: Bench, run: Run) -> None:
    run(_killed(bench, 20), 150)


async def _killed(bench: Bench, times: int) -> None:
    chance = random.Random(7)
    async with FakeDaemon(bench.address) as daemon, FakeSensor() as sensor:
        daemon.add(sensor)
        for number in range(times):
            out = bench.folder / f"set-{number}.csv"
            # From the second on, the daemon still holds the connection of the killed program.
            program = await bench.armarc("record", out, *MINE)
            await program.says("wrist-1: 200 Hz")
            await asyncio.sleep(chance.uniform(1.2, 2.2))
            newest = sensor.newest_sent
            program.kill()
            await program.end()
            got = Captured(out)
            got.assert_whole()
            assert (newest - got.numbers[-1]) / 200 < 0.5
            from armarc.recording import read_csv

            assert len(read_csv(out).time_s) >= len(got.rows) - 1


def test_a_slow_disk_loses_nothing(bench: Bench, run: Run) -> None:
    async def story() -> None:
        slow = bench.folder / "slow"
        slow.mkdir()
        # The interpreter starts with a file system that takes its time over every write of a recording.
        (slow / "sitecustomize.py").write_text(
            "import time\n"
            "import armarc.recording.csv_writer as w\n"
            "def slow(real):\n"
            "    return lambda *a, **k: (time.sleep(0.01), real(*a, **k))[1]\n"
            "w.RecordingWriter.append = slow(w.RecordingWriter.append)\n"
            "w.RecordingWriter.flush = slow(w.RecordingWriter.flush)\n"
        )
        async with FakeDaemon(bench.address) as daemon, FakeSensor() as sensor:
            daemon.add(sensor)
            out = bench.folder / "set.csv"
            launcher = ("env", f"PYTHONPATH={slow}")
            program = await bench.armarc("record", out, *MINE, "--seconds", "1.5", launcher=launcher)
            code, _ = await program.end(40)
            assert code == 0, program.talk
            got = Captured(out)
            got.assert_whole()
            assert len(got.rows) == sensor.sent_packets

    run(story())


def test_a_lying_sensor_is_checked_as_it_streams(bench: Bench, run: Run) -> None:
    async def story() -> None:
        async with FakeDaemon(bench.address) as daemon, FakeSensor() as sensor:
            daemon.add(sensor)
            out = bench.folder / "still.csv"
            program = await bench.armarc("sensor", "check", *MINE, "--seconds", "12", "--out", out, "--json")
            code, data = await program.end(40)
            assert "lay the sensor on a steady table" in program.talk
            assert str(out) in program.talk
            got = Captured(out)
            got.assert_whole()
            assert len(got.rows) >= 2400
            said = json.loads(data)
            # The invented sensor swings: the check says so and keeps what it heard.
            assert code in (0, 6), program.talk
            assert said["stream"]["samples"] == len(got.rows)
            assert said["stream"]["rate_hz"] == pytest.approx(200, rel=0.01)

    run(story())
