"""How often what a trend claims is true, on simulated sessions of known truth: `bench_statistics.py [SEED] [ROUNDS]`.

For every number of sessions and course: the share of 95 % intervals that hold the true change of the end means, and of
changes called real, at a correlation of neighbouring sessions of 0, 0.3, 0.5 and 0.7; then the smallest worthwhile
change over logs of 20 lifters with ten sessions each, true 0.2 of the SD between lifters.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))

from armarc.log.relevance import lifters_spread
from invented_sessions import ROM, flat, lifters, misses, rising, stepping

CORRELATIONS = (0.0, 0.3, 0.5, 0.7)


def main(seed: int = 77, rounds: int = 400) -> None:
    rng = np.random.default_rng(seed)
    print(
        "sessions  course    interval holds, % at rho "
        + " ".join(f"{rho:5}" for rho in CORRELATIONS)
        + "   called real, %"
    )
    for n in (5, 6, 8, 12, 20):
        for shape in (flat, rising, stepping):
            rates = [misses(rng, rho, n, rounds, shape) for rho in CORRELATIONS]
            held = " ".join(f"{100 * (1 - missed):5.1f}" for missed, _ in rates)
            real = " ".join(f"{100 * called:5.1f}" for _, called in rates)
            print(f"{n:8}  {shape.__name__:9} {'':24}{held}   {real}", flush=True)
    for people in (10, 20, 40):
        found = np.array(
            [lifters_spread(lifters(rng, people, 10, 4.0, 4.0), ROM).worthwhile for _ in range(rounds)]
        )
        near = 100 * np.mean(np.abs(found / 0.8 - 1) < 0.15)
        print(
            f"{people} lifters x 10 sessions: worthwhile {found.mean():.3f}, true 0.800; {near:.0f} % within 15 %"
        )


if __name__ == "__main__":
    main(*map(int, sys.argv[1:3]))
