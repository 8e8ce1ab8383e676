"""Worker processes of this machine, each measuring one recording at a time.

One pipe per worker, so that the recording is known on which a worker died or hung.
"""

from __future__ import annotations

import multiprocessing
import os
import signal
import time
from collections import deque
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from multiprocessing.connection import Connection, wait
from multiprocessing.context import SpawnProcess
from typing import Any

from armarc.archive.interrupts import interrupted_afterwards
from armarc.archive.measuring import ArchiveTask, Outcome, failed, measure_task, too_slow
from armarc.archive.setup import Setup
from armarc.computer import THREAD_VARIABLES
from armarc.errors import ArmarcError

MOST_ATTEMPTS = 2
_LOOK_EVERY_S = 0.5
_LARGEST_KEPT = 4 << 20
"""Bytes of an array that the next file's takes the place of: twelve minutes at 200 Hz."""


class _Worker:
    """One process; ``task`` is what it is measuring."""

    def __init__(self, setup: Setup) -> None:
        context = multiprocessing.get_context("spawn")
        self.pipe, theirs = context.Pipe()
        self.process: SpawnProcess = context.Process(target=_serve, args=(theirs, setup), daemon=True)
        with _one_thread_each():
            self.process.start()
        theirs.close()
        self.is_ready = False
        self.task: ArchiveTask | None = None
        self.began = 0.0

    def give(self, task: ArchiveTask) -> None:
        self.task, self.began = task, time.monotonic()
        with suppress(OSError):  # a worker that has just died is found by `wait`
            self.pipe.send(task)

    def end(self) -> None:
        self.process.kill()
        self.process.join()
        self.pipe.close()


def run_locally(
    tasks: Iterator[ArchiveTask], setup: Setup, *, workers: int, time_limit_s: float
) -> Iterator[Outcome]:
    """Measure recordings with several processes; one outcome per task, in any order.

    A recording on which a worker dies is tried once more by itself; a second death, or one recording taking
    longer than the limit, becomes a failure, and a new worker takes over.

    Parameters
    ----------
    tasks : iterator of ArchiveTask
        Taken one by one as workers become free.
    setup : Setup
    workers : int
    time_limit_s : float, s

    Raises
    ------
    ArmarcError
        Workers cannot be started.
    """
    again: deque[ArchiveTask] = deque()
    team: list[_Worker] = []
    false_starts = 0

    def next_task() -> ArchiveTask | None:
        return again.popleft() if again else next(tasks, None)

    try:
        task = next_task()
        while task is not None and len(team) < workers:
            team.append(_Worker(setup))
            team[-1].give(task)
            task = next_task() if len(team) < workers else None
        while busy := [worker for worker in team if worker.task is not None]:
            wait([worker.pipe for worker in busy], _LOOK_EVERY_S)
            # What has come through a pipe is nowhere else: it gets to the caller before Ctrl-C ends the run.
            with interrupted_afterwards():
                for worker in busy:
                    task = worker.task
                    assert task is not None
                    outcome, is_dead = _look_at(worker, setup, time_limit_s)
                    if is_dead:
                        worker.end()
                        team.remove(worker)
                        if not worker.is_ready:
                            false_starts += 1
                            if false_starts > workers + MOST_ATTEMPTS:
                                code = worker.process.exitcode
                                raise ArmarcError(
                                    f"worker processes end as soon as they start (exit code {code})",
                                    "free some memory, or use fewer --workers",
                                )
                            again.append(task)
                        elif outcome is None:
                            if task.attempt < MOST_ATTEMPTS:
                                again.append(
                                    ArchiveTask(task.path, task.size, task.modified_ns, task.attempt + 1)
                                )
                            else:
                                outcome = failed(task, setup, "worker", _death(worker))
                        following = next_task()
                        if following is not None:
                            team.append(_Worker(setup))
                            team[-1].give(following)
                    elif outcome is not None:
                        # The next recording goes out before the caller does anything with this one.
                        following = next_task()
                        worker.task = None
                        if following is not None:
                            worker.give(following)
                    if outcome is not None:
                        yield outcome
            if again and not any(worker.task is not None for worker in team):
                team.append(_Worker(setup))
                team[-1].give(again.popleft())
    finally:
        for worker in team:
            worker.end()


def _look_at(worker: _Worker, setup: Setup, time_limit_s: float) -> tuple[Outcome | None, bool]:
    """What a worker has to say, and whether it is gone."""
    task = worker.task
    assert task is not None
    try:
        while worker.pipe.poll():
            said = worker.pipe.recv()
            if isinstance(said, Outcome):
                return said, False
            worker.is_ready, worker.began = True, time.monotonic()
    except (EOFError, OSError):
        worker.process.join(1.0)
        return None, True
    if time.monotonic() - worker.began > time_limit_s and worker.is_ready:
        return failed(task, setup, "worker", too_slow(time_limit_s)), True
    return None, False


def _death(worker: _Worker) -> ArmarcError:
    code = worker.process.exitcode
    how = f"ended with code {code}"
    if code is not None and code < 0:
        with suppress(ValueError):
            how = f"was ended by {signal.Signals(-code).name}"
    return ArmarcError(
        f"the worker process {how} while measuring it, {MOST_ATTEMPTS} times",
        "out of memory, or a fault in a library: try it alone, or --retry-failures with fewer --workers",
    )


def _serve(pipe: Connection, setup: Setup) -> None:
    """Measure what comes through the pipe until it closes."""
    import warnings

    # Ctrl-C reaches the whole group; the parent decides what happens then.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    warnings.simplefilter("ignore")
    # glibc gives back at once what is larger than the largest block freed so far (mallopt(3), M_MMAP_THRESHOLD): every
    # file's arrays would come page by page from the system again, 4 % of the time. Elsewhere this does nothing.
    bytearray(_LARGEST_KEPT)
    with suppress(EOFError, OSError):
        import armarc.pipeline  # noqa: F401

        pipe.send("ready")
        while True:
            pipe.send(measure_task(pipe.recv(), setup))


@contextmanager
def _one_thread_each() -> Iterator[None]:
    """Workers share the cores by files, not by threads of the linear algebra."""
    before: dict[str, Any] = {name: os.environ.get(name) for name in THREAD_VARIABLES}
    os.environ.update(dict.fromkeys(THREAD_VARIABLES, "1"))
    try:
        yield
    finally:
        for name, value in before.items():
            if value is None:
                os.environ.pop(name, None)
            else:
                os.environ[name] = value
