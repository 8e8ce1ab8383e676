"""What shows, sounds or sends a session, and the faces that need no page of their own: JSON, screen, sound, speech."""

from __future__ import annotations

import contextlib
import json
import sys
import time
from collections.abc import Callable
from functools import partial
from typing import TYPE_CHECKING, Any, Protocol

from armarc.live.events import EngineEvent, RepEnded, SetEnded
from armarc.live.scoreboard import Scoreboard
from armarc.live.tones import Player, Speaker, sound_for
from armarc.outputs import let_go

if TYPE_CHECKING:
    from armarc.live.screen import Screen


class Face(Protocol):
    """Something that shows, sounds or sends the session; `name` is what people call it."""

    name: str

    def hear(self, record: dict[str, object], event: EngineEvent | None) -> None:
        """An event, as its JSON record and, when it came from the engine, as itself."""

    def refresh(self, scoreboard: Scoreboard) -> None:
        """New samples have arrived; called at every packet."""

    def close(self) -> None:
        """The session is over."""


class Audience:
    """All faces of a session.

    Parameters
    ----------
    faces : list of Face
        More may be added while the session runs.
    tell : callable
        Takes a sentence for people.
    """

    def __init__(self, faces: list[Face], tell: Callable[[str], None]) -> None:
        self._faces = faces
        self._tell = tell

    def hear(self, record: dict[str, object], event: EngineEvent | None = None) -> None:
        """Let every face hear an event."""
        for face in list(self._faces):
            self._let(face, partial(face.hear, record, event))

    def refresh(self, scoreboard: Scoreboard) -> None:
        """Let every face show the scoreboard as it is."""
        for face in list(self._faces):
            self._let(face, partial(face.refresh, scoreboard))

    def close(self) -> None:
        """The session is over."""
        for face in list(self._faces):
            self._let(face, face.close)

    def _let(self, face: Face, what: Callable[[], None]) -> None:
        try:
            what()
        except Exception as error:
            self._faces.remove(face)
            reason = getattr(error, "strerror", None) or error
            self._tell(f"{face.name} is gone: {reason}; the session goes on")
            with contextlib.suppress(Exception):
                face.close()


FRAMES_PER_S = 15.0


class JsonLines:
    """One JSON object per event and line."""

    name = "the reader of the events"

    def __init__(self) -> None:
        self._out = sys.stdout

    def hear(self, record: dict[str, object], event: EngineEvent | None) -> None:
        """Print the record at once."""
        try:
            self._out.write(json.dumps(record, allow_nan=False, ensure_ascii=False) + "\n")
            self._out.flush()
        except BrokenPipeError:
            let_go(self._out)
            raise

    def refresh(self, scoreboard: Scoreboard) -> None:
        """Nothing: samples are no events."""

    def close(self) -> None:
        """Nothing to let go of."""


class TerminalFace:
    """The lifting screen, drawn at most `FRAMES_PER_S` times a second, and at once for a verdict."""

    name = "the screen"

    def __init__(self, screen: Screen) -> None:
        self._screen = screen
        self._drawn_s = -1.0
        self._news = False

    def hear(self, record: dict[str, object], event: EngineEvent | None) -> None:
        """The next refresh draws at once."""
        self._news = True

    def refresh(self, scoreboard: Scoreboard) -> None:
        """Draw when something has happened or a frame is due."""
        now_s = time.monotonic()
        if self._news or now_s - self._drawn_s >= 1.0 / FRAMES_PER_S:
            self._screen.draw(scoreboard)
            self._drawn_s, self._news = now_s, False

    def close(self) -> None:
        """The screen is put away by whoever opened it."""


class SoundFace:
    """Tones through a player."""

    name = "the sound"

    def __init__(self, player: Player) -> None:
        self._player = player

    def hear(self, record: dict[str, object], event: EngineEvent | None) -> None:
        """Play what belongs to the event."""
        name = "mark" if record["event"] == "mark reached" else None if event is None else sound_for(event)
        if name is not None:
            self._player.play(name)

    def refresh(self, scoreboard: Scoreboard) -> None:
        """Nothing: samples make no sound."""

    def close(self) -> None:
        """Let go of the sound device."""
        self._player.close()


class SpeechFace:
    """Speaks the rep count; gives up with one sentence when the command fails."""

    name = "the speech"

    def __init__(self, speaker: Speaker, tell: Callable[[str], None]) -> None:
        self._speaker: Speaker | None = speaker
        self._tell = tell
        self._counted = 0

    def hear(self, record: dict[str, Any], event: EngineEvent | None) -> None:
        """Speak the number of a rep that has ended, or that a mark was reached."""
        words = "mark" if record["event"] == "mark reached" else ""
        if isinstance(event, RepEnded):
            # Both arms come to the same number: it is spoken once.
            words = str(event.reps) if event.reps != self._counted else ""
            self._counted = event.reps
        elif isinstance(event, SetEnded):
            self._counted = 0
        if self._speaker is None or not words:
            return
        try:
            self._speaker.say(words)
        except OSError as error:
            self._tell(f"no speech: {error.strerror or error}")
            self._speaker = None

    def refresh(self, scoreboard: Scoreboard) -> None:
        """Nothing: samples are not spoken."""

    def close(self) -> None:
        """Let the last word be finished."""
