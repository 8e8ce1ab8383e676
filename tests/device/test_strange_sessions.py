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
