"""How fast a log of 10 000 sets answers: adding, list, trend, weeks, bests, reliability, browse.

    python tests/benchmarks/bench_log.py [SETS]

The mark is one second for list, trend and browse. For comparison the same rows are read as one JSON file with the
standard library and with pandas, which is what a folder of result files would need.
"""

from __future__ import annotations

import copy
import json
import random
import subprocess
import sys
import tempfile
import time
from datetime import timedelta
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

from armarc.log import Labels, add_result, list_sets, open_log
from invented_log import MONDAY, invented_result
from log_program import run


def timed(what, function, rounds=3):
    best = min(_once(function) for _ in range(rounds))
    print(f"{what:<58} {best:8.3f} s")
    return best


def _once(function):
    start = time.perf_counter()
    function()
    return time.perf_counter() - start


def fill(path, wanted):
    rng = random.Random(1)
    templates = [
        invented_result(seed, sets=4, reps=rng.randint(6, 14), side=side, load_kg=load)
        for seed, (side, load) in enumerate((s, w) for s in ("left", "right") for w in (6.0, 8.0, 10.0))
    ]
    curve = [round(rng.uniform(0, 60), 3) for _ in range(95)]
    names = ("angle_deg", "concentric_n_m", "concentric_sd_n_m", "eccentric_n_m", "eccentric_sd_n_m")
    for template in templates:
        for one in template["sets"]:
            # As large as the shoulder's load that a measured set carries.
            one["load"] = {"resistance": "dumbbell", "curve": dict.fromkeys(names, curve)}
    with open_log(str(path)) as store:
        start = time.perf_counter()
        for number in range(wanted // 4):
            result = copy.deepcopy(templates[number % len(templates)])
            result["source"]["sha256"] = f"{number:064x}"
            moment = MONDAY - timedelta(days=900) + timedelta(hours=7 * number)
            labels = Labels(lifter=("me", "Ada", "Bo", "Cy")[number % 4], tags=("block",))
            add_result(store, result, labels=labels, started_at=moment)
        took = time.perf_counter() - start
        sets = list_sets(store)
    reps = sum(entry.reps for entry in sets)
    print(
        f"{len(sets)} sets, {reps} reps, {path.stat().st_size / 1e6:.1f} MB; added {len(sets) / took:.0f} sets/s"
    )


def browse(path):
    words = [sys.executable, "-m", "armarc", "browse", "--no-open", "--log-file", str(path)]
    process = subprocess.Popen(words, stdout=subprocess.PIPE, text=True)
    import urllib.request

    address = process.stdout.readline().strip()

    def get(tail):
        with urllib.request.urlopen(address + tail, timeout=60) as answer:
            assert len(answer.read()) > 1000

    get("")
    timed("browse: first page", lambda: get(""))
    timed("browse: page 50", lambda: get("?from=4900"))
    timed("browse: one lifter, one side", lambda: get("?lifter=Ada&side=left"))
    timed("browse: one set (pictures drawn)", lambda: get("set/77"))
    process.terminate()
    process.wait()


def main() -> None:
    wanted = int(sys.argv[1]) if len(sys.argv) > 1 else 10_000
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "log.sqlite"
        fill(path, wanted)
        run("log", "list", "--log-file", path)
        listed = timed("armarc log list", lambda: run("log", "list", "--log-file", path))
        timed(
            "armarc log list -n 0 --json", lambda: run("log", "list", "-n", "0", "--json", "--log-file", path)
        )
        timed(
            "armarc trend rom, one lifter", lambda: run("trend", "rom", "--lifter", "me", "--log-file", path)
        )
        timed("armarc trend rom, everybody", lambda: run("trend", "rom", "--log-file", path))
        timed("armarc trend weeks", lambda: run("trend", "weeks", "--log-file", path))
        timed("armarc trend bests", lambda: run("trend", "bests", "--log-file", path))
        timed("armarc reliability rom", lambda: run("reliability", "rom", "--log-file", path))
        timed("armarc compare --by side", lambda: run("compare", "--by", "side", "--log-file", path), 1)
        timed(
            "armarc log export (all reps, CSV)",
            lambda: run("log", "export", f"{folder}/r.csv", "--log-file", path),
            1,
        )
        cold = [sys.executable, "-m", "armarc", "log", "list", "--log-file", str(path)]
        timed("armarc log list, a new process", lambda: subprocess.run(cold, check=True, capture_output=True))
        browse(path)
        run("log", "export", f"{folder}/r.json", "--log-file", path)
        import pandas as pd

        document = Path(folder) / "r.json"
        plain = timed("same sets from one JSON file, json", lambda: json.loads(document.read_text()))
        table = Path(folder) / "r.csv"
        framed = timed("same reps from one CSV file, pandas", lambda: pd.read_csv(table, low_memory=False))
        print(
            f"list against json {plain / listed:.1f} times as fast, against pandas {framed / listed:.1f} times"
        )


if __name__ == "__main__":
    main()
