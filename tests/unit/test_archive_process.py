"""Going on where one stopped, retrying, and dying at every single step, with the pool replaced by a plain loop."""

import os

import pandas as pd
import pytest

from armarc.api import MeasuringOptions
from armarc.archive import process as road
from armarc.archive.measuring import Outcome, failed, sha256_of_file
from armarc.archive.setup import make_setup
from armarc.archive.status import archive_status, list_failures
from armarc.archive.store import ArchiveStore
from armarc.errors import ArmarcError, FormatError, InputError, UsageError

pytest.importorskip("pyarrow", reason="an archive needs pyarrow")
SETUP = make_setup()
TABLES = ("reps", "sets", "files", "failures")


def plain_pool(tasks, setup, **_):
    """Answer for invented files: ``bad…`` fail, the others hold as many reps as they have bytes."""
    for task in tasks:
        sha256 = sha256_of_file(task.path)
        if os.path.basename(task.path).startswith("bad"):
            yield failed(task, setup, "reading", FormatError("no table", "export it again"), sha256)
            continue
        stamp = {"armarc_version": "0", "settings_sha256": setup.settings_sha256}
        which = {"sha256": sha256, "set": 1, **stamp}
        yield Outcome(
            file={
                "path": task.path,
                "bytes": task.size,
                "modified_ns": task.modified_ns,
                "sha256": sha256,
                "status": "measured",
                "seconds": 0.1,
                "duration_s": 36.0,
                **stamp,
            },
            sets=[which | {"reps": task.size}],
            reps=[which | {"rep": number + 1, "quality": ["gap"]} for number in range(task.size)],
        )


@pytest.fixture(autouse=True)
def no_processes(monkeypatch):
    monkeypatch.setattr(road, "run_locally", plain_pool)


@pytest.fixture
def folder(tmp_path):
    place = tmp_path / "in"
    place.mkdir()
    for number in range(1, 6):
        (place / f"{number}.csv").write_text("x" * number)
    (place / "bad.csv").write_text("bad")
    return place


def run(folder, store, setup=SETUP, **more):
    return road.process_archive(folder, store, setup, **more)


def counts(result):
    p = result.progress
    return p.measured, p.failed, p.known, p.before


def table(store, name):
    path = store / name
    if not any(path.rglob("*.parquet")):
        return pd.DataFrame()
    frame = pd.read_parquet(path)
    keys = [key for key in ("path", "sha256", "set", "rep") if key in frame]
    return frame.sort_values(keys).reset_index(drop=True)


def problems(store):
    return archive_status(ArchiveStore.open(store))["problems"]


def test_new_recordings_are_added_and_old_ones_left_alone(folder, tmp_path):
    store = tmp_path / "store"
    assert counts(run(folder, store)) == (5, 1, 0, 0)
    (folder / "6.csv").write_text("y" * 6)
    assert counts(run(folder, store)) == (1, 0, 0, 6)
    assert run(folder, store).did_nothing
    assert len(table(store, "reps")) == 1 + 2 + 3 + 4 + 5 + 6


def test_touched_renamed_and_copied_recordings_are_known(folder, tmp_path):
    store = tmp_path / "store"
    run(folder, store)
    os.utime(folder / "1.csv", (1, 1))
    os.rename(folder / "2.csv", folder / "other.csv")
    (folder / "3b.csv").write_text("xxx")
    assert counts(run(folder, store)) == (0, 0, 3, 4)
    assert len(table(store, "reps")) == 15


def test_copies_within_one_run_are_measured_once(tmp_path):
    place = tmp_path / "in"
    place.mkdir()
    for name in "abc":
        (place / f"{name}.csv").write_text("xx")
    assert counts(run(place, tmp_path / "store")) == (1, 0, 2, 0)
    assert len(table(tmp_path / "store", "reps")) == 2
    assert sorted(table(tmp_path / "store", "files").status) == ["known", "known", "measured"]


def test_other_bytes_behind_the_same_size_and_date(folder, tmp_path):
    store = tmp_path / "store"
    run(folder, store)
    was = (folder / "4.csv").stat()
    (folder / "4.csv").write_text("zzzz")
    os.utime(folder / "4.csv", ns=(was.st_atime_ns, was.st_mtime_ns))
    assert run(folder, store).did_nothing
    assert counts(run(folder, store, check_bytes=True)) == (1, 0, 0, 5)


def test_other_settings_are_another_run(folder, tmp_path):
    store = tmp_path / "store"
    first = run(folder, store)
    second = run(folder, store, make_setup(MeasuringOptions.of({"band_deg_s": (50, 80)})))
    assert second.progress.measured == 5
    status = archive_status(ArchiveStore.open(store))
    assert {one["run"] for one in status["runs"]} == {first.run, second.run}
    assert table(store, "reps").groupby("run", observed=True).size().to_dict() == {
        first.run: 15,
        second.run: 15,
    }
    assert status["runs"][0]["hours"] == pytest.approx(0.05)


def test_another_version_is_another_run(folder, tmp_path, monkeypatch):
    store = tmp_path / "store"
    run(folder, store)
    monkeypatch.setattr("armarc.archive.setup.__version__", "99")
    assert counts(run(folder, store)) == (5, 1, 0, 0)


def test_failures_are_tried_again_on_demand(folder, tmp_path):
    store = tmp_path / "store"
    run(folder, store)
    assert counts(run(folder, store, retry_failures=True)) == (0, 1, 0, 5)
    assert len(list(list_failures(ArchiveStore.open(store)))) == 1
    os.rename(folder / "bad.csv", folder / "good.csv")
    assert counts(run(folder, store, retry_failures=True)) == (1, 0, 0, 5)
    assert list(list_failures(ArchiveStore.open(store))) == []
    assert table(store, "files").path.is_unique
    assert problems(store) == []


def test_an_unreadable_file_is_a_failure(folder, tmp_path):
    store = tmp_path / "store"
    run(folder, store)
    os.symlink(tmp_path / "gone", folder / "dangling.csv")
    assert counts(run(folder, store)) == (0, 1, 0, 6)
    (failure,) = [f for f in list_failures(ArchiveStore.open(store)) if f["path"].endswith("dangling.csv")]
    assert (failure["stage"], failure["sha256"]) == ("reading", None)
    assert "No such file" in failure["message"]
    assert run(folder, store).did_nothing


class Killed(BaseException):
    """Stands for the end of the process."""


def test_dying_at_every_step_loses_and_doubles_nothing(folder, tmp_path, monkeypatch):
    """The process ends before the n-th step that changes the disk for good, for every n; then it is run again."""
    monkeypatch.setattr(road, "PART_FILES", 2)
    whole = tmp_path / "whole"
    run(folder, whole)
    wanted = {name: table(whole, name) for name in TABLES}
    real_replace, real_unlink = os.replace, os.unlink
    steps = 0
    for last in range(200):
        store = tmp_path / f"store{last}"
        left = [last]

        def counted(real, left=left):
            def step(*arguments, **more):
                if left[0] == 0:
                    raise Killed
                left[0] -= 1
                return real(*arguments, **more)

            return step

        with monkeypatch.context() as patch:
            patch.setattr(os, "replace", counted(real_replace))
            patch.setattr(os, "unlink", counted(real_unlink))
            try:
                run(folder, store)
                run(folder, store, retry_failures=True)
                finished = True
            except Killed:
                finished = False
        if finished:
            break
        steps += 1
        run(folder, store)
        for name in TABLES:
            pd.testing.assert_frame_equal(table(store, name), wanted[name])
        assert problems(store) == []
        assert run(folder, store).did_nothing
    assert finished
    # archive.json, the run, three parts of at least three files each, and the retry.
    assert steps >= 14


def test_a_full_disk_is_told_and_what_is_complete_is_kept(folder, tmp_path, monkeypatch):
    monkeypatch.setattr(road, "PART_FILES", 2)
    store = tmp_path / "store"
    real, left = os.fsync, [12]

    def full(handle):
        left[0] -= 1
        if left[0] < 0:
            raise OSError(28, "No space left on device")
        return real(handle)

    with monkeypatch.context() as patch:
        patch.setattr("armarc.archive.store.os.fsync", full)
        patch.setattr("armarc.files.flush_folder", lambda _: None)
        with pytest.raises(ArmarcError, match="No space left"):
            run(folder, store)
    kept = len(table(store, "files"))
    assert 0 < kept < 6
    result = run(folder, store)
    assert result.progress.before >= 2
    assert len(table(store, "reps")) == 15


def test_damage_is_found(folder, tmp_path):
    store = tmp_path / "store"
    run(folder, store)
    path = next((store / "sets").rglob("*.parquet"))
    content = path.read_bytes()
    path.write_bytes(content[:-20])
    assert "cannot be read" in problems(store)[0]
    path.unlink()
    assert "is missing" in problems(store)[0]
    path.write_bytes(content)
    assert problems(store) == []


def test_a_folder_that_is_no_archive_is_not_touched(folder, tmp_path):
    (tmp_path / "mine").mkdir()
    (tmp_path / "mine" / "thesis.txt").write_text("x")
    with pytest.raises(UsageError, match="no archive"):
        run(folder, tmp_path / "mine")
    assert os.listdir(tmp_path / "mine") == ["thesis.txt"]


def test_memory_of_the_writer_is_bounded(tmp_path, monkeypatch):
    """Rows leave the memory with every part: six hundred recordings take no more than a hundred."""
    import tracemalloc

    monkeypatch.setattr(road, "PART_FILES", 50)

    def peak(count):
        place = tmp_path / f"in{count}"
        place.mkdir()
        for number in range(count):
            (place / f"{number:05d}.csv").write_text(f"{number:05d}" * 4)
        tracemalloc.start()
        run(place, tmp_path / f"store{count}")
        _, most = tracemalloc.get_traced_memory()
        tracemalloc.stop()
        return most

    peak(20)
    assert peak(600) < 1.6 * peak(100) + 200_000


def test_a_folder_that_cannot_be_listed_is_a_failure_and_stops_nothing(folder, tmp_path, monkeypatch):
    (folder / "lost").mkdir()
    listed = os.scandir

    def denied(place):
        if os.path.basename(place) == "lost":
            raise PermissionError(13, "Permission denied", place)
        return listed(place)

    monkeypatch.setattr(os, "scandir", denied)
    out = tmp_path / "out"
    done = road.process_archive(folder, out, SETUP).progress
    assert (done.total, done.measured, done.failed) == (7, 5, 2)
    told = {os.path.basename(row["path"]): row for row in list_failures(ArchiveStore.open(out))}
    assert told["lost"]["stage"] == "finding"
    assert told["lost"]["message"] == "the folder cannot be listed: Permission denied"
    assert road.process_archive(folder, out, SETUP).did_nothing
    monkeypatch.setattr(os, "scandir", listed)
    (folder / "lost" / "6.csv").write_text("x" * 6)
    again = road.process_archive(folder, out, SETUP, retry_failures=True).progress
    assert (again.measured, again.failed) == (1, 1)
    assert [os.path.basename(row["path"]) for row in list_failures(ArchiveStore.open(out))] == ["bad.csv"]
    monkeypatch.setattr(os, "scandir", denied)
    with pytest.raises(InputError, match="cannot be listed: Permission denied"):
        road.process_archive(folder / "lost", tmp_path / "other", SETUP)


def test_a_recording_that_grew_is_measured_again_and_said(folder, tmp_path):
    out = tmp_path / "out"
    assert road.process_archive(folder, out, SETUP).progress.changed == 0
    (folder / "2.csv").write_text("y" * 9)
    (folder / "moved.csv").write_text("x" * 3)
    done = road.process_archive(folder, out, SETUP).progress
    assert (done.measured, done.known, done.changed) == (1, 1, 1)
    assert road.process_archive(folder, out, SETUP).progress.changed == 0
