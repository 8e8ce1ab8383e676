"""What is in the log stays there: killed programs, many writers, a full disk, a folder without write access.

The oracle is SQLite's own ``PRAGMA integrity_check`` and what the writers said they had finished.
"""

import os
import random
import resource
import shutil
import signal
import sqlite3
import subprocess
import sys
import time
from pathlib import Path

import pytest

from armarc.log import add_result, list_sets, open_log
from armarc.log.checking import check_log
from invented_log import invented_file, invented_result

TESTS = str(Path(__file__).parents[1])

# Adds one recording after the other and says so after each commit.
WRITER = """
import sys
from pathlib import Path
sys.path.insert(0, sys.argv[4])
from invented_log import invented_file, invented_result
from armarc.log import add_result, open_log
log, folder, seeds = sys.argv[1], Path(sys.argv[2]), range(*map(int, sys.argv[3].split(":")))
with open_log(log) as store:
    for seed in seeds:
        add_result(store, invented_result(seed, sets=2), invented_file(folder, seed))
        print(seed, flush=True)
"""


def writer(log, folder, seeds, **other):
    words = [sys.executable, "-c", WRITER, str(log), str(folder), seeds, TESTS]
    return subprocess.Popen(words, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, **other)


def healthy(log):
    with sqlite3.connect(log) as connection:
        assert connection.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
    connection.close()
    with open_log(str(log)) as store:
        checked = check_log(store)
        assert checked.problems == ()
        return [entry.summary for entry in list_sets(store)], checked


@pytest.mark.skipif(os.name != "posix", reason="needs SIGKILL")
def test_kill_at_any_instant_loses_at_most_the_recording_being_written(tmp_path):
    log = tmp_path / "log.sqlite"
    open_log(str(log)).close()
    rng, said = random.Random(4), 0
    for turn in range(4):
        process = writer(log, tmp_path, f"{1000 * turn}:{1000 * turn + 900}")
        process.stdout.readline()
        time.sleep(rng.uniform(0.0, 0.12))
        process.send_signal(signal.SIGKILL)
        said += 1 + len(process.stdout.read().splitlines())
        process.wait()
        process.stderr.close()
        process.stdout.close()
        sets, checked = healthy(log)
        # One more than it said may be in: killed between the commit and the word.
        assert 2 * said <= len(sets) <= 2 * (said + turn + 1)
        said = len(sets) // 2
        assert len(sets) % 2 == 0
        assert checked.recordings == said


def test_two_writers_at_once_lose_nothing(tmp_path):
    log = tmp_path / "new" / "log.sqlite"
    processes = [writer(log, tmp_path, f"{1000 * i}:{1000 * i + 15}") for i in range(2)]
    for process in processes:
        out, err = process.communicate(timeout=60)
        assert process.returncode == 0, err
        assert len(out.split()) == 15
    sets, checked = healthy(log)
    assert len(sets) == 2 * 15 * 2
    assert checked.recordings == 30


def test_the_same_recordings_from_two_programs_are_there_once(tmp_path):
    log = tmp_path / "log.sqlite"
    processes = [writer(log, tmp_path, "0:12") for _ in range(2)]
    for process in processes:
        _, err = process.communicate(timeout=60)
        assert process.returncode == 0, err
    assert len(healthy(log)[0]) == 24


@pytest.mark.skipif(os.name != "posix", reason="needs a limit of file size")
def test_a_full_disk_is_one_plain_error_and_harms_nothing(tmp_path):
    log = tmp_path / "log.sqlite"
    with open_log(str(log)) as store:
        add_result(store, invented_result(1), invented_file(tmp_path, 1))
    size = log.stat().st_size

    def limit():
        signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
        resource.setrlimit(resource.RLIMIT_FSIZE, (size + 30_000, size + 30_000))

    process = writer(log, tmp_path, "10:300", preexec_fn=limit)
    out, err = process.communicate(timeout=60)
    assert process.returncode != 0
    assert "LogError" in err
    assert "free some space" in err or "disk" in err
    sets, _ = healthy(log)
    assert len(sets) == 1 + 2 * len(out.split())


@pytest.mark.skipif(os.name != "posix", reason="needs POSIX users")
def test_a_log_that_can_only_be_read(tmp_path):
    if os.geteuid() == 0 and shutil.which("setpriv") is None:
        pytest.skip("the superuser may write everywhere, and setpriv is not there to become somebody else")
    folder = tmp_path / "shared"
    folder.mkdir()
    log = folder / "log.sqlite"
    with open_log(str(log)) as store:
        add_result(store, invented_result(1))
    log.chmod(0o444)
    folder.chmod(0o555)
    for parent in [tmp_path, *tmp_path.parents]:
        if parent == Path("/tmp"):
            break
        parent.chmod(parent.stat().st_mode | 0o055)
    code = (
        "import sys; sys.path.insert(0, sys.argv[2]); sys.path.insert(0, sys.argv[3])\n"
        "from armarc.errors import LogError\n"
        "from armarc.log import open_log, list_sets, add_result\n"
        "from invented_log import invented_result\n"
        "store = open_log(sys.argv[1])\n"
        "print(len(list_sets(store)))\n"
        "try:\n    add_result(store, invented_result(2))\n"
        "except LogError as error:\n    print(error)\n"
    )
    import armarc

    become = ["setpriv", "--reuid=65534", "--regid=65534", "--clear-groups"] if os.geteuid() == 0 else []
    source = str(Path(armarc.__file__).parents[1])
    words = [*become, sys.executable, "-B", "-c", code, str(log), TESTS, source]
    done = subprocess.run(words, capture_output=True, text=True, timeout=60, cwd="/")
    folder.chmod(0o755)
    if "No module named" in done.stderr or "Permission denied" in done.stderr:
        pytest.skip("another user cannot read this installation")
    assert done.returncode == 0, done.stderr
    assert done.stdout.splitlines()[0] == "1"
    assert "can only be read" in done.stdout
