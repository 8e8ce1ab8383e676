"""``armarc lifter`` end to end."""

from __future__ import annotations

import json
from pathlib import Path

from armarc.cli.lifter import app as lifter
from one_command import program

armarc = program(lifter, "lifter")


def test_set_show_and_take_away(tmp_path: Path) -> None:
    empty = armarc(tmp_path, "--json")
    assert empty.exit_code == 0
    before = json.loads(empty.stdout)
    assert before["used"]["body_mass_kg"] == 73.0
    assert before["given"]["body_mass_kg"] is None
    assert before["assumptions"]

    done = armarc(tmp_path, "set", "--body-mass", "180lb", "--stature", "181cm", "--sex", "Male")
    assert done.exit_code == 0, done.stderr
    assert "81.6 kg\tgiven" in done.stdout
    after = json.loads(armarc(tmp_path, "show", "--json").stdout)
    assert after["given"]["stature_m"] == 1.81
    assert after["arm_moment_level_n_m"] > before["arm_moment_level_n_m"]

    armarc(tmp_path, "set", "--stature", "none")
    assert json.loads(armarc(tmp_path, "--json").stdout)["given"]["stature_m"] is None


def test_nonsense_changes_nothing(tmp_path: Path) -> None:
    armarc(tmp_path, "set", "--body-mass", "70")
    for arguments, said in (
        (["set"], "nothing to set"),
        (["set", "--stature", "181"], "between 1 and 2.6 m"),
        (["set", "--stature", "tall"], "expected a length"),
        (["set", "--sex", "x"], "male or female"),
        (["set", "--body-mass", "heavy"], "expected a load"),
    ):
        done = armarc(tmp_path, *arguments)
        assert done.exit_code == 2
        assert said in done.stderr
        assert "Traceback" not in done.stderr
    assert json.loads(armarc(tmp_path, "--json").stdout)["given"]["body_mass_kg"] == 70.0


def test_broken_file_is_named(tmp_path: Path) -> None:
    (tmp_path / "lifter.toml").write_text("body_mass = 70\n", encoding="utf-8")
    done = armarc(tmp_path)
    assert done.exit_code == 3
    assert "body_mass_kg" in done.stderr
    assert "lifter.toml" in done.stderr


def test_a_name_nobody_kept_is_said_with_the_nearest(tmp_path: Path) -> None:
    armarc(tmp_path, "set", "Anna", "--body-mass", "58kg")
    said = armarc(tmp_path, "show", "Ana")
    assert "Nothing is kept of Ana: this is the reference body (did you mean Anna?)." in said.output
    assert "Nothing is kept" not in armarc(tmp_path, "show", "Anna").output
