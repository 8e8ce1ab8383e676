"""What is read is never written over, whatever it is called; nor anything armarc did not make."""

from __future__ import annotations

import contextlib
import hashlib
import os
import shutil
from collections.abc import Callable
from pathlib import Path

import pytest
from programs import run_here as run

from armarc.errors import UsageError
from armarc.outputs import BACKUP, JSON, PAGE, PICTURE, TABLE, Guard

RECORDINGS = Path(__file__).parents[2] / "recordings"


def state(folder: Path) -> dict[str, str]:
    """Hash of every file of a folder, except what the database keeps for itself."""
    return {
        str(path.relative_to(folder)): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sorted(folder.rglob("*"))
        if path.is_file() and not path.name.endswith(("-wal", "-shm"))
    }


@pytest.fixture(scope="module")
def logged(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("kept")
    shutil.copy(RECORDINGS / "strict-raise.csv", folder / "a.csv")
    done = run(folder, "process", folder / "a.csv", "--log")
    assert done.returncode == 0, done.stderr
    return folder


@pytest.fixture
def place(logged: Path, tmp_path: Path) -> Path:
    shutil.copytree(logged, tmp_path / "p")
    folder = tmp_path / "p"
    os.symlink(folder / "a.csv", folder / "link.csv")
    os.link(folder / "a.csv", folder / "second.csv")
    (folder / "sub").mkdir()
    (folder / "mine.csv").write_text("holiday,costs\n1,2\n")
    (folder / "mine.html").write_text("<!doctype html><p>mine</p>")
    (folder / "mine.png").write_bytes(b"\x89PNG\r\n\x1a\nmine")
    (folder / "mine.zip").write_bytes(b"PK mine")
    return folder


@pytest.mark.parametrize(
    "words",
    [
        "process a.csv --csv a.csv",
        "process a.csv --csv link.csv",
        "process a.csv --csv second.csv",
        "process a.csv --csv sub/../a.csv",
        "process a.csv --csv a.csv --force",
        "process link.csv --csv a.csv --force",
        "process a.csv --csv log.sqlite",
        "process a.csv --csv log.sqlite --force",
        "process a.csv --csv mine.csv",
        "process a.csv --plot mine.png",
        "log export log.sqlite --format csv",
        "log export log.sqlite --format csv --force",
        "log export log.sqlite-wal --format csv --force",
        "log export mine.csv",
        "report last --out log.sqlite",
        "report last --out log.sqlite --force",
        "report last --out mine.html",
        "report last --out log-recordings/x.html --force",
        "log backup log.sqlite --yes",
        "log backup log.sqlite --yes --force",
        "log backup mine.zip --yes",
        "trend rom_deg --plot mine.png",
        "resist --plot mine.png",
        "line-of-pull --plot mine.png",
        "simulate a.csv",
    ],
)
def test_nothing_there_is_changed(place: Path, words: str) -> None:
    before = state(place)
    names = {path.name for path in place.iterdir()} | {"log.sqlite-wal"}
    done = run(
        place, *(place / w if w.split("/")[0] in names or w.startswith("sub/") else w for w in words.split())
    )
    assert done.returncode == 2, done.stdout + done.stderr
    assert "Traceback" not in done.stderr
    assert state(place) == before


def test_an_older_output_of_ours_is_renewed_and_force_does_the_rest(place: Path) -> None:
    for _ in range(2):
        for words in (
            ("process", place / "a.csv", "--csv", place / "reps.csv", "--plot", place / "p.png"),
            ("resist", "--plot", place / "p.svg"),
            ("line-of-pull", "--plot", place / "p.pdf"),
            ("log", "export", place / "e.csv"),
            ("log", "export", place / "e.json"),
            ("log", "export", place / "e.parquet"),
            ("log", "backup", place / "b.zip", "--yes"),
            ("report", "last", "--out", place / "r.html"),
        ):
            done = run(place, *words)
            assert done.returncode == 0, done.stderr
    assert run(place, "process", place / "a.csv", "--csv", place / "mine.csv", "--force").returncode == 0
    assert (place / "mine.csv").read_text().startswith("file,set,")


def test_no_kind_takes_another_for_its_own(place: Path) -> None:
    run(place, "process", place / "a.csv", "--csv", place / "reps.csv", "--plot", place / "p.png")
    run(place, "report", "last", "--out", place / "r.html")
    run(place, "log", "backup", place / "b.zip", "--yes")
    run(place, "log", "export", place / "e.json")
    made = {"reps.csv": TABLE, "p.png": PICTURE, "r.html": PAGE, "b.zip": BACKUP, "e.json": JSON}
    for name in [*made, "a.csv", "log.sqlite", "mine.csv", "mine.png", "mine.zip"]:
        for kind in made.values():
            assert kind.is_ours(place / name) == (made.get(name) is kind), (name, kind.name)


def test_a_failure_leaves_what_was_there(tmp_path: Path) -> None:
    path = tmp_path / "t.csv"
    path.write_text("file,set,rep\nold\n")
    with contextlib.suppress(ZeroDivisionError), Guard().open(path, TABLE) as stream:
        stream.write(b"half")
        raise ZeroDivisionError
    assert path.read_text() == "file,set,rep\nold\n"
    assert os.listdir(tmp_path) == ["t.csv"]


def test_a_link_is_followed_and_a_folder_and_a_device_are_not_replaced(tmp_path: Path) -> None:
    (tmp_path / "real.csv").write_text("")
    os.symlink(tmp_path / "real.csv", tmp_path / "link.csv")
    with Guard().open(tmp_path / "link.csv", TABLE) as stream:
        stream.write(b"file,set,\n")
    assert (tmp_path / "link.csv").is_symlink()
    assert (tmp_path / "real.csv").read_bytes() == b"file,set,\n"
    with pytest.raises(UsageError, match="folder"):
        Guard().check(tmp_path, TABLE)
    null: Callable[[], os.stat_result] = lambda: os.stat("/dev/null")  # noqa: E731
    before = null().st_ino
    with Guard().open("/dev/null", TABLE) as stream:
        stream.write(b"x")
    assert null().st_ino == before
