"""From a CSV file to measures: 1 minute, 12 minutes, 2 hours and 8 hours at 100, 200 and 400 Hz, and memory a sample.

    python tests/benchmarks/bench_lengths.py [1 12 120 480]

Numbers name the lengths in minutes; all but 480 when none is named. Processor time, median of a few runs (one of the
long ones), beside pandas' own reading of the same file in the same run. Two hours and eight are an invented session of
twelve minutes (walking, fidgeting, picking up and putting down between eight sets) again and again. Memory is the peak
of a process that does nothing else, beyond what it has after loading the libraries (Linux).
"""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
from dataclasses import replace
from pathlib import Path

for _name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ[_name] = "1"  # before numpy is loaded

# ruff: noqa: E402
import numpy as np

from armarc.recording import Recording, write_csv
from armarc.simulate import SimulationOptions, plan_session, simulate_session

CHILD = """
import statistics, sys, time
import pandas as pd
from armarc.api import NOTHING_KEPT, process
from armarc.recording import read_csv

def peak():
    with open("/proc/self/status") as status:
        return next(int(line.split()[1]) for line in status if line.startswith("VmHWM"))

def took(job, rounds):
    times = []
    for _ in range(rounds):
        out = None  # what the round before made is no part of this one
        start = time.process_time()
        out = job()
        times.append(time.process_time() - start)
    return out, 1e3 * statistics.median(times)

path, rounds = sys.argv[1], int(sys.argv[2])
process(read_csv(sys.argv[3]), kept=NOTHING_KEPT).to_dict()
base = peak()
recording, read = took(lambda: read_csv(path), rounds)
session, measured = took(lambda: process(recording, kept=NOTHING_KEPT), rounds)
_, written = took(session.to_dict, rounds)
most = peak() - base
n = len(recording.time_s)
del recording, session
_, floor = took(lambda: pd.read_csv(path, comment="#"), rounds)
total = read + measured + written
print(f"{n} samples: reading {read:.0f} ms ({read / floor:.1f} x pandas), measuring {measured:.0f} ms, JSON "
      f"{written:.0f} ms; {n / total:.0f} k samples/s, {total / floor:.1f} x pandas; peak +{most / 1024:.0f} MB, "
      f"{1024 * most / n:.0f} B a sample")
"""


def session(minutes: int, rate_hz: float) -> Recording:
    """An invented recording of about so many minutes."""
    if minutes == 1:
        options = SimulationOptions(reps=13, hold_s=0.4)
    else:
        options = SimulationOptions(reps=10, sets=8, rest_s=45.0, pick_up=True, walk=True, fidget=True)
    options = replace(options, sensor=replace(options.sensor, rate_hz=rate_hz))
    once, _ = simulate_session(plan_session(options, 2), 2)
    times = max(1, minutes // 12)
    return replace(
        once,
        time_s=np.arange(times * len(once.time_s)) / once.rate_hz,
        specific_force_m_s2=np.tile(once.specific_force_m_s2, (times, 1)),
        angular_velocity_rad_s=np.tile(once.angular_velocity_rad_s, (times, 1)),
        gaps=(),
        clipped=None,
    )


def main() -> None:
    lengths = [int(word) for word in sys.argv[1:]] or [1, 12, 120]
    with tempfile.TemporaryDirectory() as folder:
        small, path = Path(folder) / "small.csv", Path(folder) / "recording.csv"
        write_csv(session(1, 100.0), small)
        for minutes in lengths:
            for rate_hz in (100.0, 200.0, 400.0):
                if minutes == 480 and rate_hz > 100:
                    continue
                write_csv(session(minutes, rate_hz), path)
                rounds = 7 if minutes == 1 else 3 if minutes == 12 else 1
                words = [sys.executable, "-c", CHILD, str(path), str(rounds), str(small)]
                done = subprocess.run(words, capture_output=True, text=True, check=True)
                print(f"{minutes:4d} min at {rate_hz:.0f} Hz: {done.stdout.strip()}", flush=True)


if __name__ == "__main__":
    main()
