"""Tests that share what they have made are given to one worker, under the pytest and pytest-xdist that are here."""

import subprocess
import sys
from pathlib import Path

TEST = """
import pytest
@pytest.mark.parametrize("k", range(6))
def test_somewhere(k):
    pass
"""


def test_files_and_stories_stay_on_one_worker(tmp_path):
    tests = Path(__file__).parents[1]
    for name in ("unit/test_a.py", "unit/test_b.py", "device/test_c.py", "device/test_d.py"):
        (tmp_path / name).parent.mkdir(exist_ok=True)
        (tmp_path / name).write_text(TEST)
    for name in ("conftest.py", "workers.py"):
        (tmp_path / name).write_bytes((tests / name).read_bytes())
    (tmp_path / "pytest.ini").write_text("[pytest]\nmarkers = slow: s\n")
    words = ["-m", "pytest", "-v", "-p", "no:cacheprovider", "-n", "2"]
    words += ["--dist", "loadfile", "--no-loadscope-reorder", str(tmp_path)]
    done = subprocess.run(
        [sys.executable, *words], cwd=tmp_path, capture_output=True, text=True, timeout=100, check=False
    )
    assert done.returncode == 0, done.stdout + done.stderr
    ran = [line.split() for line in done.stdout.splitlines() if line.startswith("[gw") and "PASSED" in line]
    assert len(ran) == 24
    workers = {}
    for worker, *_, name in ran:
        file = name.split("::")[0]
        workers.setdefault("device" if file.startswith("device") else file, set()).add(worker)
    assert {len(each) for each in workers.values()} == {1}, workers
    assert len(set.union(*workers.values())) == 2
