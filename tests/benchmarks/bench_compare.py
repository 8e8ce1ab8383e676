"""How often the interval of two sets' difference holds the true one, on simulated bodies.

Run with ``python tests/benchmarks/bench_compare.py [PAIRS_PER_KIND] [FIRST_SEED]``; 12 of each kind by default. One
lifter is recorded twice with the same body, the strap and the sensor's errors drawn anew; the two sets are compared
rep by rep as ``armarc compare`` does. The true difference is that of the same reps: only measuring can put it wrong.

Columns: intervals that hold the true difference, in per cent (95 wanted) / the same by the scatter of the reps alone;
root mean square of the difference's error.
"""

from __future__ import annotations

import os
import sys

os.environ.setdefault("OMP_NUM_THREADS", "1")

import numpy as np
from bench_bodies import measured

from armarc.log.effects import paired_effect
from armarc.log.shared_errors import RepsOfSet, measuring_se
from armarc.simulate import SCENARIOS, draw_options, rep_record

KEYS = ("start_velocity_deg_s", "rom_deg", "top_deg", "mean_concentric_deg_s")
STRAPPED_AGAIN = 1000
"""Added to the seed of a recording, which draws strap and sensor; the body comes with the options."""


def pair(kind: str, seed: int) -> list[tuple[list[dict], list[dict]]]:
    """Measured and true reps of both recordings, of those that were counted rightly."""
    options, found = draw_options(kind, seed), []
    for drawn in (seed, seed + STRAPPED_AGAIN):
        record, truth = measured(options, drawn)
        reps = [rep for one in record["sets"] for rep in one["reps"]]
        true = [rep_record(rep) for one in truth.sets for rep in one.reps]
        if len(reps) == len(true):
            found.append((reps, true))
    return found


def compared(kind: str, pairs: int, first_seed: int) -> None:
    """One row of the table."""
    held, bare, errors = ({key: [] for key in KEYS} for _ in range(3))
    for seed in range(first_seed, first_seed + pairs):
        recorded = pair(kind, seed)
        if len(recorded) < 2:
            continue
        (a, true_a), (b, true_b) = recorded
        for key in KEYS:
            known = [i for i in range(min(len(a), len(b))) if None not in (a[i][key], b[i][key])]
            if len(known) < 3:
                continue
            first, second = ([reps[i][key] for i in known] for reps in (a, b))
            true = float(np.mean([true_b[i][key] - true_a[i][key] for i in known]))
            room = measuring_se([[RepsOfSet(recording=1, reps=a)]], [[RepsOfSet(recording=2, reps=b)]], key)
            for into, effect in (
                (held, paired_effect(first, second, room)),
                (bare, paired_effect(first, second)),
            ):
                into[key].append(effect.low <= true <= effect.high)
            errors[key].append(paired_effect(first, second).difference - true)
    cells = []
    for key in KEYS:
        if held[key]:
            rmse = float(np.sqrt(np.mean(np.square(errors[key]))))
            cells.append(f"{100 * np.mean(held[key]):3.0f} /{100 * np.mean(bare[key]):4.0f}  {rmse:5.2f}")
    print(f"{kind:<16}{len(errors['rom_deg']):>4}   " + "   ".join(cells), flush=True)


def main() -> None:
    """Run all kinds."""
    pairs = int(sys.argv[1]) if len(sys.argv) > 1 else 12
    first_seed = int(sys.argv[2]) if len(sys.argv) > 2 else 300
    print(f"{'body':<16}{'n':>4}   " + "   ".join(f"{key:<17}" for key in KEYS))
    for kind in SCENARIOS:
        compared(kind, pairs, first_seed)


if __name__ == "__main__":
    main()
