"""What shows, sounds or sends a session; a face that fails is dropped, and everything else goes on."""

from __future__ import annotations

import contextlib
from collections.abc import Callable
from functools import partial
from typing import Any, Protocol

from armarc.live.events import EngineEvent
from armarc.live.scoreboard import Scoreboard


class Face(Protocol):
    """Something that shows, sounds or sends the session; `name` is what people call it."""

    name: str

    def hear(self, record: dict[str, Any], event: EngineEvent | None) -> None:
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

    def hear(self, record: dict[str, Any], event: EngineEvent | None = None) -> None:
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
