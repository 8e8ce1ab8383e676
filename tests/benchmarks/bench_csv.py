"""How fast and with how much memory a long recording is read, against plain pandas on the same file.

Run: ``python tests/benchmarks/bench_csv.py [minutes] [rate_hz]`` (default 120 minutes at 400 Hz, 2.9 million samples).
Each reading runs in its own process, so that the peak of memory is its own (Linux).
Elapsed time suffers from whatever else the machine does; CPU time less so.
"""

from __future__ import annotations

import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

from armarc.recording import Recording, write_csv

CHILD = """
import sys, time
import pandas, numpy
{imports}
def peak():
    with open("/proc/self/status") as status:
        return next(int(line.split()[1]) for line in status if line.startswith("VmHWM"))
base = peak()
start, cpu = time.perf_counter(), time.process_time()
n = {call}
seconds, cpu = time.perf_counter() - start, time.process_time() - cpu
print(n, seconds, (peak() - base) / 1024, cpu)
"""
READERS = {
    "pandas.read_csv(comment='#')": ("", "len(pandas.read_csv(sys.argv[1], comment='#'))"),
    "pandas.read_csv": ("", "len(pandas.read_csv(sys.argv[1], skiprows=2))"),
    "pandas.read_csv + sha256": (
        "import hashlib",
        "(hashlib.file_digest(open(sys.argv[1], 'rb'), 'sha256'), len(pandas.read_csv(sys.argv[1], skiprows=2)))[1]",
    ),
    "armarc.recording.read_csv": (
        "from armarc.recording import read_csv",
        "len(read_csv(sys.argv[1]).time_s)",
    ),
    "armarc: read_csv + uniform_pieces": (
        "from armarc.recording import read_csv, uniform_pieces",
        "sum(len(piece.missing) for piece in uniform_pieces(read_csv(sys.argv[1])))",
    ),
}


def invented(minutes: float, rate_hz: float) -> Recording:
    """An arm going up and down for hours, with noise; invented."""
    rng = np.random.default_rng(7)
    n = int(minutes * 60 * rate_hz)
    t = np.arange(n) / rate_hz
    angle = 0.8 * (1 - np.cos(2 * np.pi * t / 3))
    rate = 0.8 * 2 * np.pi / 3 * np.sin(2 * np.pi * t / 3)
    force = np.column_stack([np.zeros(n), 9.80665 * np.sin(angle), 9.80665 * np.cos(angle)])
    turning = np.column_stack([rate, np.zeros(n), np.zeros(n)])
    return Recording(
        time_s=t,
        specific_force_m_s2=force + rng.normal(0, 0.03, (n, 3)),
        angular_velocity_rad_s=turning + rng.normal(0, 0.003, (n, 3)),
        rate_hz=rate_hz,
    )


def main() -> None:
    minutes = float(sys.argv[1]) if len(sys.argv) > 1 else 120.0
    rate_hz = float(sys.argv[2]) if len(sys.argv) > 2 else 400.0
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "long.csv"
        recording = invented(minutes, rate_hz)
        start = time.perf_counter()
        write_csv(recording, path)
        seconds = time.perf_counter() - start
        n = len(recording.time_s)
        size = path.stat().st_size / 2**20
        print(f"{n} samples, {size:.0f} MiB; written at {n / seconds / 1e3:.0f} k samples/s")
        del recording
        reference = None
        for name, (imports, call) in READERS.items():
            code = CHILD.format(imports=imports, call=call)
            best = min((tuple(map(float, run(code, path))) for _ in range(2)), key=lambda result: result[1])
            reference = reference or best[1]
            print(
                f"{name:36s} {best[1]:6.2f} s  {best[0] / best[1] / 1e3:7.0f} k samples/s  "
                f"({best[0] / best[3] / 1e3:.0f} k per second of CPU)  "
                f"peak +{best[2]:5.0f} MiB  {reference / best[1]:.2f} x the first line's speed"
            )


def run(code: str, path: Path) -> list[str]:
    done = subprocess.run([sys.executable, "-c", code, str(path)], capture_output=True, text=True, check=True)
    return done.stdout.split()


if __name__ == "__main__":
    main()
