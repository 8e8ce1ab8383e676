"""``armarc exercises`` and ``armarc settings`` through the command line."""

from __future__ import annotations

import json
import tomllib

import pytest
import typer
from typer.testing import CliRunner

from armarc.cli.app import ErrorBoundary
from armarc.cli.exercises import exercises
from armarc.cli.settings import settings


@pytest.fixture
def folder(tmp_path, monkeypatch):
    monkeypatch.setenv("ARMARC_CONFIG_DIR", str(tmp_path))
    return tmp_path


@pytest.fixture
def run(folder):
    app = typer.Typer(cls=ErrorBoundary, pretty_exceptions_enable=False)
    app.command("exercises")(exercises)
    app.command("settings")(settings)
    runner = CliRunner()
    return lambda *words: runner.invoke(app, words)


def refuse_constants(name: str) -> None:
    raise AssertionError(f"{name} in JSON")


def test_pipe_gets_one_line_per_exercise_with_equal_columns(run):
    done = run("exercises")
    assert done.exit_code == 0
    rows = [line.split("\t") for line in done.stdout.splitlines()]
    assert {len(row) for row in rows} == {7}
    assert rows[0][0] == "Key"
    assert rows[1][:2] == ["lateral-raise", "Lateral raise, dumbbell"]
    assert rows[-1][0] == "unknown"


def test_json_is_versioned_and_in_degrees(run):
    document = json.loads(run("exercises", "--json").stdout, parse_constant=refuse_constants)
    assert document["schema"] == "armarc.exercises/1"
    first = document["exercises"][0]
    assert first["key"] == "lateral-raise"
    assert first["band_deg_s"] == [45.0, 70.0]
    one = json.loads(run("exercises", "Scaption", "--json").stdout)
    assert [e["key"] for e in one["exercises"]] == ["scaption-raise"]


def test_one_exercise_shows_its_caution_and_the_place_of_the_sensor(run):
    out = run("exercises", "upright rows").stdout
    assert "above the elbow" in out
    assert "licensed practitioner" in out


def test_own_entries_are_listed_with_their_file_and_markup_is_harmless(run, folder):
    (folder / "exercises").mkdir()
    (folder / "exercises" / "gym.toml").write_text(
        '[my-raise]\nname = "[red]Mine[/red] [x"\n', encoding="utf-8"
    )
    out = run("exercises").stdout
    assert "[red]Mine[/red] [x" in out
    assert "gym.toml" in out
    assert "[red]Mine[/red] [x" in run("exercises", "my-raise").stdout


def test_template_and_folder_lead_to_a_working_own_entry(run, folder):
    target = run("exercises", "--folder").stdout.strip()
    assert target == str(folder / "exercises")
    (folder / "exercises").mkdir()
    (folder / "exercises" / "mine.toml").write_text(run("exercises", "--template").stdout, encoding="utf-8")
    assert "my-cable-raise" in run("exercises").stdout


def test_unknown_exercise_ends_with_2_and_a_suggestion(run):
    done = run("exercises", "laterl raise")
    assert done.exit_code == 2
    assert done.stdout == ""
    assert "did you mean lateral-raise" in done.stderr
    assert "Traceback" not in done.stderr


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        ("fly", "did you mean reverse-fly or machine-reverse-fly?"),
        ("pulley thing", "did you mean cable-lateral-raise"),
        ("tuck", "`armarc exercises --template` begins one of your own, and 'unknown' measures any movement"),
    ],
)
def test_a_word_of_a_name_is_enough_for_a_suggestion_and_none_says_what_else_there_is(run, asked, said):
    assert said in " ".join(run("exercises", asked).stderr.split())


def test_faulty_own_entry_ends_with_3_and_names_the_file(run, folder):
    (folder / "exercises").mkdir()
    (folder / "exercises" / "gym.toml").write_text("[lateral-raise]\nband_deg_s = 45\n", encoding="utf-8")
    done = run("exercises")
    assert done.exit_code == 3
    assert "gym.toml" in done.stderr
    assert "got 45" in done.stderr


def test_settings_say_where_they_come_from(run, folder):
    (folder / "armarc.toml").write_text('exercise = "side raises"\nrest_s = 6\n', encoding="utf-8")
    rows = dict(line.split("\t", 1) for line in run("settings").stdout.splitlines())
    assert rows["rest_s"] == "6\tsettings file"
    assert rows["band_deg_s"] == "45–70\texercise lateral-raise"
    assert rows["side"] == "-\tnot set"
    document = json.loads(run("settings", "--json").stdout, parse_constant=refuse_constants)
    assert document["schema"] == "armarc.settings/1"
    assert document["file"] == str(folder / "armarc.toml")
    assert document["settings"]["rest_s"] == {"value": 6.0, "from": "settings"}


def test_settings_path_and_template(run, folder):
    assert run("settings", "--path").stdout.strip() == str(folder / "armarc.toml")
    assert tomllib.loads(run("settings", "--template").stdout) == {}


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("side = 1\n", "expected one of"),
        ('exercise = "laterl-raise"\n', "did you mean lateral-raise"),
        ("x", "TOML"),
    ],
)
def test_faulty_settings_end_with_3(run, folder, text, said):
    (folder / "armarc.toml").write_text(text, encoding="utf-8")
    done = run("settings")
    assert done.exit_code == 3
    assert said in done.stderr
    assert "armarc.toml" in done.stderr


@pytest.mark.parametrize(
    "words",
    [
        ("exercises", "--template", "--folder"),
        ("settings", "--json", "--path"),
        ("exercises", "x", "--folder"),
    ],
)
def test_options_that_exclude_each_other_end_with_2(run, words):
    assert run(*words).exit_code == 2
