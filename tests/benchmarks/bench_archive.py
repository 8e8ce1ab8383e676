"""What an archive costs: files × length × workers, and the peak of memory (Linux).

    python tests/benchmarks/bench_archive.py [--quick | --many FILES]

Every line is one run of ``armarc archive process`` in processes of its own, on invented recordings. Growth with the
number of files and with their length is given as the slope of log(time) against log(size), start-up taken out: 1 is
linear. For comparison the same CSV files are only read with ``pandas.read_csv``, in the same run. With ``--many`` so
many small files go through two workers; then the same through what somebody would write without an archive, a pool of
two processes whose frames pandas puts together and writes; then a fifth of them through two workers of a Dask cluster
on this machine. Processor time is of all processes.
"""

from __future__ import annotations

import argparse
import json
import math
import multiprocessing
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import pandas as pd

import armarc


def make(folder: Path, count: int, sets: int) -> Path:
    """Recordings of `sets` sets of eight reps with rests of a minute; their bytes differ, their movement repeats."""
    from armarc.recording import write_csv
    from armarc.simulate import SimulationOptions, plan_session, simulate_session

    folder.mkdir(parents=True)
    bodies = []
    for seed in range(min(count, 4)):
        recording, _ = simulate_session(plan_session(SimulationOptions(sets=sets, load_kg=8.0), seed), seed)
        path = folder / "one.csv"
        write_csv(recording, path)
        bodies.append(path.read_bytes())
        path.unlink()
    for number in range(count):
        (folder / f"{number:05d}.csv").write_bytes(
            bodies[number % len(bodies)] + f"# copy {number}\n".encode()
        )
    return folder


def run(folder: Path, store: Path, workers: int, *more: str) -> dict:
    """Run the command; its own figures, the wall time, and the peak memory of driver and largest worker, MB."""
    words = ["archive", "process", folder, "--out", store, *(more or ("--workers", workers)), "--json"]
    # A parent of its own, so that the peak of the children is that of this run; its own peak comes from VmHWM,
    # since ru_maxrss begins with what the process was forked from.
    code = (
        "import json, resource, subprocess, sys, time\n"
        "began = time.perf_counter()\n"
        "done = subprocess.run([sys.executable, '-c', 'import resource, sys, atexit\\n"
        'peak = lambda: next(x.split()[1] for x in open("/proc/self/status") if x.startswith("VmHWM"))\\n'
        "atexit.register(lambda: print(peak(), "
        "resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss, file=sys.stderr))\\n"
        "from armarc.cli import main\\nmain()', *sys.argv[1:]], capture_output=True, text=True)\n"
        "took = time.perf_counter() - began\n"
        "assert done.returncode == 0, done.stderr\n"
        "mine, workers = map(int, done.stderr.split()[-2:])\n"
        "print(json.dumps([json.loads(done.stdout), took, mine, workers]))\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, *map(str, words)], capture_output=True, text=True, check=True
    )
    said, took, driver, worker = json.loads(done.stdout)
    return {**said["recordings"], "wall_s": took, "driver_mb": driver / 1024, "worker_mb": worker / 1024}


def pandas_seconds(folder: Path) -> float:
    began = time.perf_counter()
    for path in folder.iterdir():
        pd.read_csv(path, comment="#")
    return time.perf_counter() - began


def plainly(path: Path) -> pd.DataFrame:
    """The reps of one recording, as somebody without an archive gets them."""
    return armarc.process(armarc.read_csv(path)).frame().assign(file=path.name)


def plain_pool(folder: Path, store: Path) -> None:
    """Measure a folder with two processes of the standard library, and one table out of all of it."""
    with multiprocessing.get_context("spawn").Pool(2) as pool:
        frames = pool.map(plainly, sorted(folder.iterdir()), chunksize=8)
        pool.close()
        pool.join()
    pd.concat(frames, ignore_index=True).to_parquet(store)


def many(count: int) -> None:
    """A folder of many small files, the same without an archive, and a fifth of it on a cluster."""
    from distributed import LocalCluster

    def line(what: str, files: int, work: Callable[[], object]) -> None:
        began, before = time.perf_counter(), os.times()
        done = work()
        took, after = time.perf_counter() - began, os.times()
        used = sum(after[:4]) - sum(before[:4])
        print(
            f"{files} files, {what}: {took:.0f} s, {1e3 * took / files:.1f} ms a file, "
            f"{1e3 * used / files:.1f} ms of processor time a file"
            + (f", driver {done['driver_mb']:.0f} MB" if isinstance(done, dict) else ""),
            flush=True,
        )

    with tempfile.TemporaryDirectory() as home_name:
        home = Path(home_name)
        folder = make(home / "many", count, 1)
        line("two workers", count, lambda: run(folder, home / "own", 2))
        line("a pool of two and pandas", count, lambda: plain_pool(folder, home / "plain.parquet"))
        line("pandas.read_csv alone", count, lambda: pandas_seconds(folder))
        fewer = make(home / "fewer", count // 5, 1)

        def on_a_cluster() -> dict:
            with LocalCluster(n_workers=2, threads_per_worker=1, dashboard_address=None) as cluster:
                return run(fewer, home / "dask", 2, "--scheduler", cluster.scheduler_address)

        line("two Dask workers, started and ended", count // 5, on_a_cluster)


def slope(points: list[tuple[float, float]]) -> float:
    (x0, y0), (x1, y1) = points[0], points[-1]
    return math.log(y1 / y0) / math.log(x1 / x0)


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--quick", action="store_true")
    parser.add_argument("--many", type=int, metavar="FILES")
    asked = parser.parse_args()
    if asked.many:
        return many(asked.many)
    quick = asked.quick
    by_count = (20, 60, 180) if quick else (50, 200, 800)
    by_sets = (1, 4, 16) if quick else (1, 4, 16, 36)
    cores = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1
    head = (
        f"{'files':>6}{'min each':>9}{'workers':>8}{'wall s':>8}{'hours':>7}{'s work/h':>9}{'MB driver':>10}"
    )
    print(head + f"{'MB worker':>10}{'files/s':>9}")

    def line(folder: Path, store: Path, workers: int) -> dict:
        r = run(folder, store, workers)
        print(
            f"{r['total']:>6}{60 * r['hours'] / r['total']:>9.1f}{workers:>8}{r['wall_s']:>8.1f}{r['hours']:>7.2f}"
            f"{r['worker_seconds'] / r['hours']:>9.2f}{r['driver_mb']:>10.0f}{r['worker_mb']:>10.0f}"
            f"{r['total'] / r['wall_s']:>9.1f}",
            flush=True,
        )
        return r

    with tempfile.TemporaryDirectory() as home_name:
        home = Path(home_name)
        counted = []
        for count in by_count:
            folder = make(home / f"count{count}", count, 1)
            counted.append(line(folder, home / f"s{count}", 1))
        for workers in sorted({2, cores} - {1}):
            if workers <= cores:
                line(folder, home / f"w{workers}", workers)
        again = run(folder, home / f"s{by_count[-1]}", 1)
        print(
            f"the same again: {again['wall_s']:.1f} s for {again['before']} recordings that were there before"
        )
        reading = pandas_seconds(folder)
        work = counted[-1]["worker_seconds"]
        print(
            f"pandas.read_csv of the same files: {reading:.1f} s; all the work took {work / reading:.1f} times that"
        )
        work = slope([(r["total"], r["worker_seconds"]) for r in counted[1:]])
        peak = slope([(r["total"], r["driver_mb"]) for r in counted])
        print(f"slope with the number of files: work {work:.2f}, peak of the driver {peak:.2f}")
        lengths = []
        for sets in by_sets:
            # Enough files that loading the libraries does not weigh.
            folder = make(home / f"sets{sets}", 6, sets)
            lengths.append(line(folder, home / f"l{sets}", 1))
        print(
            "slope with the length of a recording: work "
            f"{slope([(r['hours'], r['worker_seconds']) for r in lengths[1:]]):.2f}, "
            f"peak of the worker {slope([(r['hours'], r['worker_mb']) for r in lengths]):.2f}"
        )
        size = sum(p.stat().st_size for p in (home / f"s{by_count[-1]}").rglob("*.parquet"))
        raw = sum(p.stat().st_size for p in (home / f"count{by_count[-1]}").iterdir())
        n = by_count[-1]
        print(
            f"bytes per recording: {raw / n:.0f} raw, {size / n:.0f} in the archive "
            f"({counted[-1]['reps'] / n:.0f} reps; four movements repeat here and pack well, "
            "different ones take ten times that)"
        )


if __name__ == "__main__":
    main()
