"""``armarc live`` in a terminal of its own (a pseudo-terminal): keys between the sets."""

from __future__ import annotations

import contextlib
import os
import subprocess
import sys
import time
from pathlib import Path

import pytest

from armarc.log import list_sets, open_log
from armarc.recording import write_csv
from live_runs import recording

pty = pytest.importorskip("pty", reason="no pseudo-terminals on this system")

START = "import sys; sys.argv[0] = 'armarc'; from armarc.cli import main; main()"


class Terminal:
    """A program in a terminal of 100 × 30 characters."""

    def __init__(self, folder: Path, *words: str) -> None:
        import fcntl
        import struct
        import termios

        self.main, inside = pty.openpty()
        fcntl.ioctl(inside, termios.TIOCSWINSZ, struct.pack("HHHH", 30, 100, 0, 0))
        self.before = termios.tcgetattr(inside)
        places = {"ARMARC_CONFIG_DIR": str(folder / "config"), "ARMARC_DATA_DIR": str(folder / "data")}
        self.process = subprocess.Popen(
            [sys.executable, "-c", START, *words],
            stdin=inside,
            stdout=inside,
            stderr=inside,
            env={**os.environ, **places, "TERM": "xterm", "COLUMNS": "100", "LINES": "30"},
            cwd=folder,
        )
        self.inside, self.seen = inside, ""
        os.set_blocking(self.main, False)

    def wait_for(self, text: str, seconds: float = 40.0) -> None:
        deadline = time.monotonic() + seconds
        start = len(self.seen)
        while text not in self.seen[start:]:
            assert time.monotonic() < deadline, (text, self.seen[-3000:])
            self.read()

    def read(self) -> None:
        time.sleep(0.02)
        with contextlib.suppress(BlockingIOError):
            self.seen += os.read(self.main, 65536).decode("utf-8", "replace")

    def press(self, keys: str) -> None:
        os.write(self.main, keys.encode())

    def end(self) -> int:
        import termios

        while self.process.poll() is None:
            self.read()
        assert termios.tcgetattr(self.inside) == self.before  # the terminal is as it was
        for fd in (self.main, self.inside):
            os.close(fd)
        return self.process.returncode


def test_lifters_take_turns_by_keys(tmp_path: Path) -> None:
    made, _ = recording(2, sets=2, reps=3, rest_s=16.0, load_kg=8.0)
    write_csv(made, tmp_path / "two.csv")
    words = ("live", "--from", "two.csv", "--speed", "4", "--log", "--lifter", "Anna", "--rest", "6")
    screen = Terminal(tmp_path, *words)
    screen.wait_for("READY")
    screen.press("lBen\n")  # before the first rep: at once
    screen.wait_for("Ben")
    screen.wait_for("0-9 RIR")
    screen.press("2p3 front 80\n")
    screen.wait_for("pain 3")
    screen.press("lAnna\nk6kg\ns")
    screen.wait_for("6 kg")
    assert screen.end() == 0
    with open_log(str(tmp_path / "data" / "log.sqlite")) as store:
        first, second = sorted(list_sets(store), key=lambda one: one.id)
    assert (first.lifter, first.rir, first.pain, first.pain_place, first.pain_at_deg) == (
        "Ben",
        2,
        3,
        "front",
        80,
    )
    assert (second.lifter, second.side, second.load_kg, second.rir) == ("Anna", "left", 6, None)
    # A recording that is played is no session to take up again.
    assert not (tmp_path / "config" / "tasks.json").exists()
