"""A folder of invented recordings for the archive's tests, and the command over it in a process of its own."""

from __future__ import annotations

import functools
import json
import os
import subprocess
import sys
import tempfile
from pathlib import Path

BROKEN = "time,ax,ay,az\n1,2,3\nno table"


@functools.cache
def originals() -> tuple[bytes, ...]:
    """Three invented recordings of one set of four reps each, as bytes, made once."""
    from armarc.recording import write_csv
    from armarc.simulate import SimulationOptions, plan_session, simulate_session

    out = []
    with tempfile.TemporaryDirectory() as folder:
        for seed, side in ((1, "right"), (2, "left"), (3, "right")):
            options = SimulationOptions(reps=4, sets=1, side=side, load_kg=8.0)
            recording, _ = simulate_session(plan_session(options, seed), seed)
            path = Path(folder) / f"{seed}.csv"
            write_csv(recording, path)
            out.append(path.read_bytes())
    return tuple(out)


def fill(folder: Path, count: int, *, broken: int = 0) -> Path:
    """Write `count` recordings of different bytes, in two subfolders, and some that are none."""
    for number in range(count):
        place = folder / ("early" if number % 2 else "late")
        place.mkdir(parents=True, exist_ok=True)
        content = originals()[number % 3]
        # A comment at the end makes the bytes unique and changes nothing that is measured.
        (place / f"r{number:04d}.csv").write_bytes(content + f"# copy {number}\n".encode())
    for number in range(broken):
        (folder / f"broken{number}.csv").write_text(f"{BROKEN} {number}")
    return folder


def command(*words: object) -> list[str]:
    """Command line of armarc in a process of its own."""
    return [sys.executable, "-m", "armarc", *map(str, words)]


def armarc(*words: object, code: int = 0, **more: str) -> subprocess.CompletedProcess[str]:
    """Run a command; the exit code must be the expected one, nothing may look like a traceback."""
    done = subprocess.run(
        command(*words), capture_output=True, text=True, env={**os.environ, **more}, timeout=100
    )
    assert done.returncode == code, (done.returncode, done.stdout, done.stderr)
    assert "Traceback" not in done.stderr
    return done


def armarc_json(*words: object, **more: object) -> dict:
    """Run a command with ``--json``."""
    return json.loads(armarc(*words, "--json", **more).stdout)  # type: ignore[arg-type]


def table(store: Path, name: str):
    """A table of an archive, read as anybody would, rows in a fixed order and without computing times."""
    import pandas as pd

    frame = pd.read_parquet(store / name)
    keys = [key for key in ("path", "sha256", "set", "rep") if key in frame]
    return frame.drop(columns=["seconds"], errors="ignore").sort_values(keys).reset_index(drop=True)


def faulty_workers(folder: Path) -> str:
    """A folder for PYTHONPATH: workers are killed by any file named deadly, and hang on any named endless."""
    (folder / "sitecustomize.py").write_text(
        """
import multiprocessing, os, signal, sys, time

def watch(event, arguments):
    if event == "open" and isinstance(arguments[0], str) and arguments[0].endswith(".csv"):
        if multiprocessing.parent_process() is None:
            return
        name = os.path.basename(arguments[0])
        if "deadly" in name:
            os.kill(os.getpid(), signal.SIGKILL)
        if "endless" in name:
            open(arguments[0] + ".reached", "w").close()
            time.sleep(600)

sys.addaudithook(watch)
"""
    )
    return str(folder)
