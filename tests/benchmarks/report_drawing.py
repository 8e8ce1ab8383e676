"""How long the pictures take, beside a bare plot of the same curves with the same library.

Run: python tests/benchmarks/report_drawing.py
"""

from __future__ import annotations

import io
import sys
import time
from functools import partial
from pathlib import Path

from matplotlib.figure import Figure

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from armarc.report import draw_session, draw_set
from invented_sets import invent


def best_of(call, times=5):
    took = []
    for _ in range(times):
        before = time.perf_counter()
        call()
        took.append(time.perf_counter() - before)
    return min(took)


def ours_of(motion, measured):
    draw_set(motion, measured).savefig(io.BytesIO(), dpi=150)


def bare(motion):
    figure = Figure(figsize=(9, 15.4))
    upper, lower = figure.subplots(2)
    upper.plot(motion.time_s, motion.angle_rad)
    lower.plot(motion.time_s, motion.angle_rate_rad_s)
    figure.savefig(io.BytesIO(), dpi=150)


def main() -> None:
    print(f"{'picture':<34}{'time s':>8}{'bare plot s':>13}{'ratio':>7}")
    for name, reps, rate_hz in (
        ("1-minute set, 100 Hz", 14, 100.0),
        ("1-minute set, 800 Hz", 14, 800.0),
        ("40 reps", 40, 100.0),
    ):
        motion, measured = invent(reps, rate_hz=rate_hz)
        ours = best_of(partial(ours_of, motion, measured))
        plain = best_of(partial(bare, motion))
        print(f"{name + ', with PNG':<34}{ours:>8.3f}{plain:>13.3f}{ours / plain:>7.2f}")
    motion, measured = invent(14, tail_s=3540.0)
    ours = best_of(lambda: draw_session(motion, [measured]).savefig(io.BytesIO(), dpi=150))
    plain = best_of(lambda: bare(motion))
    print(f"{'1-hour session, 100 Hz, with PNG':<34}{ours:>8.3f}{plain:>13.3f}{ours / plain:>7.2f}")


if __name__ == "__main__":
    main()
