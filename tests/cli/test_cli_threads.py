"""The program gives linear algebra one thread, unless somebody said how many."""

import os
import subprocess
import sys

import pytest

from armarc.computer import THREAD_VARIABLES

SHOWN = """
import os, sys
from armarc.cli import main
sys.argv = ["armarc", "measures"]
try:
    main()
finally:
    print("|".join(os.environ.get(name, "") for name in sys.stdin.read().split()))
"""


@pytest.mark.parametrize(
    ("said", "expected"),
    [
        ({}, ["1", "1", "1", "1"]),
        ({"OMP_NUM_THREADS": "3"}, ["3", "", "", ""]),
        ({"OPENBLAS_NUM_THREADS": "2"}, ["", "2", "", ""]),
    ],
)
def test_one_thread_unless_somebody_said_how_many(said, expected):
    environment = {name: value for name, value in os.environ.items() if name not in THREAD_VARIABLES}
    done = subprocess.run(
        [sys.executable, "-c", SHOWN],
        input=" ".join(THREAD_VARIABLES),
        capture_output=True,
        text=True,
        env=environment | said,
        timeout=60,
        check=True,
    )
    assert done.stdout.splitlines()[-1].split("|") == expected
