"""``armarc plan`` end to end."""

from __future__ import annotations

import json
from pathlib import Path

from armarc.cli.plan import plan
from one_command import program

RECORDINGS = Path(__file__).parents[2] / "recordings"
armarc = program(plan, "plan")


def test_plan_from_the_heaviest_rep(tmp_path: Path) -> None:
    picture = tmp_path / "plan.svg"
    done = armarc(tmp_path, "--heaviest", "12kg", "--load", "8kg", "--json", "--plot", str(picture))
    assert done.exit_code == 0, done.stderr
    record = json.loads(done.stdout)
    assert record["schema"] == "armarc.plan/1"
    assert record["liftable_unit"] == "kg"
    assert abs(record["heaviest_held"] - 12) < 0.1
    assert record["starts"][0]["liftable"] > 12
    assert "lifts 12 kg to the top from rest and holds it" in record["capacity"]["strength_from"]
    # Read through the gate, a full effort is fast from rest already, and the band is stated so.
    assert record["starts"][0]["gate_deg_s"] > 100
    gates = [row["gate_deg_s"] for row in record["starts"]]
    assert min(gates) - 1e-3 <= record["suggested_band_deg_s"][0] < record["suggested_band_deg_s"][1]
    peak = next(f for f in record["findings"] if f["aim"] == "peak")
    assert peak["verdict"] in ("rest", "shallow")
    assert "57.5" not in record["suggestion"]
    assert picture.read_text(encoding="utf-8").startswith("<?xml")


def test_table_names_its_assumptions(tmp_path: Path) -> None:
    done = armarc(tmp_path, "--capacity", "0:1,90:0.8", "--load", "5kg", "--speed-from", "shoulder")
    assert done.exit_code == 0, done.stderr
    assert done.stdout.startswith("Begun at °/s\tGate °/s\t")
    for said in ("own table", "published group mean", "not advice to swing", "Pain means stop", "57.5"):
        assert (said in done.stderr) == (said != "57.5")


def test_faults(tmp_path: Path) -> None:
    for arguments, said in (
        (["--aim", "size"], "no aim"),
        (["--capacity", "peaky"], "capacity curve"),
        (["--load", "8kg", "--resistance", "8kg"], "exclude"),
        (["--heaviest", "12kg", "--capacity-nm", "60"], "one place"),
        (["--speed-from", "legs"], "body or the shoulder"),
        (["--start", "80", "--top", "90"], "15°"),
        (["--loaded-range", "60-30"], "rising"),
        (["--effort", "3"], "effort"),
        (["--fastest-start", "0"], "10 to 600"),
    ):
        done = armarc(tmp_path, *arguments)
        assert (done.exit_code, said in done.stderr) == (2, True), done.stderr
        assert "Traceback" not in done.stderr


def test_controlled_reps_at_a_pace(tmp_path: Path) -> None:
    picture = tmp_path / "paced.svg"
    words = ("--heaviest", "14kg", "--load", "8kg", "--pace", "45,57", "--tempo", "2/0/2/0", "--swing", "4")
    done = armarc(tmp_path, *words, "--json", "--plot", str(picture))
    assert done.exit_code == 0, done.stderr
    record = json.loads(done.stdout)
    assert record["schema"] == "armarc.paced/1"
    lanes = record["lanes"]
    assert [round(lane["start_velocity_deg_s"]) for lane in lanes] == [45, 57]
    assert all(lane["heaviest"] <= 14.01 and lane["drive_swing_work_pct"] > 0 for lane in lanes)
    assert picture.read_text(encoding="utf-8").startswith("<?xml")
    done = armarc(tmp_path, *words)
    assert done.stderr.startswith("At 45 °/s through the gate")
    assert "not advice to swing" in done.stderr
    for wrong in (["--pace", "fast"], ["--pace", "57", "--tempo", "2/1"], ["--pace", "10"]):
        assert armarc(tmp_path, *words[:4], *wrong).exit_code == 2


def test_what_measured_reps_took_is_no_limit_of_the_lifter(tmp_path: Path) -> None:
    """Reps may not have been all-out: a load a little beyond them is not called too heavy."""
    words = (str(RECORDINGS / "strict-raise.csv"), "--pace", "50,60", "--load", "6kg")
    record = json.loads(armarc(tmp_path, *words, "--json").stdout)
    assert [lane["within_reach"] for lane in record["lanes"]] == [None, True]
    said = armarc(tmp_path, *words)
    assert "more than the measured reps show" in said.stderr
    assert "too heavy" not in said.stderr
    assert "\tat least 5.8 kg\t" in said.stdout
    heaviest = (*words[1:-1], "20kg", "--heaviest", "14kg")
    assert "too heavy" in armarc(tmp_path, *heaviest).stderr
    assert json.loads(armarc(tmp_path, *heaviest, "--json").stdout)["lanes"][0]["within_reach"] is False
    full = armarc(tmp_path, words[0], "--load", "14kg")
    assert "Liftable, at least" in full.stdout
    assert "take less" not in full.stderr.lower()
