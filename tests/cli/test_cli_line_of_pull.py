"""``armarc line-of-pull`` end to end."""

from __future__ import annotations

import json
from pathlib import Path

from armarc.cli.line_of_pull import line_of_pull
from one_command import program

armarc = program(line_of_pull, "line-of-pull")


def test_frontal_against_scapular_plane(tmp_path: Path) -> None:
    picture = tmp_path / "pull.png"
    done = armarc(
        tmp_path, "--plane", "0", "--plane", "30", "--hand", "neutral", "--json", "--plot", str(picture)
    )
    assert done.exit_code == 0, done.stderr
    record = json.loads(done.stdout)
    frontal, scapular = record["positions"]
    at = record["elevation_deg"].index(60.0)
    assert frontal["axial_rotation_deg"] == scapular["axial_rotation_deg"] == 0
    # rows of the model's table, mm at 60°
    assert frontal["moment_arm_mm"]["anterior_deltoid"][at] == 6.5
    assert scapular["moment_arm_mm"]["anterior_deltoid"][at] == 16.8
    assert scapular["moment_arm_mm"]["posterior_deltoid"][at] == -3.1
    text = " ".join(record["notes"])
    for said in ("not cadaver", "how hard a muscle works", "contested", "does not isolate"):
        assert said in text
    assert picture.stat().st_size > 20_000


def test_what_is_not_tabulated_is_not_invented(tmp_path: Path) -> None:
    done = armarc(tmp_path, "--plane", "90", "--hand", "little-finger-up", "--json")
    record = json.loads(done.stdout)
    arms = record["positions"][0]["moment_arm_mm"]
    assert all(v is None for values in arms.values() for v in values)
    assert any("not tabulated" in note for note in record["notes"])


def test_thumb_up_and_little_finger_up(tmp_path: Path) -> None:
    done = armarc(tmp_path, "--elevation", "60")
    rows = [line.split("\t") for line in done.stdout.splitlines()[1:]]
    supraspinatus = {row[0]: int(row[2]) for row in rows if row[1] == "supraspinatus"}
    assert supraspinatus["plane 0°, thumb up"] > supraspinatus["plane 0°, little finger up"]
    half = armarc(tmp_path, "--elevation", "60", "--shoulder-share", "0")
    flat = {line.split("\t")[2] for line in half.stdout.splitlines()[1:] if "middle" in line}
    assert len(flat) == 1


def test_faults(tmp_path: Path) -> None:
    for arguments, said in (
        (["--plane", "120"], "from 0 to 90"),
        (["--hand", "sideways"], "little-finger-up"),
        (["--elevation", "5"], "from 10 to 120"),
        (["--shoulder-share", "2"], "between 0 and 1"),
    ):
        done = armarc(tmp_path, *arguments)
        assert (done.exit_code, said in done.stderr) == (2, True), done.stderr
