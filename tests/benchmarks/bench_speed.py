"""Speed of the road from a file to measures, one core, beside `vqf` and `ahrs` in the same run.

Run with ``python tests/benchmarks/bench_speed.py``. CPU time of one process, best of several runs: the machine may be
busy with something else.
"""

from __future__ import annotations

import os
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

for _name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ[_name] = "1"  # before numpy is loaded

# ruff: noqa: E402
import numpy as np

from armarc.motion.orientation import fuse
from armarc.pipeline import process
from armarc.recording import read_csv, write_csv
from armarc.simulate import Knobs, plan_session, simulate_session


def cpu_s(job: Callable[[], object], times: int) -> float:
    best = float("inf")
    for _ in range(times):
        began = time.process_time()
        job()
        best = min(best, time.process_time() - began)
    return best


def line(what: str, mark: str, value: str) -> None:
    print(f"{what:<52}{mark:<22}{value}", flush=True)


def fusion() -> None:
    recording, _ = simulate_session(plan_session(Knobs(reps=120, sets=1), 1), 1)
    omega = np.ascontiguousarray(recording.angular_velocity_rad_s)
    force = np.ascontiguousarray(recording.specific_force_m_s2)
    n, hz = len(omega), recording.rate_hz
    own = n / cpu_s(lambda: fuse(omega, force, hz), 5)
    line(f"fusion, offline smoother, {n} samples", "≥ 1.5 M samples/s", f"{own / 1e6:.2f} M samples/s")
    try:
        from vqf import offlineVQF
    except ImportError:
        line("vqf offline", "", "not installed")
    else:
        other = n / cpu_s(lambda: offlineVQF(omega.copy(), force.copy(), None, 1 / hz), 5)
        line("vqf offline (C++)", "", f"{other / 1e6:.2f} M samples/s; armarc/vqf {own / other:.2f}")
    from ahrs.filters import Madgwick

    short = min(n, 5000)
    job = lambda: Madgwick(gyr=omega[:short].copy(), acc=force[:short].copy(), frequency=hz)  # noqa: E731
    other = short / cpu_s(job, 2)
    line("ahrs Madgwick", "", f"{other / 1e3:.0f} k samples/s; armarc/ahrs {own / other:.0f}")


def whole_road(folder: Path) -> None:
    for name, knobs in (
        ("one-minute set", Knobs(reps=13, hold_s=0.4)),
        ("session of four sets", Knobs(reps=10, sets=4, rest_s=60.0, pick_up=True, walk=True, fidget=True)),
    ):
        recording, _ = simulate_session(plan_session(knobs, 2), 2)
        path = folder / "recording.csv"
        write_csv(recording, path)
        n = len(recording.time_s)
        process(read_csv(path))  # imports
        read = cpu_s(lambda path=path: read_csv(path), 5)
        total = cpu_s(lambda path=path: process(read_csv(path)).to_dict(), 5)
        mark = "≥ 300 k samples/s" if "session" in name else ""
        line(
            f"CSV to measures, {name} ({recording.duration_s:.0f} s)",
            mark,
            f"{n / total / 1e3:.0f} k samples/s ({1e3 * total:.0f} ms, of it reading {1e3 * read:.0f} ms)",
        )


def main() -> None:
    line("", "mark", "measured (CPU time)")
    fusion()
    with tempfile.TemporaryDirectory() as folder:
        whole_road(Path(folder))


if __name__ == "__main__":
    sys.exit(main())
