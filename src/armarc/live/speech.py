"""The rep count, spoken by the system's own speech command where there is one."""

from __future__ import annotations

import shutil
import subprocess
import sys
from collections.abc import Sequence

COMMANDS: tuple[tuple[str, ...], ...] = (
    ("espeak-ng", "-s", "190"),
    ("espeak", "-s", "190"),
    ("spd-say", "-r", "30"),
)
ON_MACOS: tuple[str, ...] = ("say", "-r", "220")
ON_WINDOWS: tuple[str, ...] = (
    *("powershell", "-NoProfile", "-Command"),
    "& {Add-Type -AssemblyName System.Speech; $voice = New-Object System.Speech.Synthesis.SpeechSynthesizer; "
    "$voice.Rate = 2; $voice.Speak([string]$args[0])}",
)
"""The system's own voice through its own shell, which hands the text on as the block's argument (from memory)."""


def find_speech() -> tuple[str, ...] | None:
    """The speech command of this machine, or None."""
    own = {"darwin": (ON_MACOS,), "win32": (ON_WINDOWS,)}.get(sys.platform, ())
    known = (*own, *COMMANDS)
    return next((command for command in known if shutil.which(command[0])), None)


class Speaker:
    """Speaks short texts without waiting; a new one cuts off the one before."""

    def __init__(self, command: Sequence[str]) -> None:
        self._command = list(command)
        self._running: subprocess.Popen[bytes] | None = None

    def say(self, text: str) -> None:
        """Speak a text.

        Raises
        ------
        OSError
            The command cannot be run.
        """
        self.hush()
        self._running = subprocess.Popen(
            [*self._command, text],
            stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )

    def hush(self) -> None:
        """Stop speaking."""
        if self._running is not None and self._running.poll() is None:
            self._running.terminate()
        if self._running is not None:
            self._running.wait()
        self._running = None
