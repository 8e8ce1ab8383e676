"""Files made to fill a memory or never to end: refused at once, whatever they claim to be."""

from __future__ import annotations

import gzip
import json
import os
import subprocess
import sys
import zipfile
from collections.abc import Callable
from functools import cache
from pathlib import Path

import pytest
from programs import command, environment

from armarc.errors import ArmarcError, InputError
from armarc.files import LARGEST_VARIABLE, largest_recording_bytes, regular_size
from armarc.recording import read_csv
from grids import crossed, seldom

MOST_BYTES, MOST_S = 500_000_000, 2.0
RECORDINGS = Path(__file__).parents[2] / "recordings"

MEASURE = """
import json, resource, subprocess, sys
done = subprocess.run(sys.argv[1:], capture_output=True, text=True, timeout=60)
used = resource.getrusage(resource.RUSAGE_CHILDREN)
print(json.dumps([done.returncode, done.stderr, used.ru_maxrss, used.ru_utime + used.ru_stime]))
"""


def run(folder: Path, *words: object) -> tuple[int, str, int, float]:
    """Exit code, stderr, peak memory in bytes, seconds of processor time, which other work does not lengthen."""
    done = subprocess.run(
        [sys.executable, "-c", MEASURE, *command(*words)],
        capture_output=True,
        text=True,
        timeout=90,
        env=environment(folder),
    )
    code, said, kilobytes, seconds = json.loads(done.stdout)
    return code, said, 1024 * kilobytes, seconds


@pytest.fixture(scope="module")
def start_s(tmp_path_factory: pytest.TempPathFactory) -> float:
    """What the program takes to refuse what is plainly nothing, on this machine."""
    folder = tmp_path_factory.mktemp("start")
    (folder / "empty.csv").touch()
    return min(run(folder, "process", folder / "empty.csv")[3] for _ in range(2))


def sparse(path: Path, size: int, head: bytes = b"") -> Path:
    with path.open("wb") as stream:
        stream.write(head)
        stream.truncate(size)
    return path


def fifo(path: Path) -> Path:
    os.mkfifo(path)
    return path


def bomb(path: Path) -> Path:
    """Two megabytes that unpack to two gigabytes."""
    block = gzip.compress(b"0,0,0,9.81,0,0,0\n" * (1 << 20), 9)
    path.write_bytes(block * (2_000_000_000 // (17 << 20)))
    return path


MAKERS: dict[str, Callable[[Path], Path]] = {
    "zeros.csv": lambda path: Path("/dev/zero"),
    "pipe.csv": fifo,
    "sparse.csv": lambda path: sparse(path, 7_000_000_000, b"time_s,ax\n"),
    "sparse_small.csv": lambda path: sparse(path, 900_000_000),
    "sparse_wide.csv": lambda path: sparse(path, 900_000_000, b"\xff\xfea\x00,\x00b\x00\n\x00"),
    "bomb.csv.gz": bomb,
}


@pytest.mark.parametrize(
    ("name", "how"), crossed(list(MAKERS), ["process", "log import", "archive process"], fold=3)
)
def test_refused_at_once_and_in_little_memory(tmp_path: Path, start_s: float, name: str, how: str) -> None:
    if name == "pipe.csv" and not hasattr(os, "mkfifo"):
        pytest.skip("no named pipes on this system")
    folder = tmp_path / "in"
    folder.mkdir()
    path = MAKERS[name](folder / name)
    words: tuple[object, ...] = (*how.split(), path)
    if how == "archive process":
        if path.parent != folder:
            pytest.skip("an archive looks only at files in a folder")
        pytest.importorskip("pyarrow", reason="the extra 'archive' is not installed")
        words = (*how.split(), folder, "--out", tmp_path / "store", "--workers", "1")
    code, said, peak, seconds = run(tmp_path, *words)
    assert "Traceback" not in said
    assert peak < MOST_BYTES
    if how != "archive process":
        assert code == 3, said
        assert seconds < start_s + MOST_S


def zipped(path: Path, parts: dict[str, bytes], method: int = zipfile.ZIP_DEFLATED) -> Path:
    manifest = {"format": "armarc.backup/1", "sha256": dict.fromkeys(parts, "0" * 64)}
    with zipfile.ZipFile(path, "w", method, compresslevel=1) as archive:
        for name, content in parts.items():
            archive.writestr(name, content)
        archive.writestr("manifest.json", json.dumps(manifest))
    return path


@pytest.mark.parametrize("which", ["one part", "many parts", "another method", "manifest"])
def test_a_backup_that_is_a_bomb(tmp_path: Path, start_s: float, which: str) -> None:
    path = tmp_path / "b.zip"
    zeros = b"\0" * 200_000_000
    if which == "one part":
        zipped(path, {"log.sqlite": zeros * 2})
    elif which == "many parts":
        zipped(path, {"log.sqlite": b"x", **{f"recordings/{n:064x}.csv": zeros for n in range(3)}})
    elif which == "another method":
        zipped(path, {"log.sqlite": zeros[:10_000_000]}, zipfile.ZIP_LZMA)
    else:
        with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED, compresslevel=1) as archive:
            archive.writestr("manifest.json", b"[" * 100_000_000)
    code, said, peak, seconds = run(tmp_path, "log", "restore", path, "--log-file", tmp_path / "new.sqlite")
    assert code == 5, said
    assert "Traceback" not in said
    assert peak < MOST_BYTES
    assert seconds < start_s + MOST_S


def test_a_description_that_is_a_pipe_or_enormous(tmp_path: Path, start_s: float) -> None:
    for path in (Path("/dev/zero"), sparse(tmp_path / "r.toml", 3_000_000_000)):
        link = tmp_path / f"link{path.name}.toml"
        link.symlink_to(path)
        code, said, peak, seconds = run(tmp_path, "resist", link)
        assert code in (2, 3), said
        assert "Traceback" not in said
        assert peak < MOST_BYTES
        assert seconds < start_s + MOST_S


def test_what_is_allowed_can_be_moved(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = sparse(tmp_path / "a.csv", 3 << 20)
    monkeypatch.setenv(LARGEST_VARIABLE, "2")
    assert largest_recording_bytes() == 2 << 20
    with pytest.raises(InputError, match=LARGEST_VARIABLE):
        regular_size(path, largest_recording_bytes())
    monkeypatch.setenv(LARGEST_VARIABLE, "many")
    with pytest.raises(ArmarcError, match="no size"):
        read_csv(path)


LARGE_ROWS = 100_000


@cache
def large_text() -> str:
    """More than is kept in memory, in few rows of long cells."""
    head = "time_s,ax_m_s2,ay_m_s2,az_m_s2,gx_rad_s,gy_rad_s,gz_rad_s\n"
    end = f"0.2,0.3{'0' * 640}\n"
    text = head + "".join(
        f"{k / 100:.2f},0.1234567,0.2,9.8{k % 10},0.{k % 7},{end}" for k in range(LARGE_ROWS)
    )
    assert len(text) > 64 << 20
    return text


@pytest.mark.parametrize("kind", ["two members", "utf-16-le", "latin-1", *seldom("gzip", "utf-16")])
def test_large_packed_and_recoded_recordings_are_read_as_before(tmp_path: Path, kind: str) -> None:
    """Above the size that is kept in memory, the text goes through a file nobody sees."""
    import numpy as np

    text = large_text()
    path = tmp_path / ("a.csv.gz" if kind in ("gzip", "two members") else "a.csv")
    if kind == "gzip":
        path.write_bytes(gzip.compress(text.encode(), 1))
    elif kind == "two members":
        half = len(text) // 2
        path.write_bytes(gzip.compress(text[:half].encode(), 1) + gzip.compress(text[half:].encode(), 1))
    elif kind == "latin-1":
        path.write_bytes((text + "# 5 °\n").encode("latin-1"))
    else:
        path.write_bytes(text.encode(kind))
    recording = read_csv(path)
    assert len(recording.time_s) == LARGE_ROWS
    assert np.all(recording.specific_force_m_s2[:, 0] == 0.1234567)
