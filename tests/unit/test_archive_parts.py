"""The archive's parts: schema, hashes, finding files, measuring one recording."""

import os
import threading
from dataclasses import replace

import numpy as np
import pytest

from armarc.api import Kept, MeasuringOptions, process
from armarc.archive import cluster
from armarc.archive.discover import DigestSet, digest_of, find_recordings, printable
from armarc.archive.measuring import ArchiveTask, failed, measure_task
from armarc.archive.schema import REP_COLUMNS, SCHEMA, TABLES
from armarc.archive.setup import make_setup
from armarc.choices import choose
from armarc.errors import InputError, UsageError
from armarc.pipeline import measure
from armarc.recording import read_csv
from armarc.settings import Settings
from invented_archive import originals


@pytest.fixture(scope="module")
def recording_path(tmp_path_factory):
    path = tmp_path_factory.mktemp("one") / "one.csv"
    path.write_bytes(originals()[1])
    return path


def _task(path):
    known = os.stat(path)
    return ArchiveTask(str(path), known.st_size, known.st_mtime_ns)


def test_the_rep_columns_are_the_published_keys_in_order(recording_path):
    recording = read_csv(recording_path)
    result = measure(recording, choose(recording.metadata), load=False).to_dict()
    assert [column.name for column in REP_COLUMNS] == list(result["sets"][0]["reps"][0])


def test_every_key_of_a_summary_has_a_column(recording_path):
    summary = set(process(read_csv(recording_path)).to_dict()["sets"][0]["summary"])
    columns = {column.name for column in TABLES["sets"]}
    assert summary - columns == {"in_band"}
    assert {"in_band_count", "in_band_share"} <= columns


def test_every_row_fits_its_table_and_every_column_says_what_it_means(recording_path):
    outcome = measure_task(_task(recording_path), make_setup())
    bad = measure_task(ArchiveTask("/nowhere/x.csv", -1, -1), make_setup())
    rows = {
        "reps": outcome.reps,
        "sets": outcome.sets,
        "files": [outcome.file, bad.file],
        "failures": [bad.failure],
    }
    for name, found in rows.items():
        assert found
        names = [column.name for column in TABLES[name]]
        assert len(set(names)) == len(names)
        assert all(set(row) <= set(names) for row in found)
        assert all(column.meaning for column in TABLES[name])
        assert set().union(*found) == set(names), f"{name} has columns that nothing fills"


def test_one_recording_gives_the_numbers_of_the_one_road(recording_path):
    options = {"side": "left", "band_deg_s": (40, 60), "reach_cm": 55, "gate_deg": (8, 18)}
    outcome = measure_task(_task(recording_path), make_setup(MeasuringOptions.of(options)))
    expected = process(read_csv(recording_path), **options).to_dict()
    found = [{key: row[key] for key in (c.name for c in REP_COLUMNS)} for row in outcome.reps]
    known = [
        {key: value for key, value in rep.items() if key in found[0]} for rep in expected["sets"][0]["reps"]
    ]
    assert found == known  # shoulder moments are not part of an archive
    assert outcome.file["sha256"] == expected["source"]["sha256"]
    assert (outcome.reps[0]["band_low_deg_s"], outcome.reps[0]["gate_high_deg"]) == (40, 18)


def test_a_fault_of_the_program_is_a_failure_with_its_place(recording_path, monkeypatch):
    def burst(*_, **__):
        raise ZeroDivisionError("a fault")

    monkeypatch.setattr("armarc.pipeline.measure", burst)
    failure = measure_task(_task(recording_path), make_setup()).failure
    assert (failure["stage"], failure["error"]) == ("measuring", "ZeroDivisionError")
    assert "burst" in failure["detail"]
    assert failure["sha256"]


def test_the_run_changes_with_whatever_changes_the_numbers():
    plain = make_setup()
    others = [
        make_setup(MeasuringOptions(side="left")),
        make_setup(reading={"units": "gyroscope=deg/s"}),
        make_setup(kept=Kept(settings=Settings(options=MeasuringOptions(load_kg=5.0)))),
        replace(plain, catalogue={k: v for k, v in plain.catalogue.items() if k != "front-raise"}),
    ]
    assert len({plain.run, *(one.run for one in others)}) == 5
    assert make_setup(MeasuringOptions()).run == plain.run
    assert plain.run[0] == "r"


@pytest.mark.parametrize(
    ("options", "reading"),
    [
        ({"exercise": "no such lift"}, {}),
        ({"side": "up"}, {}),
        ({"fusion": "magic"}, {}),
        ({"mounting": "x"}, {}),
        ({"strap": "x"}, {}),
        ({"hand_axis": "x"}, {}),
        ({"gate_deg": (20, 10)}, {}),
        ({}, {"axes": "x,x,y"}),
        ({}, {"units": "gyroscope=parsec"}),
        ({}, {"gravity_sign": "up"}),
    ],
)
def test_options_are_checked_before_any_file_is_touched(options, reading):
    with pytest.raises(UsageError):
        make_setup(MeasuringOptions.of(options), reading)


def test_a_digest_set_is_a_set(monkeypatch):
    monkeypatch.setattr("armarc.archive.discover._MERGE_AT", 7)
    digests = [digest_of(number) for number in range(60)]
    # Two hashes that share their first half must be told apart.
    digests += [digests[3][:8] + bytes(8), digests[3][:8] + bytes(7) + b"\1"]
    found = DigestSet()
    found.update(digests[:30])
    found.update(digests[::2])
    expected = set(digests[:30]) | set(digests[::2])
    assert len(found) == len(expected)
    assert all((digest in found) == (digest in expected) for digest in digests)


def test_a_digest_set_keeps_sixteen_bytes_each(monkeypatch):
    monkeypatch.setattr("armarc.archive.discover._MERGE_AT", 5000)
    rng = np.random.default_rng(1)
    found = DigestSet()
    found.update(rng.bytes(16) for _ in range(20_000))
    assert len(found) == 20_000
    assert found._words.nbytes == 20_000 * 16
    assert not found._new


def test_finding_is_sorted_deep_and_leaves_the_archive_out(tmp_path):
    for name in (
        "b/2.csv",
        "a.txt",
        "b/1.tsv.gz",
        "b/c/x.CSV",
        ".hidden.csv",
        ".bin/old.csv",
        "store/reps.csv",
        "p.png",
    ):
        path = tmp_path / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text("x")
    os.symlink(tmp_path, tmp_path / "circle")
    os.symlink(tmp_path / "gone", tmp_path / "dangling.csv")
    found = list(find_recordings(tmp_path, leave_out=tmp_path / "store"))
    names = [os.path.relpath(one.path, tmp_path) for one in found]
    assert names == ["a.txt", "dangling.csv", "b/1.tsv.gz", "b/2.csv", "b/c/x.CSV"]
    assert [one.size for one in found] == [1, -1, 1, 1, 1]
    with pytest.raises(InputError, match="not a folder"):
        list(find_recordings(tmp_path / "a.txt"))


def test_a_path_that_is_no_text_becomes_text():
    assert printable(os.fsdecode(b"/a/\xff.csv")) == "/a/\\xff.csv"


def test_the_schema_is_in_every_parquet_file():
    pytest.importorskip("pyarrow")
    from armarc.archive.schema import arrow_schema

    schema = arrow_schema("reps")
    assert schema.metadata[b"armarc.schema"] == SCHEMA.encode()
    assert schema.field("rom_deg").metadata[b"meaning"] == b"range of motion, top minus bottom"


def test_a_recording_that_hangs_on_a_cluster_is_given_up(monkeypatch, tmp_path):
    path = tmp_path / "one.csv"
    path.write_text("nothing")
    setup, task = make_setup(), ArchiveTask(str(path), 7, 0)
    goes_on = threading.Event()

    def hang(task, setup):
        goes_on.wait(30)
        return failed(task, setup, "reading", ValueError("woken up"))

    monkeypatch.setattr(cluster, "measure_task", hang)
    slow = cluster.measure_within(task, setup, 0.05)
    assert slow.failure["message"] == "not measured within 0.05 s"
    assert "--time-limit" in slow.failure["hint"]
    goes_on.set()
    assert "woken up" in cluster.measure_within(task, setup, 30.0).failure["message"]
