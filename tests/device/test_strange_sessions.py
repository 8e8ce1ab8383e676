"""What an earlier session left behind, and settings a sensor does not have: never silently wrong data."""

from __future__ import annotations

import asyncio
from collections.abc import Callable

import numpy as np
import pytest
from captured import Captured
from fake_daemon import FakeDaemon
from fake_sensor import FakeSensor
from program import Bench

Run = Callable[..., None]
MINE = ("-s", "wrist-1")


async def _killed_then_plain(bench: Bench, sensor: FakeSensor) -> tuple[Captured, str]:
    """A capture at ±16 g that is killed, and a plain one after it."""
    program = await bench.armarc("record", bench.folder / "killed.csv", *MINE, "--acc-range", "16")
    await program.says("wrist-1: ")
    await asyncio.sleep(0.7)
    program.kill()
    await program.end()
    await asyncio.sleep(0.7)  # the sensor goes on into its queue
    out = bench.folder / "plain.csv"
    program = await bench.armarc("record", out, *MINE, "--seconds", "1.5")
    code, _ = await program.end()
    assert code == 0, program.talk
    return Captured(out), program.talk


@pytest.mark.parametrize(("careless", "frames_per_packet"), [(True, 1), (True, 7), (False, 5)])
def test_frames_of_a_killed_session_stay_out_of_the_next(
    bench: Bench, run: Run, careless: bool, frames_per_packet: int
) -> None:
    async def story() -> None:
        sensor = FakeSensor(careless=careless, frames_per_packet=frames_per_packet)
        async with FakeDaemon(bench.address) as daemon, sensor:
            daemon.add(sensor)
            got, talk = await _killed_then_plain(bench, sensor)
            got.assert_whole()
            first = got.numbers[0] - sensor.first_of_session
            # A packet with frames of both sessions is left out whole: the time of its later frames is not known.
            assert 0 <= first < frames_per_packet
            assert got.time_s[0] >= 0
            assert np.diff(got.time_s) == pytest.approx(0.005, rel=0.1)
            left_out = "left over from an earlier session were left out" in talk
            assert left_out == careless

    run(story())


def test_numbers_that_start_again_do_not_silence_a_sensor(bench: Bench, run: Run) -> None:
    """Against the profile, but its data are sound: they come, with a word about it."""

    class Forgetful(FakeSensor):
        def _command(self, data: bytes) -> None:
            if data == b"\x02":
                self._next_frame = 0
            super()._command(data)

    async def story() -> None:
        sensor = Forgetful(queue_frames=100)
        async with FakeDaemon(bench.address) as daemon, sensor:
            daemon.add(sensor)
            sensor._next_frame = 20_000
            out = bench.folder / "set.csv"
            program = await bench.armarc("record", out, *MINE, "--seconds", "1")
            code, _ = await program.end()
            assert code == 0, program.talk
            assert "against the wrist profile" in program.talk
            Captured(out).assert_whole()

    run(story())


POWER_UP = (25.0, 16, 250)


@pytest.mark.parametrize("takes_wider", [False, True])
def test_a_range_it_does_not_have_costs_no_other_setting(bench: Bench, run: Run, takes_wider: bool) -> None:
    """A sensor of ±16 g only, which powers up at 25 Hz and ±250 °/s, asked for ±8 g."""

    async def story() -> None:
        sensor = FakeSensor(
            acc_ranges_g=(16,), rates_hz=(25.0, 200.0), power_up=POWER_UP, takes_wider=takes_wider
        )
        async with FakeDaemon(bench.address) as daemon, sensor:
            daemon.add(sensor)
            out = bench.folder / "a.csv"
            program = await bench.armarc("record", out, *MINE, "--seconds", "0.7")
            assert (await program.end())[0] == 0, program.talk
            head = Captured(out).head
            assert head["rate_hz"] == 200
            assert head["accelerometer_range_m_s2"] == pytest.approx(16 * 9.80665)
            assert head["gyroscope_range_rad_s"] == pytest.approx(np.radians(1000))
            assert len(sensor.refused) <= (0 if takes_wider else 2)
            assert "cannot do" not in program.talk  # wider is as good

    run(story())


def test_both_ranges_missing(bench: Bench, run: Run) -> None:
    async def story() -> None:
        sensor = FakeSensor(acc_ranges_g=(32,), gyr_ranges_deg_s=(4000,), power_up=(25.0, 32, 4000))
        async with FakeDaemon(bench.address) as daemon, sensor:
            daemon.add(sensor)
            out = bench.folder / "a.csv"
            program = await bench.armarc("record", out, *MINE, "--seconds", "0.7")
            assert (await program.end())[0] == 0, program.talk
            head = Captured(out).head
            assert head["rate_hz"] == 200
            assert head["gyroscope_range_rad_s"] == pytest.approx(np.radians(4000))
            assert len(sensor.refused) < 15

    run(story())


def test_a_narrower_range_is_better_than_none_and_is_said(bench: Bench, run: Run) -> None:
    async def story() -> None:
        sensor = FakeSensor(gyr_ranges_deg_s=(250, 500), power_up=POWER_UP)
        async with FakeDaemon(bench.address) as daemon, sensor:
            daemon.add(sensor)
            out = bench.folder / "a.csv"
            program = await bench.armarc("record", out, *MINE, "--seconds", "0.7")
            assert (await program.end())[0] == 0, program.talk
            assert "it runs at 200 Hz, ±8 g, ±500 °/s" in program.talk

    run(story())


def test_a_scale_that_is_not_the_nominal_range_is_taken_quietly(bench: Bench, run: Run) -> None:
    """35 mdps in a count is ±1147 °/s: the state says so, the samples carry it."""

    async def story() -> None:
        sensor = FakeSensor(reported_gyr={1000: 1147})
        async with FakeDaemon(bench.address) as daemon, sensor:
            daemon.add(sensor)
            out = bench.folder / "a.csv"
            program = await bench.armarc("record", out, *MINE, "--seconds", "0.7")
            assert (await program.end())[0] == 0, program.talk
            got = Captured(out)
            assert "cannot do" not in program.talk
            assert sensor.refused == []
            expected = np.radians((got.numbers % 7) * 0.035)
            assert got.rows[:, 4] == pytest.approx(expected, abs=1.5e-5)

    run(story())


def test_a_side_that_conflicts_with_the_remembered_one_is_said(bench: Bench, run: Run) -> None:
    async def story() -> None:
        async with FakeDaemon(bench.address) as daemon, FakeSensor() as sensor:
            daemon.add(sensor)
            await (await bench.armarc("sensor", "remember", "red", "--side", "right")).end()
            out = bench.folder / "a.csv"
            # By its name: the sensor is known by its serial number all the same.
            program = await bench.armarc("record", out, *MINE, "--seconds", "0.5", "--side", "left")
            assert (await program.end())[0] == 0
            said = "red is remembered for the right wrist, and this recording is marked left"
            assert said in program.talk
            assert said in Captured(out).named("trouble")[0]["message"]
            program = await bench.armarc("sensor", "remember", "blue", "--side", "left")
            assert (await program.end())[0] == 0
            assert "red was remembered for the right wrist; the left one from now on" in program.talk

    run(story())


def test_the_temperature_is_kept_at_both_ends(bench: Bench, run: Run) -> None:
    async def story() -> None:
        async with FakeDaemon(bench.address) as daemon, FakeSensor(temperature_c=24.25) as sensor:
            daemon.add(sensor)
            out = bench.folder / "a.csv"
            program = await bench.armarc("record", out, *MINE)
            await program.says("wrist-1: ")
            await asyncio.sleep(0.5)
            sensor.temperature_c = 27.5
            program.interrupt()
            assert (await program.end())[0] == 0
            got = Captured(out)
            assert got.head["sensor_temperature_c"] == 24.25
            assert got.named("end")[0]["sensor_temperature_c"] == 27.5

    run(story())
