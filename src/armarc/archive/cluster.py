"""The same tasks on the workers of a running Dask cluster.

The workers need this version of armarc and the recordings under the same paths; only this process writes the
archive. A worker that goes away loses nothing: its recordings are measured by the others.
"""

from __future__ import annotations

import logging
import re
import threading
import uuid
from collections.abc import Iterator
from itertools import islice
from typing import Any

from armarc import __version__
from armarc.archive.interrupts import interrupted_afterwards
from armarc.archive.measuring import ArchiveTask, Outcome, failed, measure_task, too_slow
from armarc.archive.schema import distributed
from armarc.archive.setup import Setup
from armarc.errors import ArmarcError, UsageError

MOST_ATTEMPTS = 2
CONNECT_S = 10.0
_ADDRESS = re.compile(r"(?:tcp|tls|ucx|wss?)://\S+:\d+")
_AHEAD_PER_THREAD = 4
_FEWEST_AHEAD = 16


def run_on_cluster(
    tasks: Iterator[ArchiveTask], setup: Setup, *, address: str, time_limit_s: float
) -> Iterator[Outcome]:
    """Measure recordings on a cluster; one outcome per task, in any order.

    Parameters
    ----------
    tasks : iterator of ArchiveTask
        Taken as workers become free; a few per thread wait on the cluster, however many there are.
    setup : Setup
    address : str
        Of the scheduler, such as ``tcp://host:8786``.
    time_limit_s : float, s
        For one recording; one that takes longer becomes a failure.

    Raises
    ------
    UsageError
        The package distributed is missing, nobody answers, or the workers run another version.
    ArmarcError
        The scheduler went away.
    """
    dask = distributed()
    if not _ADDRESS.fullmatch(address):
        raise UsageError(f"{address!r} is no address of a scheduler", "for example tcp://192.0.2.1:8786")
    # Workers that go are expected here and dealt with; the scheduler's end is told in our own words.
    for name in [name for name in logging.root.manager.loggerDict if name.startswith("distributed")]:
        logging.getLogger(name).setLevel(logging.CRITICAL)
    try:
        client = dask.Client(address, timeout=CONNECT_S, set_as_default=False)
    except (OSError, ValueError) as error:
        raise UsageError(
            f"no Dask scheduler answers at {address}: {error}",
            "start one with `dask scheduler` and `dask worker`, or leave --scheduler out",
        ) from None
    try:
        _check_versions(client)
        yield from _outcomes(dask, client, tasks, setup, time_limit_s)
    finally:
        client.close()


def _check_versions(client: Any) -> None:
    try:
        found = client.run(_version, on_error="return")
    except Exception as error:  # whatever a foreign cluster sends back
        raise UsageError(f"the cluster's workers do not answer: {error}", "check its workers") from None
    for worker, version in found.items():
        # Any other error is a worker on its way out; every outcome carries its version, too.
        if version != __version__ and isinstance(version, str | ImportError):
            raise UsageError(
                f"worker {worker} has {version if isinstance(version, str) else 'no armarc'}, "
                f"this is armarc {__version__}",
                "install the same version on every worker",
            )


def _version() -> str:
    return __version__


def _the_same(setup: Setup) -> Setup:
    return setup


def measure_within(task: ArchiveTask, setup: Setup, time_limit_s: float) -> Outcome:
    """`measure_task`, given up after a time.

    A worker of a cluster measures in a thread, which nobody can stop: a recording that hangs goes on hanging there
    beside the others, but the run does not wait for it.
    """
    box: list[Outcome] = []
    thread = threading.Thread(target=lambda: box.append(measure_task(task, setup)), daemon=True)
    thread.start()
    thread.join(time_limit_s)
    if box:
        return box[0]
    return failed(task, setup, "worker", too_slow(time_limit_s))


def _outcomes(
    dask: Any, client: Any, tasks: Iterator[ArchiveTask], setup: Setup, time_limit_s: float
) -> Iterator[Outcome]:
    name = uuid.uuid4().hex
    # A task rather than scattered data: it can be computed again when the workers that hold it die.
    shared = client.submit(_the_same, setup, key=f"armarc-setup-{name}")
    running = dask.as_completed(loop=client.loop)
    task_of: dict[object, ArchiveTask] = {}
    number = 0

    def submit(task: ArchiveTask) -> None:
        nonlocal number
        number += 1
        future = client.submit(measure_within, task, shared, time_limit_s, key=f"armarc-{name}-{number}")
        task_of[future.key] = task
        running.add(future)

    def ahead() -> int:
        threads = sum(
            int(worker["nthreads"]) for worker in client.scheduler_info(n_workers=-1)["workers"].values()
        )
        return max(_FEWEST_AHEAD, _AHEAD_PER_THREAD * threads)

    for task in islice(tasks, ahead()):
        submit(task)
    for done, future in enumerate(running, 1):
        task = task_of.pop(future.key)
        if future.status == "finished":
            outcome = future.result()
        elif future.status == "cancelled" or task.attempt < MOST_ATTEMPTS:
            if client.status != "running":
                raise ArmarcError(
                    "the cluster's scheduler went away",
                    "start it and run the same command again: what is complete is kept",
                )
            submit(ArchiveTask(task.path, task.size, task.modified_ns, task.attempt + 1))
            continue
        else:
            outcome = failed(task, setup, "worker", _plain(future.exception()))
        del future
        if outcome.version != __version__:
            raise UsageError(
                f"a worker measured with armarc {outcome.version}, this is {__version__}",
                "install the same version on every worker",
            )
        # What has come is kept before Ctrl-C ends the run; enough is ahead for the workers meanwhile.
        with interrupted_afterwards():
            yield outcome
        free = ahead() - len(task_of) if done % 64 == 0 else 1
        for following in islice(tasks, max(free, 0)):
            submit(following)


def _plain(error: object) -> ArmarcError:
    if type(error).__name__ == "KilledWorker":
        return ArmarcError(
            "workers of the cluster died while measuring it, again and again",
            "out of memory, or a fault in a library: try it alone",
        )
    return ArmarcError(f"the cluster could not measure it: {type(error).__name__}: {error}", "try it alone")
