"""A PostgreSQL server of the tests' own, on a socket in its own folder; tests skip where none can be had."""

from __future__ import annotations

import contextlib
import glob
import os
import shutil
import subprocess
import tempfile
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest


@dataclass(frozen=True)
class Server:
    """A server that can be stopped like one whose power fails, and started again."""

    programs: Path
    folder: Path
    become: tuple[str, ...]

    @property
    def url(self) -> str:
        """Address for SQLAlchemy."""
        return f"postgresql+psycopg://armarc@/postgres?host={self.folder}"

    def start(self) -> None:
        """Start and wait until it answers."""
        options = f"-c listen_addresses= -c unix_socket_directories={self.folder} -c fsync=off -c shared_buffers=16MB"
        for _ in range(5):
            started = self._control("-l", self.folder / "server.log", "-w", "-o", options, "start")
            if started.returncode == 0:
                return
            time.sleep(1.0)  # after a crash its last processes may not be gone yet
        log = self.folder / "server.log"
        said = (log.read_text() if log.exists() else started.stderr).strip().splitlines()
        pytest.skip(f"the server does not start here: {said[-3:]}")

    def crash(self) -> None:
        """Stop at once, without goodbye to anybody."""
        self._control("-m", "immediate", "stop")

    def _control(self, *words: object) -> subprocess.CompletedProcess[str]:
        command = [*self.become, self.programs / "pg_ctl", "-D", self.folder / "data", *words]
        return subprocess.run(list(map(str, command)), capture_output=True, text=True, cwd="/", timeout=100)


def _programs() -> Path | None:
    places = [shutil.which("pg_ctl"), *sorted(glob.glob("/usr/lib/postgresql/*/bin/pg_ctl"), reverse=True)]
    for place in filter(None, places):
        folder = Path(place).resolve().parent
        if (folder / "initdb").exists() and (folder / "postgres").exists():
            return folder
    return None


@contextlib.contextmanager
def running_server() -> Iterator[Server]:
    """A server from here to the end of the block."""
    pytest.importorskip("psycopg", reason="the driver psycopg is not installed")
    programs = _programs()
    if programs is None:
        pytest.skip("no PostgreSQL server programs here (Debian: postgresql)")
    become: tuple[str, ...] = ()
    if os.geteuid() == 0:
        if shutil.which("setpriv") is None:
            pytest.skip("the server does not run as superuser, and setpriv is not there")
        become = ("setpriv", "--reuid=65534", "--regid=65534", "--clear-groups")
    # Not in the folder of the test run: that one is closed to other users whenever another run starts.
    folder = Path(tempfile.mkdtemp(prefix="armarc-pg-"))
    if become:
        os.chown(folder, 65534, 65534)  # the server refuses the superuser
    made = subprocess.run(
        [*become, programs / "initdb", "-D", folder / "data", "-U", "armarc", "-A", "trust", "-E", "UTF8",
         "--no-sync", "--locale=C"],
        capture_output=True, text=True, cwd="/", timeout=100,
    )  # fmt: skip
    if made.returncode != 0:
        pytest.skip(f"initdb fails here: {made.stderr.strip().splitlines()[-1:]}")
    server = Server(programs=programs, folder=folder, become=become)
    server.start()
    try:
        yield server
    finally:
        server.crash()
        shutil.rmtree(folder, ignore_errors=True)
