"""The archive on a real Dask cluster of worker processes, one of them killed in the middle."""

import os
import signal
import subprocess
import sys
import time

import pandas as pd
import pytest

from armarc.archive import process
from armarc.archive.measuring import measure_task
from armarc.archive.setup import make_setup
from armarc.errors import UsageError
from invented_archive import command, fill, table

pytest.importorskip("pyarrow", reason="an archive needs pyarrow")
pytest.importorskip("distributed", reason="a cluster needs distributed")

CLUSTER = """
import sys
from distributed import LocalCluster

if __name__ == "__main__":
    cluster = LocalCluster(n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None)
    print(cluster.scheduler_address, *(worker.pid for worker in cluster.workers.values()), flush=True)
    sys.stdin.read()
    cluster.close()
"""


@pytest.fixture
def cluster(tmp_path):
    script = tmp_path / "cluster.py"
    script.write_text(CLUSTER)
    environment = {**os.environ, "OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"}
    running = subprocess.Popen(
        [sys.executable, script],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        text=True,
        env=environment,
    )
    address, *pids = running.stdout.readline().split()
    yield address, [int(pid) for pid in pids]
    running.communicate("", timeout=30)


def test_a_cluster_gives_the_same_archive_even_when_a_worker_is_killed(tmp_path, cluster, monkeypatch):
    address, pids = cluster
    assert len(pids) == 2
    folder = fill(tmp_path / "in", 18, broken=2)
    with monkeypatch.context() as patch:
        patch.setattr(
            process, "run_locally", lambda tasks, setup, **_: (measure_task(t, setup) for t in tasks)
        )
        process.process_archive(folder, tmp_path / "local", make_setup())
    store = tmp_path / "cluster"
    words = command("archive", "process", folder, "--out", store, "--scheduler", address)
    running = subprocess.Popen(words, stderr=subprocess.PIPE, text=True)
    # All workers load armarc first and then hold tasks; one goes while its neighbour works.
    until = time.monotonic() + 30
    while time.monotonic() < until and not _has_loaded(pids[0]):
        time.sleep(0.02)
    assert running.poll() is None
    os.kill(pids[0], signal.SIGKILL)
    _, talk = running.communicate(timeout=90)
    assert running.returncode == 0, talk
    assert "Traceback" not in talk
    for name in ("reps", "sets", "files", "failures"):
        found = table(store, name)
        pd.testing.assert_frame_equal(found, table(tmp_path / "local", name))
    assert table(store, "files").path.is_unique


def _has_loaded(pid):
    """Whether a process has mapped SciPy's linear algebra, which measuring needs."""
    try:
        with open(f"/proc/{pid}/maps") as maps:
            return "scipy/linalg" in maps.read()
    except OSError:
        return True


def test_a_worker_of_another_version_is_refused():
    from armarc.archive import cluster as road

    class Client:
        def run(self, function, on_error):
            return {"tcp://a:1": road.__version__, "tcp://b:2": self.answer}

    client = Client()
    for client.answer, said in (("0.0.1", "has 0.0.1"), (ModuleNotFoundError("armarc"), "has no armarc")):
        with pytest.raises(UsageError, match=said):
            road._check_versions(client)
    client.answer = OSError("worker left")
    road._check_versions(client)


def test_nobody_there_is_told_plainly(monkeypatch):
    from armarc.archive import cluster as road

    monkeypatch.setattr(road, "CONNECT_S", 0.3)
    for address, said in (
        ("tcp://127.0.0.1:9", "no Dask scheduler answers"),
        ("nonsense://", "is no address"),
        ("127.0.0.1", "is no address"),
    ):
        with pytest.raises(UsageError, match=said):
            next(road.run_on_cluster(iter(()), make_setup(), address=address, time_limit_s=900.0))
