"""``armarc live`` end to end: a recording played through the live engine, as people try it without a sensor."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import pytest
import typer
from typer.testing import CliRunner

from armarc.cli.app import ErrorBoundary
from armarc.cli.live import live
from armarc.recording import write_csv
from live_runs import recording

app = typer.Typer(cls=ErrorBoundary)
app.command("live")(live)
app.command("other")(lambda: None)

START = "import sys; sys.argv[0] = 'armarc'; from armarc.cli import main; main()"


def run(*words: Any, code: int = 0) -> Any:
    result = CliRunner().invoke(app, ["live", *map(str, words)])
    assert result.exit_code == code, (result.exit_code, result.stdout, result.stderr, result.exception)
    assert "Traceback" not in result.stderr
    return result


def records(text: str) -> list[dict[str, Any]]:
    def refuse(word: str) -> None:
        raise AssertionError(f"{word} in JSON")

    return [json.loads(line, parse_constant=refuse) for line in text.splitlines()]


@pytest.fixture(scope="module")
def file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("live") / "two-sets.csv"
    made, _ = recording(2, sets=2, reps=4, rest_s=14.0, load_kg=8.0)
    write_csv(made, path)
    return path


@pytest.fixture(autouse=True)
def own_settings(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("ARMARC_CONFIG_DIR", str(tmp_path))


def test_no_terminal_means_one_json_object_per_event(file: Path) -> None:
    got = records(run("--from", file, "--speed", "max").stdout)
    assert {one["schema"] for one in got} == {"armarc.events/2"}
    names = [one["event"] for one in got]
    assert names[0] == "session"
    assert names.count("rep ended") == 8
    assert names.count("gate crossed") == 8
    assert names.count("set ended") == names.count("set measured") == 2
    first = got[0]
    assert (first["exercise"], first["load_kg"], first["band_deg_s"]) == ("lateral-raise", 8.0, [45.0, 70.0])
    for one in got:
        if one["event"] == "set measured":
            assert one["problem"] is None
            assert one["result"]["schema"] == "armarc.sets/1"
            assert [s["set"] for s in one["result"]["sets"]] == [one["set"]]
            assert one["result"]["sets"][0]["summary"]["reps"] == one["live"]["reps"] == 4


def test_the_same_file_gives_the_same_lines(file: Path) -> None:
    plain = run("--from", file, "--speed", "max", "--json").stdout
    assert run("--from", file, "--speed", "max", "--json").stdout == plain


def test_options_reach_the_engine(file: Path) -> None:
    words = ("--band", "100-120", "--gate", "12-24", "--rest", "5", "-e", "front-raise")
    got = records(run("--from", file, "--speed", "max", *words).stdout)
    assert got[0]["band_deg_s"] == [100.0, 120.0]
    assert got[0]["gate_deg"] == [12.0, 24.0]
    assert got[0]["exercise"] == "front-raise"
    assert {one["told_verdict"] for one in got if one["event"] == "gate crossed"} == {"below"}
    ended = next(one for one in got if one["event"] == "set ended")
    assert ended["time_s"] - ended["end_s"] == pytest.approx(5.0, abs=0.3)


def test_a_played_recording_can_be_written_again(file: Path, tmp_path: Path) -> None:
    from armarc.recording import read_csv

    out = tmp_path / "again.csv"
    assert "raw stream" in run("--from", file, "--speed", "max", "--out", out).stderr
    assert len(read_csv(out).time_s) == len(read_csv(file).time_s)
    assert "never overwritten" in run("--from", file, "--speed", "max", "--out", out, code=2).stderr


def test_a_set_goes_into_the_log_and_to_the_hook(file: Path, tmp_path: Path) -> None:
    from armarc.log import open_log
    from armarc.log.reading import list_sets

    log, out = tmp_path / "log.sqlite", tmp_path / "hooked.jsonl"
    script = tmp_path / "hook.py"
    script.write_text(f"import sys\nopen({str(out)!r}, 'a').write(sys.stdin.read())\n")
    words = ("--log", "--log-file", log, "--hook", f"'{sys.executable}' '{script}'")
    result = run("--from", file, "--speed", "max", *words)
    assert result.stderr.count("is in the log") == 2
    hooked = records(out.read_text())
    assert [one["set"] for one in hooked] == [1, 2]
    with open_log(str(log)) as store:
        logged = list_sets(store)
    # What is played keeps the note of its head, by which invented data is known.
    assert [one.note.startswith("Invented data") for one in logged] == [True, True]


def test_a_failing_hook_is_told_and_ends_nothing(file: Path) -> None:
    result = run("--from", file, "--speed", "max", "--hook", "no-such-program-here")
    assert result.stderr.count("cannot be run") == 2
    assert result.stdout.count('"set measured"') == 2


def test_sound_and_speech_that_cannot_be_had_are_said_once(
    file: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(sys.modules, "sounddevice", None)
    monkeypatch.setenv("PATH", "")
    result = run("--from", file, "--speed", "max", "--sound", "--say")
    assert result.stderr.count("no sound:") == 1
    assert result.stderr.count("no speech:") == 1
    assert result.stdout.count('"rep ended"') == 8


def test_nothing_lifted_is_exit_6_and_still_valid_json(tmp_path: Path) -> None:
    made, _ = recording(1, reps=3)
    from dataclasses import replace

    still = made.time_s < 1.8
    path = tmp_path / "still.csv"
    write_csv(
        replace(
            made,
            time_s=made.time_s[still],
            specific_force_m_s2=made.specific_force_m_s2[still],
            angular_velocity_rad_s=made.angular_velocity_rad_s[still],
            clipped=None,
            temperature_c=None,
        ),
        path,
    )
    result = run("--from", path, "--speed", "max", code=6)
    assert records(result.stdout)[0]["event"] == "session"


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--speed", "fast"), "--speed"),
        (("--speed", "4"), "--from"),
        (("wrist", "--from", "{file}"), "not both"),
        (("--from", "{file}", "--band", "70-45"), "45"),
        (("--from", "{file}", "--hook", ""), "hook"),
        (("--from", "{file}", "-e", "no-such-exercise"), "no-such-exercise"),
        (("--from", "{file}", "--web", "--host", "a/b"), "address"),
    ],
)
def test_wrong_options_are_said_plainly(words: tuple[str, ...], said: str, file: Path) -> None:
    result = run(*(word.format(file=file) for word in words), code=2)
    assert said in result.stderr
    assert result.stdout == ""


def test_a_missing_file_is_exit_3(tmp_path: Path) -> None:
    run("--from", tmp_path / "nothing.csv", code=3)


def test_without_the_web_libraries_it_says_what_to_install(
    file: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(sys.modules, "websockets", None)
    assert "-m pip install" in run("--from", file, "--web", code=2).stderr


def test_ctrl_c_measures_the_running_set(file: Path) -> None:
    process = subprocess.Popen(
        [sys.executable, "-c", START, "live", "--from", str(file), "--speed", "15"],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env={**os.environ, "PYTHONUNBUFFERED": "1"},
    )
    assert process.stdout is not None
    lines, deadline = [], time.monotonic() + 30
    for line in process.stdout:
        lines.append(line)
        if '"rep ended"' in line and '"rep": 2,' in line:
            process.send_signal(signal.SIGINT)
            break
        assert time.monotonic() < deadline
    rest, talk = process.communicate(timeout=30)
    assert process.returncode == 0, talk
    got = records("".join(lines) + rest)
    ended = [one for one in got if one["event"] == "set ended"]
    assert [one["reason"] for one in ended] == ["stop"]
    assert ended[0]["reps"] in (2, 3)  # a busy machine may lift one more before it hears the signal
    assert got[-1]["event"] == "set measured"
    assert "stopping, set saved" in talk


def test_a_second_ctrl_c_ends_at_once(file: Path) -> None:
    process = subprocess.Popen(
        # The hook keeps the session busy after the first Ctrl-C.
        [sys.executable, "-c", START, "live", "--from", str(file), "--speed", "15", "--hook", "sleep 30"],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env={**os.environ, "PYTHONUNBUFFERED": "1"},
    )
    assert process.stdout is not None
    stopped = False
    for line in process.stdout:
        if '"rep ended"' in line and '"rep": 1,' in line:
            process.send_signal(signal.SIGINT)
            stopped = True
        if stopped and '"set measured"' in line:
            break
    process.send_signal(signal.SIGINT)
    process.communicate(timeout=10)
    assert process.returncode == 130
