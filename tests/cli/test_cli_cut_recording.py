"""A recording that begins in a hold and ends in a lowering, through the commands: no number for what was not seen."""

import csv
import json
from pathlib import Path

import pytest

from log_program import run, run_json

STRICT = Path(__file__).parents[2] / "recordings" / "strict-raise.csv"


@pytest.fixture(scope="module")
def cut(tmp_path_factory):
    """The invented set from the hold of its first rep to the middle of its last lowering."""
    folder = tmp_path_factory.mktemp("cut")
    (whole,) = run_json("process", str(STRICT))["sets"]
    first, last = whole["reps"][0], whole["reps"][-1]
    begins = first["top_start_s"] + 0.3 * first["hold_s"]
    ends = last["top_end_s"] + 0.5 * last["eccentric_s"]
    lines = STRICT.read_text("utf-8").splitlines()
    head = [line for line in lines if line.startswith("#")]
    names, *rows = [line for line in lines if not line.startswith("#")]
    kept = [row for row in rows if begins <= float(row.split(",")[0]) <= ends]
    path = folder / "cut.csv"
    path.write_text("\n".join([*head, names, *kept]) + "\n", "utf-8")
    return path, whole


def test_json_and_table_leave_it_empty(cut, tmp_path):
    path, whole = cut
    (one,) = run_json("process", str(path), "--load", "6kg")["sets"]
    first, last = one["reps"][0], one["reps"][-1]
    assert [rep["quality"] for rep in (first, last)] == [["no_gate", "open_start"], ["open_end"]]
    assert first["concentric_s"] is first["rom_deg"] is first["mean_concentric_deg_s"] is None
    assert last["eccentric_s"] is last["time_under_tension_s"] is last["eccentric_work_j"] is None
    assert one["summary"]["tempo"] == whole["summary"]["tempo"]
    assert one["summary"]["mean_rom_deg"] == pytest.approx(whole["summary"]["mean_rom_deg"], abs=1)
    table = tmp_path / "reps.csv"
    assert run("process", str(path), "--csv", str(table)).exit_code == 0
    rows = list(csv.DictReader(table.read_text("utf-8").splitlines()))
    assert (rows[0]["concentric_s"], rows[-1]["eccentric_s"]) == ("", "")


def test_what_reads_a_measured_set_goes_on(cut, tmp_path):
    path, _ = cut
    for words in (
        ("plan", str(path), "--load", "6kg"),
        ("resist", "--recording", str(path), "6kg"),
        ("process", str(path), "--plot", str(tmp_path / "set.png")),
        ("process", str(path), "--plot", str(tmp_path / "steps.png"), "--steps", "1"),
        ("process", str(path), "--markers", str(tmp_path / "reps.srt"), "--offset", "0"),
    ):
        done = run(*words)
        assert done.exit_code == 0, (words, done.stderr)
        assert "nan" not in done.stdout
    assert "nan" not in (tmp_path / "reps.srt").read_text("utf-8")
    json.dumps(run_json("process", str(path)), allow_nan=False)
