"""Sensors at two places: how they are named, and which files belong together."""

from __future__ import annotations

import gzip
import json
import os
from pathlib import Path

import pytest

from armarc.cli.capturing import file_plans, stream_options
from armarc.cli.places import Worn, files_of, sensors_text, with_sides, worn_sensors
from armarc.errors import FormatError, UsageError
from armarc.recording.captures import FORWARD, own_head, paired
from armarc.sensor.remembered import Remembered


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
        (["left=A,right=B"], [Worn("A", "wrist", "left"), Worn("B", "wrist", "right")]),
    ],
)
def test_sensors_as_they_are_named(said: list[str], worn: list[Worn]) -> None:
    assert worn_sensors(said) == worn


@pytest.mark.parametrize(
    ("said", "why"),
    [
        (["ankle=A"], "places are wrist, chest, right, left"),
        (["wrist="], "places are wrist, chest, right, left"),
        (["wrist=A,B"], "places are wrist, chest, right, left"),
        (["chest=A", "chest=B"], "one is enough"),
        (["chest=A"], "add wrist=NAME"),
        (["wrist=A", "chest=a"], "several different"),
        (["l", "r", "c"], "several different"),
        (["left=A", "left=B"], "two sensors on the left wrist"),
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


def test_two_wrists_of_a_capture_share_the_chest(tmp_path: Path) -> None:
    files = [
        _file(tmp_path / f"{n}.csv", capture="1", place=p) for n, p in enumerate(("wrist", "wrist", "chest"))
    ]
    assert paired(files).chest_of == {files[0]: files[2], files[1]: files[2]}
    two = [_file(tmp_path / f"{n}.csv", capture="2", place=p) for n, p in ((3, "chest"), (4, "chest"))]
    assert paired([*two, _file(tmp_path / "5.csv", capture="2")]).alone == set(two)


KNOWN = (
    Remembered(nickname="l", name="l", side="left", address="AA"),
    Remembered(nickname="r", name="r", side="right", address="BB"),
)


@pytest.mark.parametrize(
    ("said", "known", "usual", "sides"),
    [
        (["any"], (), "right", ["right"]),
        (["l"], KNOWN, "right", ["left"]),
        (["r", "l", "chest=c"], KNOWN, None, ["right", "left", None]),
        (["other", "l"], KNOWN, None, ["right", "left"]),
        (["right=a", "left=b"], (), None, ["right", "left"]),
        (["right=l", "b"], KNOWN, None, ["right", "left"]),
    ],
)
def test_each_wrist_gets_its_arm(
    said: list[str], known: tuple[Remembered, ...], usual: str | None, sides: list[str | None]
) -> None:
    worn = with_sides(worn_sensors(said), known, usual)
    assert [one.side for one in worn] == sides
    # What is remembered of a session reads the same again.
    text = sensors_text(worn)
    assert text is not None
    again = with_sides(worn_sensors([text]), (), None)
    assert [(one.name, one.place, one.side) for one in again] == [
        (one.name, one.place, one.side) for one in worn
    ]


def test_two_strangers_are_not_guessed() -> None:
    with pytest.raises(UsageError, match="which sensor is on which wrist"):
        with_sides(worn_sensors(["a", "b"]), (), "right")


def test_every_sensor_has_a_file_of_its_own() -> None:
    out = Path("today.csv")
    names = {
        ("wrist=a",): ["today.csv"],
        ("wrist=a", "chest=b"): ["today-wrist.csv", "today-chest.csv"],
        ("left=a", "right=b"): ["today-left.csv", "today-right.csv"],
        ("left=a", "right=b", "chest=c"): ["today-left.csv", "today-right.csv", "today-chest.csv"],
        ("a", "b"): ["today-1.csv", "today-2.csv"],
    }
    for said, files in names.items():
        assert [path.name for path in files_of(out, worn_sensors(said), ())] == files


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


def test_how_a_chest_sensor_faces_stands_in_its_own_head_only(tmp_path: Path) -> None:
    worn = worn_sensors(["wrist=a", "chest=b"])
    of_sets = {"exercise": None, "side": None, "load_kg": None, "note": None}
    wrist, chest = file_plans(tmp_path / "set.csv", worn, stream_options(), **of_sets, forward="-z")
    assert chest.metadata.other[FORWARD] == "-z"
    assert FORWARD not in wrist.metadata.other
