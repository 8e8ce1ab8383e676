"""A whole capture, stream in, files out, until it is stopped. Frames are written as they come, in a thread of its own,
so that a slow disk never holds up the radio.
"""

from __future__ import annotations

import asyncio
import contextlib
import errno
import os
import queue
import tempfile
import threading
import time
from collections.abc import AsyncGenerator, Callable, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from armarc.errors import ArmarcError, SensorError, UsageError
from armarc.recording import ROUNDING_KEYS, Metadata, RecordingWriter
from armarc.sensor.bench.stream import KEY as TEMPERATURE_KEY
from armarc.sensor.events import Battery, Ended, Event, Frames, LinkLost, LinkUp, Loss, SensorFacts, Trouble

FLUSH_S = 0.2
"""What was appended goes to the system at least this often: a killed program loses less than half a second."""
FSYNC_S = 2.0
"""… and to the disk this often: a power cut loses little more."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FilePlan:
    """Where one sensor's frames go and what is known beforehand.

    Parameters
    ----------
    path : Path
    metadata : Metadata
        Completed with what the sensor says of itself.
    """

    path: Path
    metadata: Metadata = field(default_factory=Metadata)


def check_targets(paths: Sequence[Path]) -> None:
    """Find out before the search for sensors that the files can be written.

    Raises
    ------
    UsageError
        A file exists already, or two are the same.
    SensorError
        The folder does not exist or cannot be written.
    """
    if len(set(paths)) != len(paths):
        raise UsageError(f"two sensors cannot go into one file: {paths[0]}")
    for path in paths:
        if path.exists():
            raise UsageError(
                f"{path} exists already", "recordings are never overwritten; choose another name"
            )
        try:
            with tempfile.TemporaryFile(dir=path.parent):
                pass
        except OSError as error:
            raise _disk_error(path, error, 0) from error


class CaptureFiles:
    """One file for each sensor, opened when the sensor is there.

    Use as a context manager; `put` never blocks. `fault` is what went wrong on the disk, if anything.
    """

    def __init__(self, plans: Sequence[FilePlan]) -> None:
        self.fault: SensorError | None = None
        self.samples = [0] * len(plans)
        self._plans = tuple(plans)
        self._writers: dict[int, RecordingWriter] = {}
        self._todo: queue.SimpleQueue[Event | None] = queue.SimpleQueue()
        self._handles: dict[int, int] = {}
        self._closing = threading.Event()
        self._threads = (
            threading.Thread(target=self._write, name="capture-write"),
            threading.Thread(target=self._sync, name="capture-sync", daemon=True),
        )

    def __enter__(self) -> CaptureFiles:
        for thread in self._threads:
            thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._todo.put(None)
        self._threads[0].join()
        self._closing.set()
        self._threads[1].join(5)
        for handle in self._handles.values():
            os.close(handle)

    @property
    def waiting(self) -> int:
        """Events not yet written."""
        return self._todo.qsize()

    def put(self, event: Event) -> None:
        """Hand an event over."""
        self._todo.put(event)

    def _write(self) -> None:
        flushed_s = time.monotonic()
        going = True
        while going:
            with contextlib.suppress(queue.Empty):
                event = self._todo.get(timeout=FLUSH_S / 2)
                going = event is not None
                if event is not None and self.fault is None:
                    self._guarded(event)
            if time.monotonic() - flushed_s >= FLUSH_S:
                flushed_s = time.monotonic()
                self._guarded(None)
        for sensor, writer in self._writers.items():
            try:
                writer.close()
            except (ArmarcError, OSError, ValueError) as error:
                self._failed(sensor, error)

    def _guarded(self, event: Event | None) -> None:
        """Write an event, or flush; a fault of the disk is kept for whoever looks."""
        sensor = event.sensor if event is not None else 0
        try:
            if event is not None:
                self._one(event)
            elif self.fault is None:
                for sensor, writer in self._writers.items():  # noqa: B007 (for the message)
                    writer.flush()
        except (ArmarcError, OSError, ValueError) as error:
            self._failed(sensor, error)

    def _failed(self, sensor: int, error: Exception) -> None:
        if self.fault is None:
            self.fault = _disk_error(self._plans[sensor].path, error, self.samples[sensor])

    def _one(self, event: Event) -> None:
        if isinstance(event, LinkUp) and event.sensor not in self._writers:
            self._open(event)
        writer = self._writers.get(event.sensor)
        if writer is None:
            return
        if isinstance(event, Frames):
            writer.append(event.time_s, event.specific_force_m_s2, event.angular_velocity_rad_s)
            self.samples[event.sensor] += len(event.time_s)
        else:
            writer.event(event_record(event))

    def _open(self, event: LinkUp) -> None:
        plan, facts = self._plans[event.sensor], event.facts
        other = {
            "sensor_serial": facts.serial,
            "sensor_firmware": facts.firmware,
            "sensor_address": facts.address,
            "sensor_profile": facts.profile,
            "sensor_filter_hz": facts.filter_hz,
            TEMPERATURE_KEY: facts.temperature_c,
            ROUNDING_KEYS[0]: facts.rounding_m_s2,
            ROUNDING_KEYS[1]: facts.rounding_rad_s,
            "sensor_habits": list(facts.habits) or None,
        }
        known = plan.metadata
        metadata = Metadata(
            exercise=known.exercise,
            side=known.side,
            load_kg=known.load_kg,
            sensor=known.sensor or facts.name or facts.address,
            strap=known.strap,
            hand_axis=known.hand_axis,
            started_at=known.started_at or time.strftime("%Y-%m-%dT%H:%M:%S%z"),
            note=known.note,
            accelerometer_range_m_s2=facts.accelerometer_range_m_s2,
            gyroscope_range_rad_s=facts.gyroscope_range_rad_s,
            other=known.other | {key: value for key, value in other.items() if value not in (None, "")},
        )
        self._writers[event.sensor] = RecordingWriter(plan.path, metadata, rate_hz=facts.rate_hz)
        self._handles[event.sensor] = os.open(plan.path, os.O_WRONLY | getattr(os, "O_BINARY", 0))

    def _sync(self) -> None:
        # A handle of its own: data of the file go to the disk whoever wrote them, and writing goes on meanwhile.
        while not self._closing.wait(FSYNC_S):
            for sensor, handle in list(self._handles.items()):
                try:
                    os.fsync(handle)
                except OSError as error:
                    self._failed(sensor, error)


def event_record(event: Event) -> dict[str, Any]:
    """An event as a line of the file."""
    if isinstance(event, Loss):
        return {
            "event": "gap",
            "start_s": round(event.start_s, 6),
            "end_s": round(event.end_s, 6),
            "missing_samples": event.missing_frames,
            "cause": event.cause,
        }
    at = {"time_s": round(event.time_s, 3)} if not isinstance(event, Frames) else {}
    if isinstance(event, LinkUp):
        return {"event": "link up", **at, "again": event.again}
    if isinstance(event, LinkLost):
        return {"event": "link lost", **at, "reason": event.reason}
    if isinstance(event, Battery):
        return {"event": "battery", **at, "percent": event.percent, "low": event.low}
    if isinstance(event, Trouble):
        return {"event": "trouble", **at, "message": event.message}
    if isinstance(event, Ended):
        drift = None if event.drift_ppm is None else round(event.drift_ppm, 1)
        return {
            "event": "end",
            **at,
            "samples": event.frames,
            "missing_samples": event.missing_frames,
            "duplicate_samples": event.duplicate_frames,
            "unreadable_packets": event.bad_packets,
            "reconnects": event.reconnects,
            "sensor_clock_drift_ppm": drift,
        } | ({} if event.temperature_c is None else {TEMPERATURE_KEY: event.temperature_c})
    return {"event": "frames"}


def _disk_error(path: Path, error: Exception, samples: int) -> SensorError:
    cause = error if isinstance(error, OSError) else error.__cause__
    number = cause.errno if isinstance(cause, OSError) else None
    kept = f"; the first {samples} samples are kept in it" if samples else ""
    if number == errno.ENOSPC or number == getattr(errno, "EDQUOT", None):
        return SensorError(f"{path}: the disk is full{kept}", "free some space or choose another disk")
    if number in (errno.EACCES, errno.EPERM, errno.EROFS):
        return SensorError(
            f"{path}: the folder cannot be written (read-only, or no permission){kept}",
            "choose another folder",
        )
    if number in (errno.ENOENT, errno.ENOTDIR):
        return SensorError(f"{path}: the folder does not exist{kept}", "create it or choose another")
    said = getattr(cause, "strerror", None) or str(error)
    return SensorError(f"{path}: writing failed: {said}{kept}", "choose another disk or folder")


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
