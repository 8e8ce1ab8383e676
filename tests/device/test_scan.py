"""`armarc sensor` against the fake daemon, and every way not to get a sensor."""

from __future__ import annotations

import asyncio
import json
from collections.abc import Callable
from importlib.resources import files
from typing import Any

import numpy as np
import pytest
from captured import Captured
from fake_daemon import Characteristic, FakeDaemon, Peripheral, Refusal
from fake_sensor import FakeSensor
from program import Bench

Run = Callable[..., None]

HEART = "0000180d-0000-1000-8000-00805f9b34fb"


def _other() -> Peripheral:
    return Peripheral(
        name="kettle\x1b[31m",
        address="11:22:33:44:55:66",
        services=[(HEART, [Characteristic("00002a37-0000-1000-8000-00805f9b34fb", ["notify"])])],
        advertises=[HEART],
    )


def test_scan(bench: Bench, run: Run) -> None:
    async def story() -> None:
        async with FakeDaemon(bench.address) as daemon, FakeSensor(battery_pct=64) as sensor:
            daemon.add(sensor)
            daemon.add(_other())
            program = await bench.armarc("sensor", "scan", "--seconds", "1", "--json")
            code, data = await program.end()
            assert code == 0, program.talk
            document = json.loads(data)
            assert document["schema"] == "armarc.sensors/1"
            (one,) = document["sensors"]
            assert one.pop("rssi_dbm") in (-60, -59)
            assert one == {
                "name": "wrist-1",
                "address": "C0:FF:EE:00:00:01",
                "profile": "wrist profile 1",
                "battery_pct": 64,
                "firmware": "0.3 (invented)",
                "serial": "A-0001",
                "nickname": None,
                "side": None,
                "problem": None,
            }
            program = await bench.armarc("sensor", "scan", "--seconds", "1", "--all")
            code, data = await program.end()
            assert code == 0
            rows = [line.split("\t") for line in data.splitlines()]
            assert [row[0] for row in rows] == ["name", "wrist-1", "kettle?[31m"] or rows[1][
                0
            ] == "kettle?[31m"
            assert "\x1b" not in data

    run(story())


def test_remember_and_use_a_nickname(bench: Bench, run: Run) -> None:
    async def story() -> None:
        stranger = FakeSensor(address="C0:FF:EE:00:00:09", serial="B-9")
        mine = FakeSensor(serial="A-7")
        async with FakeDaemon(bench.address) as daemon, mine, stranger:
            daemon.add(mine)
            program = await bench.armarc("sensor", "remember", "red", "--side", "left")
            code, data = await program.end()
            assert (code, data) == (0, "red: wrist-1, left wrist (serial number A-7)\n"), program.talk
            # The system has given it another address; a stranger of the same name is in reach.
            path = bench.config / "known-sensors.json"
            path.write_text(path.read_text().replace("C0:FF:EE:00:00:01", "C0:FF:EE:00:00:77"))
            mine.in_range, stranger.in_range = False, True
            daemon.add(stranger)
            program = await bench.armarc("record", bench.folder / "a.csv", "-s", "red", "--seconds", "1")
            await program.says("has serial number B-9, not A-7")
            mine.in_range = True
            code, _ = await program.end()
            assert code == 0, program.talk
            head = Captured(bench.folder / "a.csv").head
            assert (head["sensor_serial"], head["side"], head["sensor"]) == ("A-7", "left", "red")

    run(story())


@pytest.mark.slow
def test_several_sensors_and_none_named(bench: Bench, run: Run) -> None:
    async def story() -> None:
        one, two = FakeSensor(), FakeSensor(address="C0:FF:EE:00:00:02", name="wrist-2")
        async with FakeDaemon(bench.address) as daemon, one, two:
            daemon.add(one)
            daemon.add(two)
            program = await bench.armarc("record", bench.folder / "a.csv")
            code, _ = await program.end()
            assert code == 2
            assert "2 sensors are in reach: wrist-1 (C0:FF:EE:00:00:01), wrist-2" in program.talk
            program = await bench.armarc(
                "record", bench.folder / "a.csv", "-s", "WRIST-2", "--seconds", "0.5"
            )
            assert (await program.end())[0] == 0

    run(story())


def _fails(bench: Bench, run: Run, said: str, code: int = 4, **world: Any) -> None:
    peripherals = world.pop("peripherals", [])
    words = world.pop("words", ["--timeout", "1"])
    prepare = world.pop("prepare", None)

    async def story() -> None:
        async with FakeDaemon(bench.address, **world) as daemon:
            for one in peripherals:
                daemon.add(one)
            if prepare:
                prepare(daemon)
            program = await bench.armarc("record", bench.folder / "a.csv", *words)
            got, data = await program.end(40)
            assert said in program.talk, program.talk
            assert (got, data) == (code, "")
            assert "Traceback" not in program.talk
            assert not (bench.folder / "a.csv").exists()

    run(story())


def test_nothing_in_reach(bench: Bench, run: Run) -> None:
    _fails(bench, run, "a sensor was not seen in 1 s; no Bluetooth device at all was seen")


def test_a_sensor_asleep(bench: Bench, run: Run) -> None:
    _fails(
        bench,
        run,
        "sensor 'wrist-1' was not seen in 1 s; 1 other Bluetooth device was seen (wake it",
        peripherals=[_other()],
        words=["-s", "wrist-1", "--timeout", "1"],
    )


def test_no_adapter(bench: Bench, run: Run) -> None:
    _fails(bench, run, "this machine has no Bluetooth adapter", adapter_present=False)


def test_adapter_off(bench: Bench, run: Run) -> None:
    _fails(bench, run, "Bluetooth is switched off", powered=False)


@pytest.mark.slow
def test_adapter_too_old(bench: Bench, run: Run) -> None:
    _fails(bench, run, "cannot connect to low-energy sensors", roles=("peripheral",))


def test_permission_refused(bench: Bench, run: Run) -> None:
    refusal = Refusal("org.freedesktop.DBus.Error.AccessDenied", "Rejected send message")

    def prepare(daemon: FakeDaemon) -> None:
        daemon.fail_next["GetManagedObjects"] = refusal

    _fails(bench, run, "permission to use Bluetooth was refused", prepare=prepare)


def test_no_service_on_the_bus(bench: Bench, run: Run) -> None:
    async def story() -> None:
        program = await bench.armarc("record", bench.folder / "a.csv")
        assert (await program.end())[0] == 4
        assert "the system's Bluetooth service is not running" in program.talk
        bench.address = "unix:path=/nonexistent/bus"
        program = await bench.armarc("sensor", "scan", "--seconds", "1")
        assert (await program.end())[0] == 4
        assert "there is no Bluetooth service on this machine" in program.talk

    run(story())


def test_wrong_device(bench: Bench, run: Run) -> None:
    _fails(
        bench,
        run,
        f"does not speak the wrist profile or any description (its services: {HEART})",
        peripherals=[_other()],
        words=["-s", "11:22:33:44:55:66"],
    )


def test_firmware_of_another_version(bench: Bench, run: Run) -> None:
    _fails(
        bench,
        run,
        "the sensor speaks version 2 of the wrist profile, this armarc version 1",
        peripherals=[FakeSensor(version=2)],
    )


@pytest.mark.slow
def test_settings_the_sensor_does_not_have(bench: Bench, run: Run) -> None:
    async def story() -> None:
        async with FakeDaemon(bench.address) as daemon, FakeSensor() as sensor:
            daemon.add(sensor)
            words = ("--acc-range", "32", "--rate", "208", "--seconds", "0.5")
            program = await bench.armarc("record", bench.folder / "a.csv", "-s", "wrist-1", *words)
            assert (await program.end())[0] == 0
            assert "cannot do 208 Hz, ±32 g, ±1000 °/s; it runs at 200 Hz, ±16 g, ±1000" in program.talk
            assert Captured(bench.folder / "a.csv").head["accelerometer_range_m_s2"] == pytest.approx(
                156.9064
            )

    run(story())


@pytest.mark.slow
def test_a_refused_connection_is_tried_again(bench: Bench, run: Run) -> None:
    async def story() -> None:
        async with FakeDaemon(bench.address) as daemon, FakeSensor() as sensor:
            sensor.refuse_connect = [Refusal("org.bluez.Error.Failed", "le-connection-refused")] * 2
            daemon.add(sensor)
            program = await bench.armarc(
                "record", bench.folder / "a.csv", "-s", "wrist-1", "--seconds", "0.5"
            )
            assert (await program.end())[0] == 0, program.talk
            assert "the link broke or could not be made" in program.talk

    run(story())


def test_battery_dying(bench: Bench, run: Run) -> None:
    async def story() -> None:
        async with FakeDaemon(bench.address) as daemon, FakeSensor() as sensor:
            daemon.add(sensor)
            program = await bench.armarc("record", bench.folder / "a.csv", "-s", "wrist-1", "--give-up", "1")
            await program.says("wrist-1: 200 Hz")
            sensor.set_battery(4)
            await program.says("battery low (4 %)")
            sensor.lose_link()
            code, _ = await program.end()
            assert code == 4
            assert "its battery may be empty" in program.talk
            Captured(bench.folder / "a.csv").assert_whole()

    run(story())


@pytest.mark.slow
def test_adapter_switched_off_in_the_middle(bench: Bench, run: Run) -> None:
    async def story() -> None:
        async with FakeDaemon(bench.address) as daemon, FakeSensor() as sensor:
            daemon.add(sensor)
            program = await bench.armarc("record", bench.folder / "a.csv", "-s", "wrist-1", "--give-up", "1")
            await program.says("wrist-1: 200 Hz")
            await asyncio.sleep(0.5)
            daemon.set_powered(False)
            code, data = await program.end()
            assert (code, data.strip()) == (4, str(bench.folder / "a.csv"))
            assert "last: looking for sensors: Bluetooth is switched off" in program.talk
            Captured(bench.folder / "a.csv").assert_whole()

    run(story())


def test_a_described_sensor(bench: Bench, run: Run) -> None:
    """The invented example with a packet counter, streamed without a line of code for it."""
    base = "7d3e000{}-5a64-4f7e-8c11-90b6f2d4a3c8"

    async def story() -> None:
        commands: list[bytes] = []
        data = Characteristic(base.format(2), ["notify"])
        control = Characteristic(base.format(3), ["write"], write=commands.append)
        band = Peripheral(
            name="Invented-Band 3",
            address="C0:FF:EE:00:00:03",
            services=[(base.format(1), [data, control])],
            advertises=[],
        )
        folder = bench.config / "sensors"
        folder.mkdir(parents=True)
        text = (files("armarc.sensor.describe") / "examples" / "invented-counter.toml").read_text("utf-8")
        (folder / "band.toml").write_text(text)

        async def send() -> None:
            number = 0
            while True:
                if commands[-1:] == [b"\x01"]:
                    values = np.tile([[1, 2, 3, 100, 200, 4098]], (3, 1)).astype(">i2").tobytes()
                    band.notify(data.uuid, bytes([0xA5, number % 256]) + values + b"\x00")
                    number += 1 if number != 20 else 5  # four packets are lost
                await asyncio.sleep(3 / 104)

        async with FakeDaemon(bench.address) as daemon:
            daemon.add(band)
            sending = asyncio.create_task(send())
            out = bench.folder / "a.csv"
            program = await bench.armarc("record", out, "--seconds", "1.5", "--json")
            code, printed = await program.end()
            sending.cancel()
            assert code == 0, program.talk
            assert json.loads(printed)["files"][0]["missing_samples"] == 12
            assert commands == [b"\x01", b"\x00"]
            got = Captured(out)
            g = 9.80665e-3
            expected = [0.244 * 100 * g, -0.244 * 4098 * g, 0.244 * 200 * g]
            assert got.rows[0, 1:4] == pytest.approx(expected, abs=1e-4)
            assert got.rows[0, 4:] == pytest.approx(np.radians([0.035, -0.105, 0.07]), abs=1e-5)
            assert got.named("gap")[0]["missing_samples"] == 12

    run(story())


@pytest.mark.parametrize(
    ("place", "said", "code"),
    [("nowhere/a.csv", "the folder does not exist", 4), ("taken.csv", "exists already", 2)],
)
def test_places_that_cannot_be_written(bench: Bench, run: Run, place: str, said: str, code: int) -> None:
    (bench.folder / "taken.csv").write_text("precious")

    async def story() -> None:
        program = await bench.armarc("record", bench.folder / place)
        got, _ = await program.end()
        assert (got, said in program.talk) == (code, True), program.talk
        assert (bench.folder / "taken.csv").read_text() == "precious"

    run(story())


def test_a_full_disk_keeps_what_fits(bench: Bench, run: Run) -> None:
    async def story() -> None:
        async with FakeDaemon(bench.address) as daemon, FakeSensor() as sensor:
            daemon.add(sensor)
            out = bench.folder / "a.csv"
            # A limit on the size of files stands for the full disk; both are an OSError of the write.
            launcher = ("sh", "-c", 'trap "" XFSZ; ulimit -f 32; exec "$@"', "sh")
            program = await bench.armarc("record", out, "-s", "wrist-1", launcher=launcher)
            code, _ = await program.end()
            assert code == 4, program.talk
            assert "writing failed: File too large; the first" in program.talk
            got = Captured(out)
            got.assert_whole()
            assert len(got.rows) > 100

    run(story())
