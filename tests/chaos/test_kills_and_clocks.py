"""Programs killed at any instant, and clocks that jump: what was told to be done is there, once, on its own day."""

from __future__ import annotations

import os
import random
import signal
import sqlite3
import time
from pathlib import Path

import pytest
from programs import Running, run, run_here

from armarc.log import list_sets, open_log
from armarc.log.checking import check_log
from armarc.recording import read_csv, write_csv
from grids import seldom
from live_runs import recording

pytestmark = pytest.mark.skipif(not hasattr(signal, "SIGKILL"), reason="no SIGKILL on this system")
RECORDINGS = Path(__file__).parents[2] / "recordings"
TEXT = (RECORDINGS / "strict-raise.csv").read_text()


def copies(folder: Path, count: int) -> Path:
    folder.mkdir()
    for number in range(count):
        (folder / f"{number}.csv").write_text(TEXT.replace('"seed": 11', f'"seed": {number}'))
    return folder


def kill(running: Running) -> None:
    running.process.send_signal(signal.SIGKILL)
    assert running.end(30) == -signal.SIGKILL


def test_a_killed_reprocessing_leaves_every_recording_whole(tmp_path: Path) -> None:
    folder = copies(tmp_path / "in", 6)
    assert run_here(tmp_path, "log", "import", folder).returncode == 0
    log = tmp_path / "log.sqlite"
    with sqlite3.connect(log) as connection:
        # As if an older version had measured them, a little differently.
        connection.execute("UPDATE rep SET rom_deg = rom_deg + 1")
        connection.execute("UPDATE measurement SET armarc_version = '0.0.1'")
    connection.close()
    chance = random.Random(1)
    for _ in range(2):
        running = Running(tmp_path, "log", "reprocess", "--all")
        time.sleep(0.7 + 0.8 * chance.random())
        kill(running)
        with open_log(str(log)) as store:
            assert check_log(store).problems == ()
            assert len(list_sets(store)) == 6
    assert run(tmp_path, "log", "reprocess", "--all").returncode == 0
    done = run_here(tmp_path, "log", "reprocess", "--all", "--dry-run")
    assert done.stdout.count("no change") == 6


def test_a_killed_live_session_keeps_what_it_has_logged_and_written(tmp_path: Path) -> None:
    made, _ = recording(2, sets=2, reps=4, rest_s=14.0, load_kg=8.0)
    write_csv(made, tmp_path / "a.csv")
    out = tmp_path / "raw.csv"
    running = Running(
        tmp_path, "live", "--from", tmp_path / "a.csv", "--speed", "15", "--json", "--log", "--out", out
    )
    running.wait_for("set 1 is in the log")
    time.sleep(0.3)
    reached = max(one["time_s"] for _, one in running.records())
    kill(running)
    with open_log(str(tmp_path / "log.sqlite")) as store:
        assert [entry.reps for entry in list_sets(store)] == [4]
        assert check_log(store).problems == ()
    assert read_csv(out).time_s[-1] > reached - 1.0


@pytest.mark.parametrize("whom", ["worker", *seldom("driver")])
def test_a_killed_archive_goes_on_where_it_was(tmp_path: Path, whom: str) -> None:
    pytest.importorskip("pyarrow", reason="the extra 'archive' is not installed")
    if whom == "worker" and not Path("/proc/self/task").is_dir():
        pytest.skip("workers are found through /proc")
    folder = copies(tmp_path / "in", 24)
    words = ("archive", "process", folder, "--out", tmp_path / "store", "--workers", "2")
    running = Running(tmp_path, *words)
    time.sleep(1.5)
    if whom == "driver":
        kill(running)
    else:
        pid = running.process.pid
        for child in Path(f"/proc/{pid}/task/{pid}/children").read_text().split():
            if b"spawn_main" in Path(f"/proc/{child}/cmdline").read_bytes():
                os.kill(int(child), signal.SIGKILL)
                break
        running.end(90)
        assert "Traceback" not in running.said()
    again = run(tmp_path, *words, "--retry-failures", timeout=120)
    assert again.returncode == 0, again.stderr
    import pyarrow.parquet as parquet

    rows = [
        row
        for path in (tmp_path / "store" / "reps").glob("run=*/*.parquet")
        for row in parquet.ParquetFile(path).read(columns=["sha256", "set", "rep"]).to_pylist()
    ]
    keys = [tuple(row.values()) for row in rows]
    assert len(keys) == len(set(keys)) == 24 * 8


@pytest.mark.parametrize(
    ("stamps", "days"),
    [
        # The hour that does not exist, and the one that comes twice (Directive 2000/84/EC: last Sundays of March and
        # October, 01:00 UTC).
        (["2024-03-31T01:58:00+01:00", "2024-03-31T03:02:00+02:00"], ["2024-03-31", "2024-03-31"]),
        (["2024-10-27T02:30:00+02:00", "2024-10-27T02:30:00+01:00"], ["2024-10-27", "2024-10-27"]),
        # Somebody trains in the evening, flies, and trains the next morning.
        (["2024-06-01T23:30:00+02:00", "2024-06-02T07:00:00-07:00"], ["2024-06-01", "2024-06-02"]),
    ],
)
def test_a_set_stays_on_its_own_day_whatever_the_clocks_do(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, stamps: list[str], days: list[str]
) -> None:
    for zone, (number, stamp) in zip(
        ("Europe/Berlin", "America/Los_Angeles"), enumerate(stamps), strict=True
    ):
        monkeypatch.setenv("TZ", zone)
        time.tzset()
        path = tmp_path / f"{number}.csv"
        path.write_text(TEXT.replace('"seed": 11', f'"seed": {number}, "started_at": "{stamp}"'))
        assert run_here(tmp_path, "process", path, "--log").returncode == 0
    from datetime import datetime

    for zone in ("UTC", "Europe/Berlin", "America/Los_Angeles", "Pacific/Kiritimati"):
        monkeypatch.setenv("TZ", zone)
        time.tzset()
        with open_log(str(tmp_path / "log.sqlite")) as store:
            entries = sorted(list_sets(store), key=lambda entry: entry.done_at)
        assert [entry.day.isoformat() for entry in entries] == days
        apart_s = entries[1].done_at - entries[0].done_at
        first, second = (datetime.fromisoformat(stamp) for stamp in stamps)
        apart_s = apart_s if isinstance(apart_s, float) else apart_s.total_seconds()
        assert apart_s == pytest.approx((second - first).total_seconds(), abs=1.0)
    monkeypatch.undo()
    time.tzset()
