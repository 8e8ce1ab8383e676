"""Body swing of simulated bodies whose girdle rises with the arm, begun with the arm; and without a swing.

    python tests/benchmarks/bench_swing.py [SETS] [FIRST_SEED]

The bodies are the ``rising-girdle`` ones of `armarc.simulate` (a rise of 3–4.5 cm), the swing is one of the hips that
begins with the arm and is back at the top. By true swing: reps, share told, medians of the true and the measured
swing, RMSE of what is told, cm, and the share of errors within one / two standard errors.
"""

from __future__ import annotations

import sys
from dataclasses import replace

import numpy as np

from armarc import NOTHING_KEPT, process
from armarc.simulate import draw_options, plan_session, simulate_session

SWINGS_M = (0.0, 0.023, 0.058, 0.117)


def reps(seed: int, swing_m: float) -> list[tuple[float, float | None, float | None]]:
    """True swing, measured one (None: not told) and its standard error of every rep, m."""
    options = replace(draw_options("rising-girdle", seed), swing_m=swing_m)
    recording, truth = simulate_session(plan_session(options, seed), seed)
    found = [rep for one in process(recording, kept=NOTHING_KEPT).sets for rep in one.reps]
    out = []
    for rep in found:
        true = min(truth.reps, key=lambda each: abs(each.start_s - rep.phases.start_s)).body_swing_m
        told = rep.body_swing_reason is None
        out.append((true, rep.body_swing_m if told else None, rep.body_swing_se_m if told else None))
    return out


def main() -> None:
    asked = [int(word) for word in sys.argv[1:]]
    sets, first = (asked + [24, 3000][len(asked) :])[:2]
    for swing_m in SWINGS_M:
        rows = [row for seed in range(first, first + sets) for row in reps(seed, swing_m)]
        told = np.array([row for row in rows if row[1] is not None], dtype=float).reshape(-1, 3)
        true, got, error = 100 * told.T
        off = np.abs(got - true)
        print(
            f"{len(rows)} reps, {100 * len(told) / len(rows):.0f} % told: true {np.median(true):.1f}, measured "
            f"{np.median(got):.1f} cm, RMSE {np.sqrt(np.mean(off**2)):.2f}; within one / two standard errors "
            f"{100 * np.mean(off <= error):.0f} / {100 * np.mean(off <= 2 * error):.0f} %",
            flush=True,
        )


if __name__ == "__main__":
    main()
