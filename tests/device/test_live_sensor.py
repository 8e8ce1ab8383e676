"""`armarc live` with a sensor: an invented one that lifts a synthetic set in real time."""

from __future__ import annotations

import asyncio
import json
from collections.abc import Callable
from typing import Any

import numpy as np
from fake_daemon import FakeDaemon
from numpy.typing import NDArray
from program import Bench

from armarc.recording import STANDARD_GRAVITY_M_S2, read_csv
from armarc.simulate import SensorPlan
from live_runs import recording

Run = Callable[..., None]


def lifting_sensor(side: str = "right", **facts: Any) -> Any:
    """A sensor whose frames are the samples of a synthetic set, in its counts (± 8 g, ± 1000 °/s)."""
    import fake_sensor

    pace = {"still_s": 1.0, "eccentric_s": 1.2, "concentric_s": 1.2}
    made, _ = recording(2, reps=2, side=side, sensor=SensorPlan(rate_hz=200.0), **pace)
    scaled = np.concatenate(
        [
            made.specific_force_m_s2 / (8 * STANDARD_GRAVITY_M_S2),
            np.degrees(made.angular_velocity_rad_s) / 1000,
        ],
        axis=1,
    )
    counts = np.clip(np.rint(scaled * 32768), -32768, 32767).astype(np.int16)

    class Lifting(fake_sensor.FakeSensor):
        def frame(self, k: int) -> NDArray[np.int16]:
            return np.asarray(counts[min(k, len(counts) - 1)])

        async def lifted(self, share: float = 1.0) -> None:
            """Wait until so much of the set has been sent."""
            while self.newest_sent < share * (len(counts) - 1):
                await asyncio.sleep(0.02)

    return Lifting(**facts), made.duration_s


def test_a_set_is_counted_shown_written_and_measured(bench: Bench, run: Run) -> None:
    async def story() -> None:
        sensor, seconds = lifting_sensor()
        async with FakeDaemon(bench.address) as daemon, sensor:
            daemon.add(sensor)
            out = bench.folder / "live.csv"
            program = await bench.armarc("live", "wrist-1", "--out", out, "--json", "--load", "8kg")
            await sensor.lifted()
            await program.prints('"rep ended"', 2)
            program.interrupt()
            code, data = await program.end()
            assert code == 0, program.talk
            records = [json.loads(line) for line in data.splitlines()]
            names = [one["event"] for one in records]
            assert names[0] == "session"
            assert "up" in [one.get("state") for one in records]
            assert names.count("rep ended") == 2
            measured = records[-1] if names[-1] == "set measured" else records[names.index("set measured")]
            assert measured["result"]["sets"][0]["summary"]["reps"] == 2
            kept = read_csv(out)
            assert kept.metadata.load_kg == 8
            assert kept.duration_s > seconds - 1
            assert "stopping" in program.talk

    run(story())


def test_both_arms_are_lifted_and_one_link_may_break(bench: Bench, run: Run) -> None:
    """Each sensor has its arm, its file and its sets; a break of one costs the other nothing."""

    async def story() -> None:
        left, seconds = lifting_sensor("left", name="watch-l", serial="A-1")
        right, _ = lifting_sensor("right", name="watch-r", serial="A-2", address="C0:FF:EE:00:00:02")
        async with FakeDaemon(bench.address) as daemon, left, right:
            daemon.add(left)
            daemon.add(right)
            out = bench.folder / "both.csv"
            words = ("left=watch-l", "right=watch-r")
            program = await bench.armarc("live", *words, "--out", out, "--json", "--log", "--rest", "3")
            await left.lifted(0.9)
            left.lose_link()
            await program.prints('"lost"')
            left.return_()
            await right.lifted()
            await program.prints('"both arms"')
            program.interrupt()
            code, data = await program.end()
            assert code == 0, program.talk
        records = [json.loads(line) for line in data.splitlines()]
        measured = [one for one in records if one["event"] == "set measured"]
        assert sorted((one["side"], one["result"]["sets"][0]["summary"]["reps"]) for one in measured) == [
            ("left", 2),
            ("right", 2),
        ]
        assert any(one["event"] == "both arms" for one in records), program.talk
        lost = [one["text"] for one in records if one.get("state") == "lost"]
        assert lost
        assert all(text.startswith("left: ") for text in lost)
        for side in ("left", "right"):
            kept = read_csv(bench.folder / f"both-{side}.csv")
            assert kept.metadata.side == side
            assert kept.duration_s > seconds - 1

    run(story())


def test_the_second_session_needs_no_word(bench: Bench, run: Run) -> None:
    """Strap, ``armarc live``, lift: lifter, exercise, load, sensor and log are those of the session before."""

    async def story() -> None:
        said = ("--lifter", "Anna", "--exercise", "front-raise", "--side", "left", "--load", "6kg", "--log")
        for words in (("wrist-1", *said), ()):
            sensor, _ = lifting_sensor()
            async with FakeDaemon(bench.address) as daemon, sensor:
                daemon.add(sensor)
                out = bench.folder / f"live-{len(words)}.csv"
                program = await bench.armarc("live", *words, "--out", out, "--json")
                await sensor.lifted()
                await program.prints('"rep ended"', 2)
                program.interrupt()
                code, data = await program.end()
            assert code == 0, program.talk
            first = json.loads(data.splitlines()[0])
            assert [first[name] for name in ("lifter", "exercise", "side", "load_kg")] == [
                "Anna",
                "front-raise",
                "left",
                6,
            ]
            assert "in the log" in program.talk
        assert (
            "as the last time: Anna, front-raise, left arm, 6 kg, sensor wrist-1, into the log"
            in program.talk
        )

    run(story())


def test_a_recording_ends_by_itself_after_the_set(bench: Bench, run: Run) -> None:
    async def story() -> None:
        sensor, seconds = lifting_sensor()
        async with FakeDaemon(bench.address) as daemon, sensor:
            daemon.add(sensor)
            bench.config.mkdir(exist_ok=True)
            (bench.config / "armarc.toml").write_text("rest_s = 3\n", encoding="utf-8")
            out = bench.folder / "set.csv"
            program = await bench.armarc("record", out, "--sensor", "wrist-1", "--until-set-ends")
            code, _ = await program.end(seconds + 25)
            assert code == 0, program.talk
            kept = read_csv(out)
            assert seconds - 1 < kept.duration_s < seconds + 15

    run(story())
