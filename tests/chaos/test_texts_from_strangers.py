"""Text that a spreadsheet would run, and nesting no program should follow."""

from __future__ import annotations

import csv
import shutil
import subprocess
from pathlib import Path

import pytest
from programs import command, environment, run

from armarc.errors import ArmarcError
from armarc.files import read_entries
from armarc.sensor.remembered import known_path, load_known
from armarc.simulate import read_truth
from grids import seldom

RECORDINGS = Path(__file__).parents[2] / "recordings"


@pytest.mark.parametrize("name", ["=cmd.csv", "-2.csv", *seldom("+1.csv", "@sum.csv")])
def test_a_table_of_reps_holds_no_formula(tmp_path: Path, name: str) -> None:
    # First characters as the OWASP page on CSV injection lists them.
    shutil.copy(RECORDINGS / "strict-raise.csv", tmp_path / name)
    done = subprocess.run(
        command("process", "--csv", "reps.csv", "--", name),
        cwd=tmp_path,
        env=environment(tmp_path),
        capture_output=True,
        text=True,
        timeout=60,
    )
    assert done.returncode == 0, done.stderr
    with open(tmp_path / "reps.csv", newline="") as stream:
        rows = list(csv.DictReader(stream))
    assert rows[0]["file"] == f"'{name}"
    assert all(not cell.startswith(("=", "+", "@")) for row in rows for cell in row.values())
    # Numbers stay numbers.
    assert float(rows[0]["rom_deg"]) > 50


def test_nesting_without_end_is_an_error_of_ours(tmp_path: Path) -> None:
    deep = '{"schema": "x", "sensors": ' + "[" * 200_000
    (tmp_path / "deep.json").write_text(deep)
    known_path(tmp_path).write_text(deep)
    with pytest.raises(ArmarcError):
        read_truth(tmp_path / "deep.json")
    with pytest.raises(ArmarcError):
        read_entries(tmp_path / "deep.json", "x", dict, "calibrations")
    with pytest.raises(ArmarcError):
        load_known(tmp_path)
    (tmp_path / "log.json").write_text("[" * 200_000)
    done = run(tmp_path, "process", tmp_path / "log.json")
    assert done.returncode == 3
    assert "Traceback" not in done.stderr
