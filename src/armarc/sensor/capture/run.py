"""A whole capture: stream in, files out, until it is stopped."""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import AsyncGenerator, Callable, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from pathlib import Path

from armarc.errors import SensorError
from armarc.sensor.capture.files import CaptureFiles, FilePlan
from armarc.sensor.events import Ended, Event, Frames, LinkUp, SensorFacts


@dataclass(slots=True, kw_only=True)
class FileReport:
    """How one sensor's part of a capture went."""

    path: Path
    facts: SensorFacts | None = None
    ended: Ended | None = None
    samples: int = 0
    first_s: float | None = None
    last_s: float | None = None


@dataclass(slots=True, kw_only=True)
class CaptureReport:
    """How a capture went; `fault` is what ended it early."""

    files: list[FileReport] = field(default_factory=list)
    fault: SensorError | None = None

    @property
    def samples(self) -> int:
        """Samples of all sensors."""
        return sum(one.samples for one in self.files)


async def capture(
    plans: Sequence[FilePlan],
    events: AsyncGenerator[Event, None],
    *,
    stop: asyncio.Event,
    seconds: float | None = None,
    listen: Callable[[Event, CaptureFiles], None] | None = None,
) -> CaptureReport:
    """Capture into files until `stop` is set, `seconds` of samples of every sensor are there, or it fails.

    Parameters
    ----------
    plans : sequence of FilePlan
        One for each sensor.
    events : async generator of Event
        What `armarc.sensor.stream` or `armarc.sensor.phone.phone_stream` gives, with the same `stop`.
    listen : callable or None
        Hears every event after it was handed to the files.

    Raises
    ------
    SensorError, UsageError
        Before the first sample. Afterwards the report carries the fault, and what was captured is kept.
    """
    plans = _on_one_clock(plans, datetime.now(UTC))
    report = CaptureReport(files=[FileReport(path=plan.path) for plan in plans])
    with CaptureFiles(plans) as files:
        try:
            async with contextlib.aclosing(events) as running:
                async for event in running:
                    files.put(event)
                    _note(report.files[event.sensor], event)
                    if listen is not None:
                        listen(event, files)
                    if files.fault is not None or _long_enough(report, seconds):
                        stop.set()
        except SensorError as error:
            report.fault = error
    for one, written in zip(report.files, files.samples, strict=True):
        one.samples = written
    if files.fault is not None:
        report.fault = files.fault
    if report.fault is not None and report.samples == 0:
        raise report.fault
    return report


def _on_one_clock(plans: Sequence[FilePlan], zero: datetime) -> list[FilePlan]:
    """Every file says when the clock its times count on was zero: the same for all sensors of a capture."""
    said = {"clock_zero_at": zero.isoformat(timespec="milliseconds")}
    return [
        replace(plan, metadata=replace(plan.metadata, other=plan.metadata.other | said)) for plan in plans
    ]


def _note(one: FileReport, event: Event) -> None:
    if isinstance(event, Frames):
        one.last_s = float(event.time_s[-1])
        if one.first_s is None:
            one.first_s = float(event.time_s[0])
    elif isinstance(event, LinkUp):
        one.facts = event.facts
    elif isinstance(event, Ended):
        one.ended = event


def _long_enough(report: CaptureReport, seconds: float | None) -> bool:
    if seconds is None:
        return False
    return all(
        one.first_s is not None and one.last_s is not None and one.last_s - one.first_s >= seconds
        for one in report.files
    )
