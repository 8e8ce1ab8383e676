"""Handing a measured set on: to a command, into the training log; what the same task was the last time."""

from __future__ import annotations

import contextlib
import json
import os
import shlex
import signal
import subprocess
import sys
import tempfile
import threading
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

from armarc.errors import ArmarcError, UsageError
from armarc.live.offline import MeasuredLive
from armarc.log.labels import Labels
from armarc.quantities import DEFAULT_LIFTER
from armarc.tasks import Task

if TYPE_CHECKING:
    from armarc.log.reading import LoggedSet
    from armarc.log.store import Store


_COMPARED = (
    ("mean_start_velocity_deg_s", "start", "°/s"),
    ("mean_rom_deg", "range", "°"),
    ("velocity_loss_pct", "loss", "%"),
)
"""Key of a summary, its word and its unit."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LastTime:
    """The sets of the last day on which the same lifter did the same with the same arm, in order."""

    day: date
    sets: tuple[LoggedSet, ...]

    def words(self, place: int = 1) -> str:
        """What was lifted in the set of this place of the day (the last one beyond them)."""
        one = self.at(place)
        return f"last time ({self.day:%d %b}): {_facts(one.load_kg, one.reps, one.summary)}"

    def at(self, place: int) -> LoggedSet:
        """The set of this place, 1 the first."""
        return self.sets[min(max(place, 1), len(self.sets)) - 1]

    def against(self, place: int, reps: int, load_kg: float | None, summary: dict[str, object]) -> str:
        """Today's set against that of the same place; it says what differs and judges nothing."""
        one = self.at(place)
        parts = [f"{reps} reps ({reps - one.reps:+d})"]
        if load_kg != one.load_kg and load_kg is not None and one.load_kg is not None:
            parts.insert(0, f"{load_kg - one.load_kg:+.3g} kg")
        for key, word, unit in _COMPARED:
            now, then = summary.get(key), one.summary.get(key)
            if isinstance(now, int | float) and isinstance(then, int | float):
                space = "" if unit == "°" else " "
                parts.append(f"{word} {now:.0f}{space}{unit} ({round(now) - round(then):+d})")
        return f"since {self.day:%d %b}: {', '.join(parts)}"


def last_time(store: Store, task: Task, today: date) -> LastTime | None:
    """The last day before today with this lifter, exercise, variant and arm; None when there is none."""
    # The database is loaded by who asks it: a session without the log begins without.
    from armarc.log.reading import Filter, list_sets

    where = Filter(
        lifter=task.lifter or DEFAULT_LIFTER,
        exercise=task.exercise,
        variant=task.variant or "",
        side=task.side,
    )
    newest = next((one for one in list_sets(store, where, limit=200) if one.day < today), None)
    if newest is None:
        return None
    sets = list_sets(store, replace(where, since=newest.day, until=newest.day))
    return LastTime(day=newest.day, sets=tuple(reversed(sets)))


def _facts(load_kg: float | None, reps: int, summary: dict[str, object]) -> str:
    parts = [] if load_kg is None else [f"{load_kg:.4g} kg"]
    parts.append(f"{reps} rep{'s' * (reps != 1)}")
    for key, word, unit in _COMPARED[:2]:
        if isinstance(value := summary.get(key), int | float):
            parts.append(f"{word} {value:.0f}{'' if unit == '°' else ' '}{unit}")
    return ", ".join(parts)


HOOK_LIMIT_S = 60.0


def parse_hook(text: str) -> list[str]:
    """Split a hook command into words; no shell runs.

    Raises
    ------
    UsageError
        For an empty command or unclosed quotes.
    """
    try:
        words = _words_of(text)
    except ValueError as error:
        raise UsageError(f"the hook command cannot be read: {error}", "check its quotes") from error
    if not words:
        raise UsageError(
            "the hook command is empty", "name a program, for example --hook 'python3 after_set.py'"
        )
    return words


def _on_windows() -> bool:
    return sys.platform == "win32"


def _words_of(text: str) -> list[str]:
    if not _on_windows():
        return shlex.split(text)
    # There a backslash parts folders and takes no meaning away; quotes only hold words together.
    words = shlex.split(text, posix=False)
    return [one[1:-1] if len(one) > 1 and one[0] == one[-1] and one[0] in "'\"" else one for one in words]


class Hooks:
    """Runs a command after every set, one at a time, in a worker of its own: a command that hangs holds up nothing.

    Parameters
    ----------
    command : list of str
    limit_s : float
        After this long a command is ended, with everything it has started.
    """

    def __init__(self, command: list[str], limit_s: float = HOOK_LIMIT_S) -> None:
        self._command = command
        self._limit_s = limit_s
        self._worker = ThreadPoolExecutor(max_workers=1, thread_name_prefix="hook")
        self._running: subprocess.Popen[bytes] | None = None
        self._hurried = threading.Event()
        self._turn = threading.Lock()

    def submit(self, measured: MeasuredLive) -> Future[str]:
        """Give the command the set as one JSON object on its stdin; the result is what went wrong, or empty."""
        return self._worker.submit(self._run, measured)

    def hurry(self) -> None:
        """End what runs now and start nothing more."""
        with self._turn:
            self._hurried.set()
            if self._running is not None:
                _end_group(self._running)

    def close(self) -> None:
        """Let go of the worker."""
        self._worker.shutdown(wait=True)

    def _run(self, measured: MeasuredLive) -> str:
        name = self._command[0]
        text = json.dumps(measured.record(), allow_nan=False, ensure_ascii=False) + "\n"
        try:
            with self._turn:
                if self._hurried.is_set():
                    return f"the hook {name} was not run for set {measured.number}: the session was ended at once"
                process = self._running = subprocess.Popen(
                    self._command,
                    stdin=subprocess.PIPE,
                    stdout=subprocess.DEVNULL,
                    stderr=subprocess.PIPE,
                    start_new_session=True,  # so that it can be ended with all it has started
                )
        except OSError as error:
            return f"the hook {name} cannot be run: {error.strerror or error}"
        try:
            _, complaints = process.communicate(text.encode(), timeout=self._limit_s)
        except subprocess.TimeoutExpired:
            _end_group(process)
            return f"the hook {name} did not finish within {self._limit_s:.0f} s and was stopped"
        finally:
            with self._turn:
                self._running = None
            for stream in (process.stdin, process.stderr):
                if stream is not None:
                    with contextlib.suppress(OSError):
                        stream.close()
        if self._hurried.is_set():
            return f"the hook {name} was stopped: the session was ended at once"
        if process.returncode:
            said = complaints.decode("utf-8", "replace").strip().splitlines()
            return f"the hook {name} failed ({process.returncode})" + (f": {said[-1]}" if said else "")
        return ""


def _end_group(process: subprocess.Popen[bytes]) -> None:
    with contextlib.suppress(OSError):
        if hasattr(os, "killpg"):
            os.killpg(process.pid, signal.SIGKILL)
        process.kill()
    with contextlib.suppress(subprocess.TimeoutExpired):
        process.wait(2.0)


def log_set(measured: MeasuredLive, log: str | None, labels: Labels) -> tuple[str, tuple[int, ...]]:
    """Write a measured set with its raw samples into the training log.

    Parameters
    ----------
    measured : MeasuredLive
    log : str or None
        Where the log is; None for the usual place.
    labels : Labels
        Who lifted, and what was said about the set.

    Returns
    -------
    (str, tuple of int)
        What to say, and its numbers in the log; none when it is not logged.
    """
    if measured.result is None:
        return f"set {measured.number} is not in the log: {measured.problem}", ()
    from armarc.log.adding import add_result
    from armarc.log.store import open_log
    from armarc.quantities import read_date_time
    from armarc.recording import write_csv

    raw = ""
    try:
        with open_log(log) as store, tempfile.TemporaryDirectory(prefix="armarc-") as folder:
            path: Path | None = Path(folder) / f"live-set-{measured.number}.csv"
            chest = None
            try:
                write_csv(measured.raw, Path(folder) / f"live-set-{measured.number}.csv")
                if measured.chest is not None:
                    chest = Path(folder) / f"live-set-{measured.number}-chest.csv"
                    write_csv(measured.chest, chest)
            except (ArmarcError, OSError) as error:
                # The numbers are worth more than nothing: without its raw samples the set is logged all the same.
                path, raw = None, f", without its raw samples: {error}"
            begun = read_date_time(measured.raw.metadata.started_at or "")
            added = add_result(
                store, measured.result.to_dict(), path, labels=labels, started_at=begun, trunk_path=chest
            )
    except (ArmarcError, OSError) as error:
        return f"set {measured.number} is not in the log: {error}", ()
    return f"set {measured.number} is in the log ({added.status}){raw}", added.set_ids


def say_in_log(set_ids: tuple[int, ...], labels: Labels, log: str | None) -> str:
    """Write what was said about a set that is in the log already; the result is what went wrong, or empty."""
    from armarc.log.changing import edit_sets
    from armarc.log.store import open_log

    try:
        with open_log(log, create=False) as store:
            edit_sets(store, set_ids, labels)
    except (ArmarcError, OSError) as error:
        return f"what was said about set {set_ids[0]} of the log is not in it: {error}"
    return ""


def look_back(task: Task, today: date, log: str | None) -> LastTime | None:
    """The same task the last time; None without a log or without such a set."""
    from armarc.log.store import open_log

    try:
        with open_log(log, create=False) as store:
            return last_time(store, task, today)
    except (ArmarcError, OSError):
        return None  # a log that cannot be read is said when the set is written
