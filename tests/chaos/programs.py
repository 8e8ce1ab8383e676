"""Running the program as a stranger would, and watching when it says what."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import threading
import time
from functools import cache
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import typer
from typer.testing import CliRunner

from armarc.cli import commands
from armarc.cli.app import ErrorBoundary

START = "import sys; sys.argv[0] = 'armarc'; from armarc.cli import main; main()"


def command(*words: Any) -> list[str]:
    """The command line of ``armarc WORDS``."""
    return [sys.executable, "-c", START, *map(str, words)]


def environment(folder: Path) -> dict[str, str]:
    """An environment with settings and log of its own."""
    return {
        **os.environ,
        "PYTHONUNBUFFERED": "1",
        "ARMARC_CONFIG_DIR": str(folder / "config"),
        "ARMARC_LOG": str(folder / "log.sqlite"),
    }


def run(folder: Path, *words: Any, timeout: float = 60.0) -> subprocess.CompletedProcess[str]:
    """Run a command to its end."""
    return subprocess.run(
        command(*words), capture_output=True, text=True, timeout=timeout, env=environment(folder)
    )


@cache
def _program() -> typer.Typer:
    app = typer.Typer(cls=ErrorBoundary)
    app.callback()(lambda: None)
    commands.register(app)
    return app


def run_here(folder: Path, *words: Any) -> SimpleNamespace:
    """Run a command in this process, where nothing of what is tested hangs on having one of its own."""
    done = CliRunner().invoke(_program(), [str(word) for word in words], env=environment(folder))
    return SimpleNamespace(returncode=done.exit_code, stdout=done.stdout, stderr=done.stderr)


class Running:
    """A command under way, its lines noted with the time they came."""

    def __init__(self, folder: Path, *words: Any, **options: Any) -> None:
        self.process = subprocess.Popen(
            command(*words),
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
            env=environment(folder),
            **options,
        )
        self.out: list[tuple[float, str]] = []
        self.talk: list[tuple[float, str]] = []
        self._readers = [
            threading.Thread(target=self._read, args=pair, daemon=True)
            for pair in ((self.process.stdout, self.out), (self.process.stderr, self.talk))
        ]
        for reader in self._readers:
            reader.start()

    @staticmethod
    def _read(stream: Any, into: list[tuple[float, str]]) -> None:
        for line in stream:
            into.append((time.monotonic(), line))

    def wait_for(self, text: str, seconds: float = 30.0) -> str:
        """Wait for a line on either stream that holds a text."""
        deadline = time.monotonic() + seconds
        while time.monotonic() < deadline:
            for _, line in [*self.out, *self.talk]:
                if text in line:
                    return line
            time.sleep(0.01)
        raise TimeoutError(f"{text!r} was not said; stderr: {self.said()}")

    def records(self) -> list[tuple[float, dict[str, Any]]]:
        """JSON lines so far and when they came."""
        return [(when, json.loads(line)) for when, line in list(self.out)]

    def said(self) -> str:
        """Everything on stderr so far."""
        return "".join(line for _, line in list(self.talk))

    def end(self, seconds: float = 60.0) -> int:
        """Wait for the end; a command that does not end is killed and that is an error."""
        try:
            self.process.wait(seconds)
        except subprocess.TimeoutExpired:
            self.process.kill()
            raise
        finally:
            for reader in self._readers:
                reader.join(5.0)
            for stream in (self.process.stdout, self.process.stderr):
                assert stream is not None
                stream.close()
        return self.process.returncode
