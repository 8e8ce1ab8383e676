"""``armarc band`` end to end."""

import json
import tomllib

import pytest
from typer.testing import CliRunner

from log_program import app, wide_log


@pytest.fixture(scope="module")
def log(tmp_path_factory):
    return wide_log(tmp_path_factory.mktemp("wide"))


def armarc(folder, *arguments):
    return CliRunner().invoke(
        app, [str(word) for word in arguments], env={"ARMARC_CONFIG_DIR": str(folder), "COLUMNS": "200"}
    )


def test_propose_keep_use_and_forget(tmp_path, log):
    asked = ("band", "--log-file", log)
    found = json.loads(armarc(tmp_path, *asked, "--json").stdout)
    (one,) = [each for each in found["exercises"] if each["exercise"] == "lateral-raise"]
    assert one["in_force"] == "working band 45-70 °/s, no source"
    low, high = one["from_clean_reps"]["band_deg_s"]
    # Invented: starts of 57 ± 8 °/s, the middle 80 % of which is 46.7 to 67.3.
    assert low == pytest.approx(46.7, abs=4)
    assert high == pytest.approx(67.3, abs=4)
    assert 0 < one["from_clean_reps"]["low_se_deg_s"] < 4
    assert [lane["start_velocity_deg_s"] for lane in one["paced"]] == pytest.approx([low, high], abs=1)

    kept = armarc(tmp_path, *asked, "-e", "lateral-raise", "--keep", "clean")
    assert f"own band {low:g}-{high:g} °/s from {one['clean_reps']} clean reps" in kept.stderr
    file = tomllib.loads((tmp_path / "bands.toml").read_text())
    assert file["me"]["lateral-raise"]["band_deg_s"] == [low, high]
    assert "own band" in armarc(tmp_path, *asked).stdout

    done = armarc(tmp_path, "process", "recordings/strict-raise.csv", "--json")
    settings = json.loads(done.stdout)["settings"]
    assert settings["band_deg_s"] == [low, high]
    assert settings["band_basis"] == f"from {one['clean_reps']} clean reps in {one['sessions']} sessions"

    assert armarc(tmp_path, "band", "-e", "lateral-raise", "--keep", "50-60").exit_code == 0
    assert armarc(tmp_path, "band", "-e", "lateral-raise", "--forget").exit_code == 0
    assert armarc(tmp_path, "band", "-e", "lateral-raise", "--forget").exit_code == 6
    assert json.loads(armarc(tmp_path, *asked, "--json").stdout)["exercises"][0]["kept"] is False


def test_wrong_input_is_one_plain_line(tmp_path, log):
    for words in (
        ("band", "--keep", "clean", "--log-file", log),
        ("band", "-e", "lateral-raise", "--keep", "70-40"),
        ("band", "-e", "lateral-raise", "--keep", "clean", "--forget"),
        ("band", "Cleo", "--log-file", log),
    ):
        said = armarc(tmp_path, *words)
        assert said.exit_code in (2, 6), words
        assert said.stderr.startswith("armarc: ")
        assert "Traceback" not in said.output
