"""Odd surroundings: no streams, a folder that somebody has deleted, a time zone that none is."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest
import typer
from typer.testing import CliRunner

from armarc.cli import app as program_app
from armarc.cli import commands
from armarc.cli.app import ErrorBoundary
from armarc.log import list_sets, open_log
from grids import seldom

STRICT = Path(__file__).parents[2] / "recordings" / "strict-raise.csv"
posix = pytest.mark.skipif(os.name == "nt", reason="a shell of its own")


@pytest.fixture
def environment(tmp_path):
    own = {"ARMARC_LOG": str(tmp_path / "log.sqlite"), "ARMARC_CONFIG_DIR": str(tmp_path / "config")}
    return {**os.environ, **own, "PYTHONPATH": os.pathsep.join(sys.path)}


def in_shell(line: str, environment: dict[str, str], *, first: str = "") -> subprocess.CompletedProcess[str]:
    shell = ["sh", "-c", f'{first}"$PYTHON" -m armarc {line}']
    where = {**environment, "PYTHON": sys.executable}
    return subprocess.run(shell, env=where, capture_output=True, text=True, timeout=60, check=False)


@posix
@pytest.mark.parametrize("closed", ["2>&-", "<&- >&- 2>&-", *seldom(">&-")])
def test_a_closed_stream_takes_what_is_said_and_the_set_is_logged(environment, tmp_path, closed):
    done = in_shell(f'process "{STRICT}" --log --began 2026-03-01T17:30 {closed}', environment)
    assert (done.returncode, "fault" in done.stderr) == (0, False), done.stderr
    with open_log(str(tmp_path / "log.sqlite")) as log:
        assert [one.reps for one in list_sets(log)] == [8]
    done = in_shell(f"measures {closed}", environment)
    assert (done.returncode, "fault" in done.stderr) == (0, False), done.stderr


@posix
@pytest.mark.parametrize("line", ["simulate x.csv", f'archive process "{STRICT.parent}" --out store'])
def test_a_folder_that_is_no_more_is_said_as_such(environment, tmp_path, line):
    pytest.importorskip("pyarrow", reason="an archive needs pyarrow")
    gone = tmp_path / "gone"
    gone.mkdir()
    done = in_shell(line, environment, first=f'cd "{gone}" && rmdir "{gone}" && ')
    assert done.returncode == 3
    assert "the folder you are in is no more" in done.stderr


def program() -> typer.Typer:
    whole = typer.Typer(cls=ErrorBoundary, pretty_exceptions_enable=False)
    whole.callback()(program_app.common)
    commands.register(whole)
    return whole


def test_a_minus_makes_no_file_of_that_name(environment, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    done = CliRunner().invoke(program(), ["process", str(STRICT), "--csv", "-"], env=environment)
    assert done.exit_code == 2
    assert "- is no name for a file" in done.stderr
    assert not Path("-").exists()


def test_a_configuration_that_is_no_folder_is_said_once(environment, tmp_path):
    (tmp_path / "config").write_text("")
    done = CliRunner().invoke(program(), ["process", str(STRICT)], env=environment)
    assert done.exit_code == 3
    assert "Not a directory (check its folder and permissions)" in done.stderr
    assert done.stderr.count(str(tmp_path / "config")) == 1
    assert "Errno" not in done.stderr


@posix
def test_a_time_zone_that_is_none_calls_no_set_damaged(environment):
    assert in_shell(f'process "{STRICT}" --log --began 2026-03-01T17:30', environment).returncode == 0
    # How far away such a zone is differs between libraries: 24 or 25 h.
    done = in_shell("log list", {**environment, "TZ": "UTC+25"})
    assert done.returncode == 2
    assert "TZ='UTC+25' is -2" in done.stderr
    assert in_shell("log list", {**environment, "TZ": "UTC+14"}).returncode == 0


@posix
def test_a_picture_needs_no_backend_of_a_notebook(environment, tmp_path):
    there = {**environment, "MPLBACKEND": "that_of_a_notebook"}
    assert in_shell(f'process "{STRICT}" --plot "{tmp_path / "a.png"}"', there).returncode == 0
    assert (tmp_path / "a.png").stat().st_size > 10_000
