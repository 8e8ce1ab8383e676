"""The commands over the log, called as from the command line, on a log of invented recordings."""

from __future__ import annotations

import atexit
import functools
import json
import shutil
import tempfile
from pathlib import Path

import typer
from typer.testing import CliRunner

from armarc.cli.app import ErrorBoundary
from armarc.cli.band import band
from armarc.cli.browse import browse
from armarc.cli.compare import compare
from armarc.cli.log import app as log
from armarc.cli.plan import plan
from armarc.cli.process import process
from armarc.cli.reliability import reliability
from armarc.cli.report import report
from armarc.cli.resist import resist
from armarc.cli.trend import trend
from armarc.log import open_log
from invented_log import fill

app = typer.Typer(cls=ErrorBoundary)
app.add_typer(log, name="log")
for command in (band, trend, compare, reliability, report, browse, process, plan, resist):
    app.command(command.__name__)(command)


def run(*words, code=0, **other):
    """Run a command; the exit code must be the one expected, and nothing may look like a traceback."""
    result = CliRunner().invoke(app, [str(word) for word in words], **other)
    assert result.exit_code == code, (result.exit_code, result.stdout, result.stderr, result.exception)
    assert "Traceback" not in result.stderr
    return result


def run_json(*words, **other):
    """Run a command with ``--json`` and read what it prints; NaN is refused."""

    def refuse(word):
        raise AssertionError(f"{word} in JSON")

    return json.loads(run(*words, "--json", **other).stdout, parse_constant=refuse)


def _folder() -> Path:
    """A folder that lasts as long as the tests run."""
    folder = tempfile.mkdtemp(prefix="armarc-test-")
    atexit.register(shutil.rmtree, folder, ignore_errors=True)
    return Path(folder)


@functools.cache
def recordings() -> Path:
    """Folder with three invented recordings of two sets, made once."""
    from armarc.recording.csv_writer import write_csv
    from armarc.simulate import SimulationOptions, plan_session, simulate_session

    folder = _folder()
    for seed, side in ((1, "right"), (2, "left"), (3, "right")):
        options = SimulationOptions(reps=5, sets=2, rest_s=14.0, side=side, load_kg=8.0, fatigue=0.2)
        recording, _ = simulate_session(plan_session(options, seed), seed)
        write_csv(recording, folder / f"s{seed}.csv")
    return folder


@functools.cache
def _imported(what: Path) -> Path:
    folder = _folder()
    run("log", "import", what, "--log-file", folder / "log.sqlite")
    return folder


def log_of(what: Path, folder: Path) -> Path:
    """A log of recordings, with their raw files, of the caller's own; each is imported once."""
    shutil.copytree(_imported(what), folder, dirs_exist_ok=True)
    return folder / "log.sqlite"


def real_log(folder: Path) -> Path:
    """A log of the invented recordings, with their raw files, of the caller's own."""
    return log_of(recordings(), folder / "real")


@functools.cache
def _filled() -> Path:
    path = _folder() / "wide.sqlite"
    with open_log(str(path)) as store:
        fill(store, days=8, sets=2, gain=1.5)
        fill(store, days=8, sets=1, seed=700, side="left")
        fill(store, days=4, sets=1, lifter="Ada", seed=500)
    return path


def wide_log(folder: Path) -> Path:
    """A log of many invented results without raw recordings: two lifters, both sides, eight sessions each."""
    return Path(shutil.copy(_filled(), folder / "wide.sqlite"))
