"""Parts of an archive are damaged, cut or deleted: the next run finds it and measures their recordings again."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from pathlib import Path

import pytest
from programs import run_here as run

from armarc.recording import write_csv
from grids import seldom
from live_runs import recording

pytest.importorskip("pyarrow", reason="the extra 'archive' is not installed")


def rows(store: Path, table: str) -> list[tuple[object, ...]]:
    import pyarrow.parquet as parquet

    found = []
    for path in sorted((store / table).glob("run=*/part-*.parquet")):
        for row in parquet.ParquetFile(path).read().to_pylist():
            found.append(tuple(v for k, v in sorted(row.items()) if k not in ("seconds", "status", "path")))
    return sorted(found, key=repr)


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """An archive in three parts: two recordings, a copy of the first, and one more."""
    place = tmp_path_factory.mktemp("archive")
    folder = place / "in"
    folder.mkdir()
    for number in range(3):
        one, _ = recording(number + 1, reps=3)
        write_csv(one, folder / f"b{number}.csv")
        if number == 1:
            shutil.copy(folder / "b0.csv", folder / "c.csv")
        done = run(place, "archive", "process", folder, "--out", place / "store", "--workers", "1")
        assert done.returncode == 0, done.stderr
    return place


def cut(path: Path) -> None:
    path.write_bytes(path.read_bytes()[:-40])


def flip(path: Path) -> None:
    content = bytearray(path.read_bytes())
    content[len(content) // 3] ^= 0x40
    path.write_bytes(bytes(content))


def nest(path: Path) -> None:
    path.write_text("[" * 100_000)


DAMAGE: dict[str, tuple[str, Callable[[Path], None]]] = {
    "reps gone": ("reps/*/part-000001.parquet", Path.unlink),
    "files gone": ("files/*/part-000001.parquet", Path.unlink),
    "sets cut": ("sets/*/part-000001.parquet", cut),
    "files cut": ("files/*/part-000002.parquet", cut),
    "reps flipped": ("reps/*/part-000003.parquet", flip),
    "sets overwritten": ("sets/*/part-000001.parquet", lambda path: path.write_bytes(b"x" * 5000) and None),
    "manifest gone": ("manifest/*/part-000001.json", Path.unlink),
    "manifest nested": ("manifest/*/part-000002.json", nest),
}


BESIDE = ("files gone", "sets cut", "sets overwritten", "manifest nested")
"""What is found as another damage is: by a part that is missing, by its size, by its bytes."""


@pytest.mark.parametrize("which", [*(one for one in DAMAGE if one not in BESIDE), *seldom(*BESIDE)])
def test_the_next_run_measures_again_what_is_damaged(made: Path, tmp_path: Path, which: str) -> None:
    shutil.copytree(made / "store", tmp_path / "store")
    before = {table: rows(made / "store", table) for table in ("sets", "reps")}
    pattern, damage = DAMAGE[which]
    (path,) = (tmp_path / "store").glob(pattern)
    damage(path)
    words = ("archive", "process", made / "in", "--out", tmp_path / "store", "--workers", "1")
    done = run(tmp_path, *words)
    assert done.returncode == 0, done.stderr
    assert "Traceback" not in done.stderr
    assert {table: rows(tmp_path / "store", table) for table in ("sets", "reps")} == before
    again = run(tmp_path, *words)
    assert "nothing to do" in again.stdout + again.stderr
    status = run(tmp_path, "archive", "status", tmp_path / "store")
    assert status.returncode == 0, status.stdout + status.stderr


def test_bytes_known_only_from_a_damaged_part_are_measured_from_where_they_still_are(
    made: Path, tmp_path: Path
) -> None:
    shutil.copytree(made / "store", tmp_path / "store")
    shutil.copytree(made / "in", tmp_path / "in")
    (tmp_path / "in" / "b0.csv").unlink()
    before = rows(made / "store", "reps")
    next((tmp_path / "store").glob("reps/*/part-000001.parquet")).unlink()
    done = run(tmp_path, "archive", "process", tmp_path / "in", "--out", tmp_path / "store", "--workers", "1")
    assert done.returncode == 0, done.stderr
    assert len(rows(tmp_path / "store", "reps")) == len(before)


def test_nesting_without_end_is_said_plainly(made: Path, tmp_path: Path) -> None:
    shutil.copytree(made / "store", tmp_path / "store")
    nest(next((tmp_path / "store" / "runs").glob("*.json")))
    done = run(tmp_path, "archive", "status", tmp_path / "store")
    assert done.returncode == 3, done.stderr
    assert "Traceback" not in done.stderr
    assert "restore it" in done.stderr
