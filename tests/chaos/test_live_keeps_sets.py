"""A finished set reaches the log, whatever else goes wrong in a live session."""

from __future__ import annotations

import os
import signal
import subprocess
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from programs import Running, command, environment

from armarc.log import list_sets, open_log
from armarc.recording import read_csv, write_csv
from live_runs import recording

SETS, REPS = 2, 4


def of_sets(folder: Path, sets: int) -> Path:
    made, _ = recording(2, sets=sets, reps=REPS, rest_s=14.0, load_kg=8.0)
    write_csv(made, folder / "sets.csv")
    return folder / "sets.csv"


@pytest.fixture(scope="module")
def file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return of_sets(tmp_path_factory.mktemp("live"), SETS)


def logged(folder: Path) -> list[int]:
    with open_log(str(folder / "log.sqlite"), create=False) as store:
        return [entry.reps for entry in list_sets(store)]


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    place = tmp_path / "small"
    place.mkdir()
    try:
        made = subprocess.run(
            ["mount", "-t", "tmpfs", "-o", "size=128k", "tmpfs", str(place)], capture_output=True
        )
    except FileNotFoundError:
        pytest.skip("no mount here")
    if made.returncode:
        pytest.skip("a small disk cannot be made here (needs the right to mount)")
    yield place
    subprocess.run(["umount", str(place)], check=True)


def test_a_full_disk_ends_the_raw_file_and_nothing_else(file: Path, tmp_path: Path, small_disk: Path) -> None:
    running = Running(
        tmp_path, "live", "--from", file, "--speed", "max", "--json", "--log", "--out", small_disk / "raw.csv"
    )
    assert running.end(60) == 0, running.said()
    assert "Traceback" not in running.said()
    assert running.said().count("raw stream ended") == 1
    assert logged(tmp_path) == [REPS] * SETS
    assert sum(one["event"] == "set measured" for _, one in running.records()) == SETS
    # What was written until then is a recording.
    part = read_csv(small_disk / "raw.csv")
    assert 0 < len(part.time_s) < len(read_csv(file).time_s)


def test_a_full_disk_for_scratch_files_still_logs_the_numbers(
    file: Path, tmp_path: Path, small_disk: Path
) -> None:
    (small_disk / "filler").write_bytes(b"x" * 126_000)
    process = subprocess.run(
        command("live", "--from", file, "--speed", "max", "--json", "--log"),
        capture_output=True,
        text=True,
        timeout=60,
        env={**environment(tmp_path), "TMPDIR": str(small_disk)},
    )
    assert process.returncode == 0, process.stderr
    assert logged(tmp_path) == [REPS] * SETS
    assert process.stderr.count("is in the log") == SETS


@pytest.mark.parametrize("also_deaf", [False, True], ids=["stdout", "both"])
def test_a_reader_that_goes_away_stops_neither_capture_nor_log(
    file: Path, tmp_path: Path, also_deaf: bool
) -> None:
    out = tmp_path / "raw.csv"
    process = subprocess.Popen(
        command("live", "--from", file, "--speed", "40", "--json", "--log", "--out", out),
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env=environment(tmp_path),
    )
    assert process.stdout is not None
    assert process.stderr is not None
    for _ in range(2):
        process.stdout.readline()
    process.stdout.close()
    if also_deaf:
        process.stderr.close()
    else:
        said = process.stderr.read()
        assert "Traceback" not in said
        assert said.count("is gone") == 1
        process.stderr.close()
    assert process.wait(60) == 0
    assert logged(tmp_path) == [REPS] * SETS
    assert len(read_csv(out).time_s) == len(read_csv(file).time_s)


def alive(mark: str) -> list[str]:
    found = []
    for place in Path("/proc").glob("[0-9]*/cmdline"):
        try:
            if mark.encode() in place.read_bytes().split(b"\0"):
                found.append(place.parent.name)
        except OSError:
            continue
    return found


def test_a_hanging_hook_holds_up_no_log_and_is_ended_with_its_children(file: Path, tmp_path: Path) -> None:
    if not Path("/proc/self").exists():
        pytest.skip("processes are found through /proc")
    mark = f"100{os.getpid()}"
    hook = f"sh -c 'sleep {mark} & sleep {mark}'"
    running = Running(tmp_path, "live", "--from", file, "--speed", "40", "--json", "--log", "--hook", hook)
    for _ in range(300):
        if running.said().count("is in the log") == SETS:
            break
        time.sleep(0.1)
    # All are in the log while the first hook still hangs.
    assert running.said().count("is in the log") == SETS
    assert alive(mark)
    assert running.process.poll() is None
    running.process.send_signal(signal.SIGINT)
    time.sleep(0.3)
    assert running.process.poll() is None
    running.process.send_signal(signal.SIGINT)
    assert running.end(15) == 130
    assert logged(tmp_path) == [REPS] * SETS
    assert "Traceback" not in running.said()
    assert alive(mark) == []


def test_two_quick_interrupts_still_log_the_set_that_was_running(file: Path, tmp_path: Path) -> None:
    running = Running(
        tmp_path, "live", "--from", file, "--speed", "15", "--json", "--log", "--hook", "sleep 999"
    )
    running.wait_for('"rep": 3,')
    for _ in range(2):
        running.process.send_signal(signal.SIGINT)
        time.sleep(0.05)
    assert running.end(20) == 130
    assert len(logged(tmp_path)) == 1


@pytest.mark.skipif(not hasattr(signal, "SIGHUP"), reason="no hang-up signal on this system")
def test_a_terminal_that_goes_away_leaves_the_running_set_in_the_log(file: Path, tmp_path: Path) -> None:
    running = Running(tmp_path, "live", "--from", file, "--speed", "15", "--json", "--log")
    running.wait_for('"rep": 3,')
    running.process.send_signal(signal.SIGHUP)
    assert running.end(20) == 0
    assert len(logged(tmp_path)) == 1


def test_a_set_the_log_refused_is_tried_again(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    import asyncio

    from armarc.choices import choose
    from armarc.live import aftermath
    from armarc.live.aftermath import After
    from armarc.live.session import LiveSession
    from armarc.live.source import play

    made = read_csv(of_sets(tmp_path, 3))
    tries: list[int] = []

    def log_set(measured: Any, *_: Any) -> tuple[str, tuple[int, ...]]:
        tries.append(measured.number)
        return "", (1,) if len(tries) > 4 else ()

    monkeypatch.setattr(aftermath, "log_set", log_set)
    one = LiveSession(
        choices=choose(made.metadata),
        faces=[],
        after=After(log=True),
        tell=lambda _: None,
        in_step=True,
    )

    async def run() -> None:
        await one.run(play(made, None, asyncio.Event()), [made.rate_hz])

    asyncio.run(run())
    # Set 1, then 1 and 2, then 1 in vain; from the fifth try on the log takes them.
    assert tries == [1, 1, 2, 1, 2, 3, 1]
    assert one._aftermath.unlogged == []


def test_a_face_that_fails_is_dropped_and_told_once(file: Path) -> None:
    import asyncio

    from armarc.choices import choose
    from armarc.live.aftermath import After
    from armarc.live.session import LiveSession
    from armarc.live.source import play

    class Broken:
        name = "the mirror"

        def hear(self, record: Any, event: Any) -> None:
            if record["event"] == "rep ended":
                raise ValueError("cracked")

        def refresh(self, scoreboard: Any) -> None: ...
        def close(self) -> None:
            raise OSError("cracked again")

    class Good(Broken):
        heard = 0

        def hear(self, record: Any, event: Any) -> None:
            self.heard += 1

        def close(self) -> None: ...

    made = read_csv(file)
    said: list[str] = []
    good = Good()
    one = LiveSession(
        choices=choose(made.metadata),
        faces=[Broken(), good],
        after=After(),
        tell=said.append,
        in_step=True,
    )
    asyncio.run(one.run(play(made, None, asyncio.Event()), [made.rate_hz]))
    assert said == ["the mirror is gone: cracked; the session goes on"]
    assert len(one.sets) == SETS
    assert good.heard > 10 * SETS
