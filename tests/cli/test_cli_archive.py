"""``armarc archive`` end to end, each command in a process of its own."""

import json
import os
import signal
import subprocess
import sys
import time

import pandas as pd
import pytest
import typer
from typer.testing import CliRunner

from armarc.api import process
from armarc.cli.app import ErrorBoundary
from armarc.cli.archive import app
from armarc.errors import InputError
from armarc.recording import read_csv
from grids import seldom
from invented_archive import armarc, armarc_json, command, faulty_workers, fill, originals, table

pytest.importorskip("pyarrow", reason="an archive needs pyarrow")
duckdb = pytest.importorskip("duckdb", reason="the queries of the help are tried with DuckDB")


program = typer.Typer(cls=ErrorBoundary)
program.add_typer(app, name="archive")


def run(*words, code=0):
    """Run ``armarc archive`` in this process."""
    result = CliRunner().invoke(program, ["archive", *map(str, words)])
    assert result.exit_code == code, (result.stdout, result.stderr, result.exception)
    return result


def run_json(*words):
    return json.loads(run(*words, "--json").stdout)


@pytest.fixture(scope="module")
def archive(tmp_path_factory):
    """Folder, archive and the first answer: nine good recordings, two broken ones, a copy, one without a rep."""
    home = tmp_path_factory.mktemp("archive")
    folder = fill(home / "in", 9, broken=2)
    (folder / "copy.csv").write_bytes((folder / "late" / "r0000.csv").read_bytes())
    lines = originals()[0].decode().splitlines(keepends=True)
    (folder / "still.csv").write_text("".join(lines[:150]))
    first = armarc_json("archive", "process", folder, "--out", home / "store", "--workers", 2)
    return folder, home / "store", first


def test_everything_measurable_is_measured_and_the_rest_is_told(archive):
    folder, store, first = archive
    counts = first["recordings"]
    assert (counts["total"], counts["measured"], counts["empty"]) == (13, 9, 1)
    assert (counts["failed"], counts["known"], counts["before"]) == (2, 1, 0)
    assert (counts["sets"], counts["reps"]) == (9, 36)
    files = table(store, "files")
    assert files.path.is_unique
    assert sorted(files.path) == sorted(str(path) for path in folder.rglob("*.csv"))
    reps = table(store, "reps")
    assert len(reps) == 36
    assert not reps.duplicated(["sha256", "set", "rep"]).any()
    assert set(reps.side) == {"right", "left"}
    assert (reps.load_kg == 8).all()


def test_the_numbers_are_those_of_process(archive):
    folder, store, _ = archive
    path = folder / "early" / "r0001.csv"
    said = process(read_csv(path)).to_dict()
    reps = table(store, "reps")
    mine = reps[reps.sha256 == said["source"]["sha256"]].to_dict("records")
    theirs = said["sets"][0]["reps"]
    assert len(mine) == len(theirs) == 4
    for one, other in zip(mine, theirs, strict=True):
        for key in ("rom_deg", "start_velocity_deg_s", "hold_s", "body_swing_cm", "smoothness_sparc"):
            assert one[key] == pytest.approx(other[key], abs=0, rel=1e-12)
        assert list(one["quality"]) == other["quality"]
        assert one["start_verdict"] == other["start_verdict"]


def test_a_second_run_does_nothing_and_says_so(archive):
    folder, store, _ = archive
    before = {path: path.stat().st_mtime_ns for path in store.rglob("*") if path.name != "lock"}
    done = armarc("archive", "process", folder, "--out", store)
    assert "nothing to do" in done.stderr
    assert done.stdout == ""
    assert {path: path.stat().st_mtime_ns for path in store.rglob("*") if path.name != "lock"} == before


def test_status_and_failures_say_what_is_wrong(archive):
    _, store, first = archive
    status = run_json("status", store)
    one = status["runs"][0]
    assert (one["files"], one["measured"], one["no_reps"], one["failed"], one["known"]) == (13, 9, 1, 2, 1)
    assert one["run"] == first["run"]
    assert "13" in run("status", store).stdout
    failures = run_json("failures", store)["failures"]
    assert len(failures) == 2
    for failure in failures:
        with pytest.raises(InputError) as alone:
            read_csv(failure["path"])
        assert failure["message"] in str(alone.value)
        assert failure["stage"] == "reading"
        assert failure["hint"]
    lines = run("failures", store).stdout.splitlines()
    assert len(lines) == 3
    assert all(len(line.split("\t")) == 6 for line in lines)


def test_the_queries_of_the_help_work(archive):
    from armarc.cli.archive import PANDAS, QUERIES

    _, store, _ = archive
    first, second = (query.replace("STORE", str(store)) for query in QUERIES.split(";") if query.strip())
    groups = duckdb.sql(first).df()
    assert groups.reps.sum() == 36
    rows = duckdb.sql(second).df()
    assert len(rows) == 36
    assert rows.path.nunique() == 9
    load, describe = PANDAS.replace("STORE", str(store)).strip().split("\n")
    scope = {"pandas": pd}
    exec(load, scope)
    summary = eval(describe, scope)
    assert summary["count"].sum() <= 36
    assert {"mean", "std"} <= set(summary.columns)
    # The help folds lines where they do not fit, and must not swallow brackets as markup.
    text = "".join(run("process", "--help").stdout.split())
    for line in (*QUERIES.split(";"), *PANDAS.split("\n")):
        assert "".join(line.split()) in text


def test_a_deadly_and_an_endless_recording_stop_nothing(tmp_path):
    folder, store = fill(tmp_path / "in", 3), tmp_path / "store"
    for name in ("deadly", "endless"):
        (folder / f"{name}.csv").write_bytes(originals()[0] + name.encode())
    (tmp_path / "site").mkdir()
    faults = {"PYTHONPATH": faulty_workers(tmp_path / "site")}
    arguments = ("archive", "process", folder, "--out", store, "--workers", 2, "--time-limit", 3)
    counts = armarc_json(*arguments, **faults)["recordings"]
    assert (counts["measured"], counts["failed"]) == (3, 2)
    failures = {os.path.basename(f["path"]): f for f in run_json("failures", store)["failures"]}
    assert "SIGKILL" in failures["deadly.csv"]["message"]
    assert failures["deadly.csv"]["attempts"] == 2
    assert "within 3 s" in failures["endless.csv"]["message"]
    # Once the cause is gone they are measured, and the failures are gone.
    counts = armarc_json(*arguments, "--retry-failures")["recordings"]
    assert (counts["measured"], counts["failed"], counts["before"]) == (2, 0, 3)
    assert run_json("failures", store)["failures"] == []
    assert table(store, "files").status.tolist() == ["measured"] * 5
    assert run_json("status", store)["problems"] == []


def test_killed_now_and_then_nothing_is_lost_or_doubled(tmp_path):
    folder = fill(tmp_path / "in", 9, broken=1)
    # Small parts, so that kills fall between and into them.
    (tmp_path / "site").mkdir()
    (tmp_path / "site" / "sitecustomize.py").write_text(
        "import multiprocessing\n"
        "if multiprocessing.parent_process() is None:\n"
        "    import armarc.archive.process as process\n"
        "    process.PART_FILES = 1\n"
    )
    small = {**os.environ, "PYTHONPATH": str(tmp_path / "site")}
    store = tmp_path / "killed"
    words = command("archive", "process", folder, "--out", store, "--workers", 1)
    kills = 0
    for wait_s in (0.0, 0.006):
        running = subprocess.Popen(words, stderr=subprocess.DEVNULL, stdout=subprocess.DEVNULL, env=small)
        goal = len(list((store / "manifest").rglob("*.json"))) + 2
        until = time.monotonic() + 30
        while running.poll() is None and time.monotonic() < until:
            if len(list((store / "manifest").rglob("*.json"))) >= goal:
                time.sleep(wait_s)
                break
            time.sleep(0.002)
        kills += running.poll() is None
        running.send_signal(signal.SIGKILL)
        running.wait()
    assert kills == 2
    assert "done before" in armarc("archive", "process", folder, "--out", store, "--workers", 1).stderr
    files, reps = table(store, "files"), table(store, "reps")
    assert sorted(files.path) == sorted(str(path) for path in folder.rglob("*.csv"))
    assert files.status.value_counts().to_dict() == {"measured": 9, "failed": 1}
    assert len(reps) == 36
    assert not reps.duplicated(["sha256", "set", "rep"]).any()
    assert run_json("status", store)["problems"] == []


def test_two_processes_do_not_write_at_once(tmp_path):
    from armarc.archive.store import ArchiveStore

    folder = fill(tmp_path / "in", 1)
    with ArchiveStore.writing(tmp_path / "store"):
        done = armarc("archive", "process", folder, "--out", tmp_path / "store", code=2)
    assert "another process is writing" in done.stderr


@pytest.mark.parametrize("asked", [signal.SIGINT, *seldom(signal.SIGTERM)])
def test_interrupted_it_keeps_what_was_measured(tmp_path, asked):
    folder, store = fill(tmp_path / "in", 2), tmp_path / "store"
    (tmp_path / "site").mkdir()
    (folder / "zz").mkdir()
    last = folder / "zz" / "endless.csv"
    last.write_bytes(originals()[0] + b"endless")
    environment = {**os.environ, "PYTHONPATH": faulty_workers(tmp_path / "site")}
    # A single worker reaches the last recording when the driver has the others.
    words = command("archive", "process", folder, "--out", store, "--workers", 1)
    running = subprocess.Popen(
        words, stderr=subprocess.PIPE, text=True, env=environment, start_new_session=True
    )
    until = time.monotonic() + 60
    while time.monotonic() < until and not os.path.exists(f"{last}.reached"):
        time.sleep(0.05)
    os.killpg(running.pid, asked)
    _, talk = running.communicate(timeout=50)
    assert running.returncode == 130
    assert "what was measured is kept" in talk
    assert "Traceback" not in talk
    assert len(table(store, "files")) == 2


@pytest.mark.parametrize(
    ("words", "code", "said"),
    [
        (("process", "gone", "--out", "store"), 3, "not a folder"),
        (("process", "empty", "--out", "store"), 3, "no recording"),
        (("process", "in", "--out", "in"), 2, "holds the recordings"),
        (("process", "in", "--out", "empty/.."), 2, "is no archive"),
        (("process", "in", "--out", "store", "--exercise", "flying"), 2, "no exercise"),
        (("process", "in", "--out", "store", "--workers", "0"), 2, "workers"),
        (("process", "in", "--out", "/proc/none/store"), 1, "cannot be written"),
        (("status", "in"), 3, "no archive"),
        (("failures", "gone"), 3, "no archive"),
        (("columns", "laps"), 2, "choose from"),
    ],
)
def test_wrong_input_is_told_plainly(tmp_path, monkeypatch, words, code, said):
    (tmp_path / "empty").mkdir()
    (tmp_path / "in").mkdir()
    (tmp_path / "in" / "a.csv").write_text("x")
    monkeypatch.chdir(tmp_path)
    done = run(*words, code=code)
    assert "Traceback" not in done.stderr
    assert said in done.stderr
    assert not (tmp_path / "store" / "reps").exists()


def test_without_its_packages_it_says_how_to_get_them(tmp_path):
    (tmp_path / "in").mkdir()
    (tmp_path / "in" / "a.csv").write_text("x")
    for blocked, options, extra in (
        ("pyarrow", [], "pyarrow>="),
        ("distributed", ["--scheduler", "tcp://127.0.0.1:1"], "distributed>="),
    ):
        # None in the table of modules is Python's own way of saying that there is none of that name.
        code = (
            f"import sys; sys.modules[{blocked!r}] = None\n"
            f"sys.argv = ['armarc', 'archive', 'process', 'in', '--out', 'store', *{options!r}]\n"
            "from armarc.cli import main; main()"
        )
        done = subprocess.run(
            [sys.executable, "-c", code], cwd=tmp_path, capture_output=True, text=True, timeout=60
        )
        assert done.returncode == 2
        assert extra in done.stderr
        assert not (tmp_path / "store").exists()


def test_the_columns_are_listed():
    listed = run_json("columns")
    assert listed["schema"] == "armarc.archive/1"
    assert set(listed["tables"]) == {"reps", "sets", "files", "failures"}
    assert "start_velocity_deg_s" in run("columns", "reps").stdout


def test_a_chest_s_recording_is_measured_with_the_wrist_s_beside_it(tmp_path):
    folder, store = tmp_path / "in", tmp_path / "store"
    folder.mkdir()
    armarc("simulate", folder / "one.csv", "--sets", 1, "--reps", 3, "--seed", 4, "--chest")
    wrist, chest = (next(folder.glob(f"*{end}.csv")) for end in ("one", "chest"))
    # Names say nothing: what belongs together is in the heads.
    wrist, chest = wrist.rename(folder / "b.csv"), chest.rename(folder / "a.csv")
    alone = tmp_path / "in" / "alone"
    alone.mkdir()
    (alone / "chest.csv").write_bytes(chest.read_bytes().replace(b"0.0", b"0.1", 1))
    said = run_json("process", folder, "--out", store, "--workers", 1)["recordings"]
    assert (said["measured"], said["chest"], said["failed"], said["total"]) == (1, 1, 1, 3)
    files = table(store, "files").set_index("path")
    assert files.status[str(chest)] == "chest"
    assert files.trunk_sha256[str(wrist)] == files.sha256[str(chest)]
    (failure,) = run_json("failures", store)["failures"]
    assert "chest sensor" in failure["message"]
    beside = json.loads(armarc("process", wrist, chest, "--json").stdout)
    leans = [one["trunk_lean_deg"] for one in beside["sets"][0]["reps"]]
    assert table(store, "reps").trunk_lean_deg.tolist() == pytest.approx(leans)
    assert None not in leans
    assert run_json("process", folder, "--out", store, "--workers", 1)["did_nothing"]
    (status,) = run_json("status", store)["runs"]
    assert status["chest"] == 1
    # With two that may be the chest's, none is taken.
    (folder / "c.csv").write_bytes(chest.read_bytes())
    said = run_json("process", folder, "--out", tmp_path / "other", "--workers", 1)["recordings"]
    assert (said["measured"], said["chest"], said["failed"]) == (1, 0, 3)
