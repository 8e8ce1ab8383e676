"""The same input gives the same bytes, whatever process, thread count and hash seed."""

import hashlib
import os
import subprocess
import sys

from invented_archive import originals


def test_json_of_process_is_the_same_to_the_byte(tmp_path):
    path = tmp_path / "set.csv"
    path.write_bytes(originals()[0])
    answers = {}
    for threads, seed in (("1", "0"), ("2", "random")):
        environment = {
            **os.environ,
            "OMP_NUM_THREADS": threads,
            "OPENBLAS_NUM_THREADS": threads,
            "PYTHONHASHSEED": seed,
        }
        done = subprocess.run(
            [sys.executable, "-m", "armarc", "process", "--json", path],
            capture_output=True,
            env=environment,
            timeout=60,
            check=True,
        )
        assert done.stdout.startswith(b'{"schema": "armarc.sets/1"')
        answers[threads, seed] = hashlib.sha256(done.stdout).hexdigest()
    assert len(set(answers.values())) == 1, answers
