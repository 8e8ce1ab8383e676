"""Sensors at two places: how they are named, and which files belong together."""

from __future__ import annotations

import gzip
import json
import os
from pathlib import Path

import pytest

from armarc.cli.places import Worn, paired, worn_sensors
from armarc.errors import FormatError, UsageError
from armarc.recording.head import own_head


@pytest.mark.parametrize(
    ("said", "worn"),
    [
        ([""], [Worn("")]),
        (["A"], [Worn("A", "wrist")]),
        (["l", "r"], [Worn("l"), Worn("r")]),
        (["wrist=A", "chest=B"], [Worn("A"), Worn("B", "chest")]),
        (["Chest=B, wrist=A"], [Worn("B", "chest"), Worn("A")]),
        (["A", "chest=B"], [Worn("A"), Worn("B", "chest")]),
        (["a,b"], [Worn("a,b")]),
    ],
)
def test_sensors_as_they_are_named(said: list[str], worn: list[Worn]) -> None:
    assert worn_sensors(said) == worn


@pytest.mark.parametrize(
    ("said", "why"),
    [
        (["ankle=A"], "wrist and chest"),
        (["wrist="], "wrist and chest"),
        (["wrist=A,B"], "wrist and chest"),
        (["chest=A", "chest=B"], "one is enough"),
        (["chest=A"], "add --sensor wrist"),
        (["wrist=A", "chest=a"], "two different"),
        (["l", "r", "chest=B"], "two different"),
    ],
)
def test_sensors_that_do_not_go_together(said: list[str], why: str) -> None:
    with pytest.raises(UsageError) as wrong:
        worn_sensors(said)
    assert why in f"{wrong.value} {wrong.value.hint}"


def _file(path: Path, **head: str) -> Path:
    text = f"# armarc recording 1\n# {json.dumps(head)}\ntime_s,ax_m_s2\n"
    path.write_bytes(gzip.compress(text.encode()) if path.suffix == ".gz" else text.encode())
    return path


def test_files_of_one_capture_find_each_other(tmp_path: Path) -> None:
    wrist = _file(tmp_path / "a.csv", capture="1", place="wrist")
    plain = _file(tmp_path / "b.csv", capture="2")  # written before places were
    chest = _file(tmp_path / "c.csv.gz", capture="1", place="chest")
    lonely = _file(tmp_path / "d.csv", capture="3", place="chest")
    unnamed = _file(tmp_path / "e.csv", place="chest")
    found = paired([chest, wrist, plain, lonely, unnamed])
    assert found.paths == [wrist, plain, lonely, unnamed]
    assert found.chest_of == {wrist: chest}
    found.check(wrist)
    for path in (lonely, unnamed):
        with pytest.raises(FormatError, match="chest sensor"):
            found.check(path)


def test_two_wrists_of_a_capture_share_no_chest(tmp_path: Path) -> None:
    files = [
        _file(tmp_path / f"{n}.csv", capture="1", place=p) for n, p in enumerate(("wrist", "wrist", "chest"))
    ]
    assert paired(files).alone == {files[2]}


def test_heads_of_other_files_say_nothing(tmp_path: Path) -> None:
    for number, content in enumerate(
        (b"", b"time,ax\n", b"# armarc recording 1\n# {no", b"# armarc recording 1\n# [1]\n", b"\xff\xfe")
    ):
        (path := tmp_path / f"{number}.csv").write_bytes(content)
        assert own_head(path) == {}
    (damaged := tmp_path / "damaged.csv.gz").write_bytes(b"\x1f\x8b nothing")
    assert own_head(damaged) == own_head(tmp_path / "missing.csv") == own_head(tmp_path) == {}
    if hasattr(os, "mkfifo"):
        os.mkfifo(pipe := tmp_path / "pipe.csv")
        assert own_head(pipe) == {}  # and does not wait for a writer
