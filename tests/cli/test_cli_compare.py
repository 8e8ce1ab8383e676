"""``armarc compare`` end to end."""

from pathlib import Path

import pytest

from log_program import real_log, run, run_json, wide_log

DEMOS = Path(__file__).parents[2] / "recordings"


@pytest.fixture(scope="module")
def log(tmp_path_factory):
    return wide_log(tmp_path_factory.mktemp("wide"))


@pytest.fixture(scope="module")
def real(tmp_path_factory):
    return real_log(tmp_path_factory.mktemp("real"))


def test_two_sets_are_paired_rep_by_rep(log):
    found = run_json("compare", "1", "2", "--log-file", log)
    assert [group["name"] for group in found["groups"]] == ["set 1", "set 2"]
    assert found["not_the_same_lift"] == []
    rows = {row["measure"]: row for row in found["rows"]}
    assert rows["rom_deg"]["unit_of_analysis"] == "rep"
    assert rows["rom_deg"]["n_first"] == 6
    assert rows["rom_deg"]["low"] < rows["rom_deg"]["difference"] < rows["rom_deg"]["high"]
    said = run("compare", "1", "2", "--log-file", log)
    assert "not independent" in said.stderr
    assert "Size (95 %)" in said.stdout
    assert "size: the difference over the standard deviation" in said.stderr


def test_sides_get_an_index_with_its_definition(log):
    found = run_json("compare", "--by", "side", "--lifter", "me", "-m", "rom", "--log-file", log)
    assert found["rows"][0]["symmetry_index"]["sessions"] == 8
    said = run("compare", "--by", "side", "--lifter", "me", "--log-file", log)
    assert "symmetry index = 100" in said.stderr
    assert "Bishop" in said.stderr


def test_groups_of_other_lifts_are_said_to_be(tmp_path):
    log = tmp_path / "log.sqlite"
    for name, load in (("strict-raise", "6kg"), ("left-wrist", "4kg")):
        run("process", DEMOS / f"{name}.csv", "--load", load, "--log", "--log-file", log)
    found = run_json("compare", "--by", "side", "--log-file", log)["not_the_same_lift"]
    assert [sentence.split(": ", 1)[1] for sentence in found] == [
        "exercise scaption-raise in left, lateral-raise in right (--exercise takes one)",
        "load 4 kg in left, 6 kg in right (--load takes one)",
    ]
    assert found[0] in run("compare", "--by", "side", "--log-file", log).stderr
    found = run_json("compare", "--by", "exercise", "-m", "rom", "--log-file", log)["not_the_same_lift"]
    assert [sentence.split(": ", 1)[1].split()[0] for sentence in found] == ["side", "load"]


def test_days_lifters_and_three_groups(log):
    found = run_json(
        "compare", "2026-01-05", "2026-01-26", "--side", "right", "-m", "rom_deg", "--log-file", log
    )
    assert found["rows"][0]["difference"] > 5
    assert len(run_json("compare", "1", "2", "3", "-m", "rom", "--log-file", log)["rows"]) == 2
    assert run_json("compare", "--by", "lifter", "-m", "rom", "--log-file", log)["rows"][0]["second"] == "Ada"


def test_sets_that_were_not_measured_alike_are_said_to_be(tmp_path):
    log, other = tmp_path / "log.sqlite", tmp_path / "other.csv"
    other.write_bytes((DEMOS / "strict-raise.csv").read_bytes() + b"# once more\n")
    for file, gate in ((DEMOS / "strict-raise.csv", "10-20"), (other, "20-30")):
        run("process", file, "--gate", gate, "--log", "--log-file", log)
    told = "start gate 10-20° in set 1, 20-30° in set 2"
    assert told in run("compare", "1", "2", "--log-file", log).stderr
    (sentence,) = run_json("compare", "1", "2", "--log-file", log)["not_measured_alike"]
    assert sentence.endswith(told)
    (of_all,) = run_json("trend", "rom_deg", "--log-file", log)["not_measured_alike"]
    assert of_all.endswith("start gate 10-20° and 20-30°")
    run("process", other, "--gate", "10-20", "--log", "--log-file", log)
    assert run_json("compare", "1", "2", "--log-file", log)["not_measured_alike"] == []


def test_curves_come_from_the_raw_recordings(real, tmp_path):
    found = run_json("compare", "1", "3", "--curves", "--log-file", real)
    assert len(found["curves"]) == 2
    for curve in found["curves"]:
        assert len(curve["progress"]) == len(curve["angle_deg"]) == 101
        assert 70 < max(curve["angle_deg"]) < 110
        assert max(curve["angle_deg"]) == pytest.approx(curve["angle_deg"][50], abs=1.0)
        # A dumbbell of 8 kg and an arm held level: some 50 to 70 N m (statics, de Leva's arm).
        assert 40 < max(curve["moment_n_m"]) < 90
    run("compare", "1", "3", "--plot", tmp_path / "c.svg", "--log-file", real)
    assert (tmp_path / "c.svg").stat().st_size > 10_000


def test_a_cable_is_compared_as_a_cable(tmp_path):
    log = tmp_path / "log.sqlite"
    strict = DEMOS / "strict-raise.csv"
    cable = "cable:10kg,pulley=0.0/-0.9/0.6"
    pulled = run_json("process", strict, "--resistance", cable, "--log", "--log-file", log)
    other = tmp_path / "other.csv"  # the same movement, another file: with the dumbbell of its head
    other.write_bytes(strict.read_bytes() + b"# once more\n")
    run_json("process", other, "--log", "--log-file", log)
    first, second = run_json("compare", "1", "2", "--curves", "--log-file", log)["curves"]
    curve = pulled["sets"][0]["load"]["curve"]
    wanted = dict(zip(curve["angle_deg"], curve["concentric_n_m"], strict=True))
    found = dict(zip(first["moment_angle_deg"], first["moment_n_m"], strict=True))
    for angle in (30, 50, 70):
        assert found[angle] == pytest.approx(wanted[angle], abs=0.01)
    dumbbell = dict(zip(second["moment_angle_deg"], second["moment_n_m"], strict=True))
    assert abs(dumbbell[50] - found[50]) > 5


def test_wrong_words(log, tmp_path):
    run("compare", "--log-file", log, code=2)
    run("compare", "1", "--log-file", log, code=2)
    run("compare", "1", "2", "--by", "side", "--log-file", log, code=2)
    run("compare", "--by", "mood", "--log-file", log, code=2)
    for words in (("1", "1"), ("1-3", "2"), ("last", "last-2")):
        assert "stands in two groups" in run("compare", *words, "--log-file", log, code=2).stderr
    run("compare", "1", "999", "--log-file", log, code=5)
    missing = run("compare", "1", "2", "--plot", tmp_path / "c.png", "--log-file", log, code=5)
    assert "was not kept" in missing.stderr
