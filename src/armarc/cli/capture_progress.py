"""What a running capture says on stderr, and its summary."""

from __future__ import annotations

import json
import logging
import sys
import time
from collections import deque

from armarc import __version__
from armarc.cli.terminal import MANNER
from armarc.sensor.capture import CaptureFiles, CaptureReport
from armarc.sensor.events import Battery, Ended, Event, Frames, LinkLost, LinkUp, Loss, Trouble

REFRESH_S = 0.5
PLAIN_EVERY_S = 5.0
WINDOW_S = 2.0


class _Now:
    """What is shown of one sensor."""

    def __init__(self) -> None:
        self.name = ""
        self.linked = False
        self.battery_pct: int | None = None
        self.frames = self.missing = 0
        self.recent: deque[tuple[float, int]] = deque()

    def rate_hz(self, now_s: float) -> float:
        while self.recent and now_s - self.recent[0][0] > WINDOW_S:
            self.recent.popleft()
        if not self.recent:
            return 0.0
        span = self.recent[-1][0] - self.recent[0][0]
        came = sum(n for _, n in self.recent) - self.recent[0][1]
        return came / span if span > 0.25 else 0.0


class Talk:
    """Live rate, loss and battery on stderr: one line that is renewed on a terminal, plain lines otherwise."""

    def __init__(self, sensors: int, first_words: str = "") -> None:
        self._now = [_Now() for _ in range(sensors)]
        self._live = sys.stderr.isatty()
        self._shown_s = time.monotonic()
        self._open_line = False
        self._width = 0
        # bleak tells what it retries; what matters of it reaches the user through the events.
        for name in ("bleak", "dbus_fast"):
            logging.getLogger(name).addHandler(logging.NullHandler())
        self.say(first_words or "looking for the sensor" + ("s …" if sensors > 1 else " …"))

    def say(self, text: str) -> None:
        """A line that stays."""
        if MANNER.quiet:
            return
        if self._open_line:
            self._renew("")
            self._open_line = False
        sys.stderr.write(_plain(text) + "\n")
        sys.stderr.flush()

    def hear(self, event: Event, files: CaptureFiles) -> None:
        """Take in an event."""
        now = self._now[event.sensor]
        who = now.name or f"sensor {event.sensor + 1}"
        clock_s = time.monotonic()
        if isinstance(event, Frames):
            now.frames += len(event.time_s)
            now.recent.append((clock_s, len(event.time_s)))
        elif isinstance(event, LinkUp):
            now.name, now.linked = event.facts.name or event.facts.address, True
            if event.again:
                self.say(f"{now.name}: linked again after {event.time_s:.1f} s of the capture")
            else:
                facts = event.facts
                firmware = f", firmware {facts.firmware}" if facts.firmware else ""
                self.say(f"{now.name}: {facts.rate_hz:g} Hz, {facts.profile}{firmware}; Ctrl-C ends")
        elif isinstance(event, LinkLost):
            now.linked = False
            self.say(f"{who}: link lost at {event.time_s:.1f} s ({event.reason}); looking for it")
        elif isinstance(event, Loss):
            now.missing += event.missing_frames
            if event.missing_frames:
                gap_s = event.end_s - event.start_s
                self.say(
                    f"{who}: {event.missing_frames} samples lost at {event.start_s:.2f} s "
                    f"({gap_s:.2f} s, {event.cause})"
                )
        elif isinstance(event, Battery):
            now.battery_pct = event.percent
            if event.low:
                level = "" if event.percent is None else f" ({event.percent} %)"
                self.say(f"{who}: battery low{level}: charge it soon")
        elif isinstance(event, Trouble):
            self.say(f"{who}: {event.message}")
        if not MANNER.quiet and clock_s - self._shown_s >= (REFRESH_S if self._live else PLAIN_EVERY_S):
            self._shown_s = clock_s
            self._show(clock_s, files.waiting)

    def _show(self, clock_s: float, waiting: int) -> None:
        parts = []
        for now in self._now:
            state = f"{now.rate_hz(clock_s):.0f} Hz" if now.linked else "no link"
            battery = "" if now.battery_pct is None else f", battery {now.battery_pct} %"
            total = now.frames + now.missing
            share = 100 * now.missing / total if total else 0.0
            parts.append(
                f"{now.name or 'sensor'}: {now.frames} samples, {state}, lost {now.missing} ({share:.2g} %)"
                f"{battery}"
            )
        text = "  |  ".join(parts) + (f"  |  disk is slow, {waiting} packets wait" if waiting > 200 else "")
        if self._live:
            self._renew(_plain(text))
            self._open_line = True
        else:
            self.say(text)

    def _renew(self, text: str) -> None:
        # Blanks instead of an escape: not every console takes escapes, and every one goes back to its first column.
        sys.stderr.write(f"\r{'':{self._width}}\r{text}")
        sys.stderr.flush()
        self._width = len(text)

    def end(self, report: CaptureReport) -> None:
        """Last words."""
        for now, one in zip(self._now, report.files, strict=True):
            ended = one.ended
            if not one.samples and report.samples:
                self.say(f"warning: {one.path.name} was not written: its sensor never came")
            if ended is None or not one.samples:
                continue
            length_s = (one.last_s or 0.0) - (one.first_s or 0.0)
            self.say(
                f"{now.name}: {one.samples} samples in {length_s:.1f} s, {ended.missing_frames} lost, "
                f"{ended.reconnects} reconnect{'s' if ended.reconnects != 1 else ''}"
            )
        if report.samples == 0 and report.fault is None:
            self.say("stopped before a sample came; nothing was written")


def summary(report: CaptureReport) -> str:
    """The capture as JSON."""
    files = []
    for one in report.files:
        facts, ended = (
            one.facts,
            one.ended
            or Ended(
                sensor=0,
                time_s=0.0,
                frames=0,
                missing_frames=0,
                duplicate_frames=0,
                bad_packets=0,
                reconnects=0,
            ),
        )
        files.append(
            {
                "file": str(one.path),
                "sensor": facts.name if facts else None,
                "serial": facts.serial if facts else None,
                "rate_hz": facts.rate_hz if facts else None,
                "samples": one.samples,
                "first_s": one.first_s,
                "last_s": one.last_s,
                "missing_samples": ended.missing_frames,
                "duplicate_samples": ended.duplicate_frames,
                "unreadable_packets": ended.bad_packets,
                "reconnects": ended.reconnects,
                "sensor_clock_drift_ppm": ended.drift_ppm,
            }
        )
    fault = str(report.fault) if report.fault else None
    document = {"schema": "armarc.capture/1", "armarc_version": __version__, "files": files, "fault": fault}
    return json.dumps(document, allow_nan=False, ensure_ascii=False)


def _plain(text: str) -> str:
    """Advertised names are anyone's text: no control characters reach the terminal."""
    return "".join(c if c.isprintable() else "?" for c in text)
