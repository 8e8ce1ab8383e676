"""One measured file, and where what was measured goes."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

from armarc.cli.recording_outputs import VideoClock

if TYPE_CHECKING:
    from armarc.pipeline import Session
    from armarc.results import Result


@dataclass(frozen=True, slots=True, kw_only=True)
class LogEntry:
    """Which log to write to, and what the person said about the sets."""

    file: str | None
    labels: dict[str, Any]


@dataclass(frozen=True, slots=True, kw_only=True)
class Outputs:
    """Where results go besides the table on stdout."""

    json: bool = False
    csv: Path | None = None
    samples: Path | None = None
    markers: Path | None = None
    video: VideoClock = field(default_factory=VideoClock)
    plot: Path | None = None
    steps: int | None = None
    dark: bool = False
    size: str = "wide"
    force: bool = False
    log: LogEntry | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Measured:
    """One measured file: the session, its result, and the options of reading in force."""

    path: Path
    session: Session
    result: Result
    reading: dict[str, Any]
    trunk_path: Path | None = None


@dataclass(frozen=True, slots=True)
class TrunkFile:
    """The recording of a second sensor on the chest, its clock and its forward axis (None: what the heads say)."""

    path: Path | None = None
    clock: str = "auto"
    forward: str | None = None


NO_TRUNK = TrunkFile()
"""What the heads say."""
