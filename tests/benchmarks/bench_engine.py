"""How the measures hold on bodies of a general physics engine (MuJoCo), which owe nothing to the project's simulator.

Run with ``python tests/benchmarks/bench_engine.py [SETS_PER_KIND] [FIRST_SEED] [KIND ...]``; 6 of each kind of
`engine_kinds.KINDS` and `OTHERS` and of what `engine_habits` adds by default. Needs ``mujoco-core``.

First table, by kind of body: sets counted wrongly; RMSE of start (°/s), range, top, bottom (°), swing (cm), peak
moment (N·m); then the share of errors within one / two standard errors. Second table: the same share for every
measure that has a standard error, or the root mean square of the error where it has none. Last, errors of more than
three standard errors by measure.
"""

from __future__ import annotations

import os
import sys
import time
from collections import Counter, defaultdict
from pathlib import Path

os.environ.setdefault("OMP_NUM_THREADS", "1")
sys.path.insert(0, str(Path(__file__).parents[1] / "external"))

import numpy as np
from engine_habits import HABITS, SENSORS, draw_habit
from engine_kinds import KINDS, OTHERS, Outcome, draw, outcome

FIRST = ("start_velocity_deg_s", "rom_deg", "top_deg", "bottom_deg", "body_swing_cm", "peak_moment_n_m")
TURNING = ("plane_deg", "hand_rotation_deg")

Errors = dict[str, list[tuple[float, float | None]]]


def errors(found: Outcome) -> Errors:
    """Error and standard error of every measure of every rep."""
    out: Errors = defaultdict(list)
    for rep, true in zip(found.reps, found.truth, strict=True):
        for key, actual in true.items():
            value = rep.get(key)
            if value is None or actual is None:
                continue
            error = float(value - actual)
            if key in TURNING:
                error = (error + 180) % 360 - 180
            out[key].append((error, rep.get(f"{key}_se")))
    return out


def rms(rows: list[tuple[float, float | None]]) -> str:
    return f"{np.sqrt(np.mean([e * e for e, _ in rows])):.3g}" if rows else "–"


def within(rows: list[tuple[float, float | None]]) -> str:
    ratios = [abs(e) / se for e, se in rows if se]
    if not ratios:
        return "rms " + rms(rows) if rows else "–"
    one, two = (100 * np.mean(np.less_equal(ratios, k)) for k in (1, 2))
    return f"{one:.0f}/{two:.0f}"


def main() -> None:
    words = sys.argv[1:]
    numbers = [int(word) for word in words if word.isdigit()]
    each, first = (numbers + [6, 100][len(numbers) :])[:2]
    every = (*KINDS, *OTHERS, *HABITS, *SENSORS)
    kinds = [word for word in words if word in every] or every
    began = time.perf_counter()
    tables: dict[str, Errors] = {}
    print(f"{each} sets of each kind from seed {first}; RMSE, then % within 1/2 standard errors")
    short = ("start", "ROM", "top", "bottom", "swing", "moment")
    print(
        f"{'body':<14}{'wrong count':>12}"
        + "".join(f"{s:>8}" for s in short)
        + "".join(f"{s:>10}" for s in short)
    )
    missed, far = [], Counter()
    for kind in kinds:
        table: Errors = defaultdict(list)
        wrong = 0
        for seed in range(first, first + each):
            found = outcome(draw_habit(kind, seed) if kind in (*HABITS, *SENSORS) else draw(kind, seed))
            counts = [len(one["reps"]) for one in found.record["sets"]]
            if counts != [len(found.truth)]:
                wrong += 1
                missed.append(f"{kind} {seed}: {counts}, true {len(found.truth)}")
                continue
            for key, rows in errors(found).items():
                table[key] += rows
                beyond = [row for row in rows if row[1] and abs(row[0]) > 3 * row[1]]
                if beyond:
                    far[f"{key} ({kind} {seed})"] += len(beyond)
        tables[kind] = table
        print(
            f"{kind:<14}{wrong:>12}"
            + "".join(f"{rms(table[key]):>8}" for key in FIRST)
            + "".join(f"{within(table[key]):>10}" for key in FIRST),
            flush=True,
        )
    print("\n".join(["", *missed]))
    print(f"{'':<30}" + "".join(f"{kind:>17}" for kind in tables))
    for key in dict.fromkeys(key for table in tables.values() for key in table):
        print(f"{key:<30}" + "".join(f"{within(table[key]):>17}" for table in tables.values()))
        if any(se for table in tables.values() for _, se in table[key]):
            print(
                f"{'   mean, rms ± mean se':<30}"
                + "".join(f"{_sizes(table[key]):>17}" for table in tables.values())
            )
    print(
        "\nerrors beyond three standard errors: " + "; ".join(f"{key} {n}" for key, n in far.most_common(60))
    )
    print(f"{time.perf_counter() - began:.0f} s")


def _sizes(rows: list[tuple[float, float | None]]) -> str:
    ses = [se for _, se in rows if se]
    return f"{np.mean([e for e, _ in rows]):+.2g} {rms(rows)}±{np.mean(ses):.2g}" if ses else "–"


if __name__ == "__main__":
    main()
