"""Tones for the verdict and a tick for the end of a rep, made as arrays; the rep count, spoken by the system.

The three differ in pitch by octaves and more, in number and in length, so that they are told apart in a noisy room,
on a phone's loudspeaker, and by people who hear pitch badly.
"""

from __future__ import annotations

import shutil
import subprocess
import sys
import threading
from collections import deque
from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from armarc.computer import how_to_add
from armarc.live.events import EngineEvent, GateCrossed, RepEnded

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


SOUND_RATE_HZ = 44100
LOUDNESS = 0.5
_RAMP_S = 0.006

PATTERNS: dict[str, tuple[tuple[float, float], ...]] = {
    "below": ((220.0, 0.26),),
    "inside": ((660.0, 0.11),),
    "above": ((1760.0, 0.055), (0.0, 0.045), (1760.0, 0.055)),
    "tick": ((2600.0, 0.014),),
    "mark": ((440.0, 0.06), (0.0, 0.04), (880.0, 0.06), (0.0, 0.04), (440.0, 0.06)),
}
"""Pitch in Hz (0 for silence) and length in s, one after the other."""


def tone(name: str) -> NDArray[np.float32]:
    """Make one of the sounds.

    Parameters
    ----------
    name : str
        A key of `PATTERNS`.

    Returns
    -------
    ndarray of float32, shape (n,)
        Mono, within ±`LOUDNESS`; faded in and out so that nothing clicks.
    """
    parts = []
    for pitch_hz, length_s in PATTERNS[name]:
        n = round(length_s * SOUND_RATE_HZ)
        t = np.arange(n) / SOUND_RATE_HZ
        # A touch of the third harmonic carries low tones through small loudspeakers.
        wave = np.sin(2 * np.pi * pitch_hz * t) + (0.35 if pitch_hz < 400 else 0.0) * np.sin(
            6 * np.pi * pitch_hz * t
        )
        ramp = min(round(_RAMP_S * SOUND_RATE_HZ), n // 2)
        shape = np.ones(n)
        fade = 0.5 - 0.5 * np.cos(np.pi * np.arange(ramp) / max(ramp, 1))
        shape[:ramp], shape[n - ramp :] = fade, fade[::-1]
        parts.append(wave * shape)
    sound = np.concatenate(parts)
    loudest = float(np.abs(sound).max()) or 1.0
    share = 0.3 if name == "tick" else 1.0
    return (LOUDNESS * share * sound / loudest).astype(np.float32)


def sound_for(event: EngineEvent) -> str | None:
    """Which sound an event makes, if any; late verdicts make none."""
    if isinstance(event, GateCrossed) and not event.late:
        return event.verdict
    return "tick" if isinstance(event, RepEnded) else None


class Player:
    """Plays sounds at once, one over the other, through one open stream.

    Raises
    ------
    OSError, ImportError
        Without a sound library or device.
    """

    def __init__(self) -> None:
        from importlib import import_module

        library: Any = import_module("sounddevice")
        self._sounds = {name: tone(name) for name in PATTERNS}
        self._playing: deque[tuple[NDArray[np.float32], int]] = deque()
        self._lock = threading.Lock()
        try:
            self._stream = library.OutputStream(
                samplerate=SOUND_RATE_HZ, channels=1, dtype="float32", latency="low", callback=self._fill
            )
            self._stream.start()
        except Exception as error:  # the library has an error class of its own
            raise OSError(str(error)) from error

    def play(self, name: str) -> None:
        """Start a sound."""
        with self._lock:
            self._playing.append((self._sounds[name], 0))

    def close(self) -> None:
        """Let go of the device."""
        self._stream.stop()
        self._stream.close()

    def _fill(self, out: NDArray[np.float32], frames: int, time: object, status: object) -> None:
        out[:] = 0
        with self._lock:
            for _ in range(len(self._playing)):
                sound, at = self._playing.popleft()
                part = sound[at : at + frames]
                out[: len(part), 0] += part
                if at + frames < len(sound):
                    self._playing.append((sound, at + frames))


def open_player() -> tuple[Player | None, str]:
    """A player, or None and the reason why there is no sound."""
    try:
        return Player(), ""
    except ImportError:
        return None, f"no sound: the sound library is missing ({how_to_add('sound')})"
    except OSError as error:
        return None, f"no sound: no sound device can be used ({error})"
