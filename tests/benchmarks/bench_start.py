"""Wall time of whole commands, each in a process of its own.

Run with ``python tests/benchmarks/bench_start.py``. Best and median of several runs; the bare interpreter is printed
beside them, since nothing can be faster.
"""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from statistics import median

RUNS = 7
ENVIRONMENT = os.environ | {"OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"}
# Modules of an installed copy are compiled once, not at every start.
ENVIRONMENT.pop("PYTHONDONTWRITEBYTECODE", None)


def wall_s(words: list[str], cwd: Path) -> tuple[float, float]:
    taken = []
    for _ in range(RUNS):
        began = time.perf_counter()
        subprocess.run(words, cwd=cwd, env=ENVIRONMENT, check=True, capture_output=True)
        taken.append(time.perf_counter() - began)
    return min(taken), median(taken)


def main() -> None:
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        armarc = [sys.executable, "-m", "armarc"]
        # A set of about a minute.
        words = [*armarc, "simulate", "minute.csv", "--reps", "13", "--tempo", "2/0.4/1.6/0.4", "--seed", "3"]
        subprocess.run(words, cwd=folder, check=True, capture_output=True)
        rows = [
            ("python -c pass", "", [sys.executable, "-c", "pass"]),
            (
                "import numpy, scipy.linalg, pandas",
                "",
                [sys.executable, "-c", "import numpy, scipy.linalg, pandas"],
            ),
            ("armarc --help", "≤ 0.2 s", [*armarc, "--help"]),
            ("armarc process, one minute, --json", "≤ 0.55 s", [*armarc, "process", "minute.csv", "--json"]),
            ("armarc process, one minute, table", "≤ 0.55 s", [*armarc, "process", "minute.csv"]),
            (
                "armarc process, one minute, --plot",
                "≤ 1.1 s",
                [*armarc, "process", "minute.csv", "--plot", "out.svg"],
            ),
        ]
        print(f"{'':<40}{'mark':<10}best, median of {RUNS}, s")
        for what, mark, command in rows:
            best, middle = wall_s(command, folder)
            print(f"{what:<40}{mark:<10}{best:.2f}, {middle:.2f}", flush=True)


if __name__ == "__main__":
    main()
