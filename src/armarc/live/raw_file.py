"""The file of a raw stream: a disk that is full or gone ends the file, not the session."""

from __future__ import annotations

import contextlib
from collections.abc import Callable
from typing import Any

from armarc.errors import ArmarcError
from armarc.live.source import Samples
from armarc.recording import RecordingWriter


class RawFile:
    """Takes what a sensor sends as long as it can be written.

    Parameters
    ----------
    writer : RecordingWriter or None
        None keeps nothing.
    lost : callable
        Takes what went wrong, once; after that nothing is written.
    """

    def __init__(self, writer: RecordingWriter | None, lost: Callable[[Exception], None]) -> None:
        self._writer = writer
        self._lost = lost

    def append(self, item: Samples) -> None:
        """Write samples through to the disk."""

        def write(writer: RecordingWriter) -> None:
            writer.append(item.time_s, item.specific_force_m_s2, item.angular_velocity_rad_s)
            writer.flush()

        self._do(write)

    def event(self, record: dict[str, Any]) -> None:
        """Write a line about the stream."""
        self._do(lambda writer: writer.event(record))

    def close(self) -> None:
        """End the file in good order."""
        self._do(lambda writer: writer.close())

    def _do(self, what: Callable[[RecordingWriter], None]) -> None:
        if self._writer is None:
            return
        try:
            what(self._writer)
        except (ArmarcError, OSError) as error:
            writer, self._writer = self._writer, None
            with contextlib.suppress(ArmarcError, OSError):
                writer.close()
            self._lost(error)
