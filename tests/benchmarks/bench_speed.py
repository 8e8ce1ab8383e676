"""Speed of the road from a file to measures, one core, beside its floors and other libraries in the same run.

Run with ``python tests/benchmarks/bench_speed.py``. CPU time, best of several runs: the machine may be busy with
something else. The floors are what nothing can be faster than: pandas' own reading of the same file, and one sum
over the arrays in memory.
"""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

for _name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ[_name] = "1"  # before numpy is loaded

# ruff: noqa: E402
import numpy as np
import pandas as pd

from armarc.api import process
from armarc.motion.orientation import fuse
from armarc.recording import read_csv, write_csv
from armarc.simulate import SimulationOptions, plan_session, simulate_session


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
    recording, _ = simulate_session(plan_session(SimulationOptions(reps=120, sets=1), 1), 1)
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
    usual = SimulationOptions(reps=10, sets=4, rest_s=60.0, pick_up=True, walk=True, fidget=True)
    sensor = replace(usual.sensor, rate_hz=200.0)
    for name, mark, options in (
        ("one short set", "", SimulationOptions(load_kg=8.0)),
        ("one-minute set", "", SimulationOptions(reps=13, hold_s=0.4)),
        ("session of four sets", "≥ 300 k samples/s", usual),
        ("session of seven sets at 200 Hz", "≥ 300 k samples/s", replace(usual, sets=7, sensor=sensor)),
    ):
        recording, _ = simulate_session(plan_session(options, 2), 2)
        path = folder / "recording.csv"
        write_csv(recording, path)
        n = len(recording.time_s)
        process(read_csv(path)).to_dict()  # imports
        arrays = (recording.time_s, recording.specific_force_m_s2, recording.angular_velocity_rad_s)
        once = cpu_s(lambda arrays=arrays: [array.sum() for array in arrays], 20)
        floor = cpu_s(lambda path=path: pd.read_csv(path, comment="#"), 7)
        read = cpu_s(lambda path=path: read_csv(path), 7)
        measured = cpu_s(lambda path=path: process(recording), 7)  # noqa: B023
        session = process(recording)
        written = cpu_s(session.to_dict, 7)
        total = cpu_s(lambda path=path: process(read_csv(path)).to_dict(), 7)
        line(f"{name}: {n} samples, {recording.duration_s:.0f} s", "", "")
        line("  one sum over the arrays", "", f"{1e3 * once:.2f} ms")
        line("  pandas.read_csv", "", f"{1e3 * floor:.1f} ms")
        line("  reading", "", f"{1e3 * read:.1f} ms; {read / floor:.1f} times pandas")
        line("  measuring", "", f"{1e3 * measured:.1f} ms; {n / measured / 1e3:.0f} k samples/s")
        line("  as JSON's objects", "", f"{1e3 * written:.1f} ms")
        line(
            "  CSV to measures",
            mark,
            f"{1e3 * total:.1f} ms; {n / total / 1e3:.0f} k samples/s; {total / floor:.1f} times pandas, "
            f"{total / once:.0f} times the sum",
        )


def cold_start(folder: Path) -> None:
    """CPU time of whole commands in processes of their own, beside the libraries' own loading."""
    recording, _ = simulate_session(plan_session(SimulationOptions(reps=13, hold_s=0.4), 2), 2)
    write_csv(recording, folder / "minute.csv")
    armarc = ("-m", "armarc")
    for name, mark, words in (
        ("python -c pass", "", ("-c", "pass")),
        ("import numpy, scipy.linalg", "", ("-c", "import numpy, scipy.linalg")),
        ("import pandas", "", ("-c", "import pandas")),
        ("import matplotlib.figure", "", ("-c", "import matplotlib.figure")),
        ("armarc --help", "≤ 0.3 s", (*armarc, "--help")),
        ("armarc process, one minute, --json", "≤ 1.5 s", (*armarc, "process", "minute.csv", "--json")),
        ("armarc process, one minute, --plot", "", (*armarc, "process", "minute.csv", "--plot", "out.svg")),
    ):
        best = min(child_cpu_s([sys.executable, *words], folder) for _ in range(5))
        line(name, mark, f"{best:.2f} s")


def child_cpu_s(words: list[str], cwd: Path) -> float:
    before = os.times()
    subprocess.run(words, cwd=cwd, check=True, capture_output=True)
    after = os.times()
    return after.children_user + after.children_system - before.children_user - before.children_system


def main() -> None:
    line("", "mark", "measured (CPU time)")
    fusion()
    with tempfile.TemporaryDirectory() as folder:
        whole_road(Path(folder))
        cold_start(Path(folder))


if __name__ == "__main__":
    sys.exit(main())
