"""Figures of the live engine: time per sample, delay of the verdict, agreement with offline, memory over a day.

Run with ``python tests/benchmarks/bench_live.py [--hours 8]``. Times are processor times: of the loop, sample by
sample (of two runs the lesser), and of the whole program with its looks back beside the loop, on the mean. They are
compared with the same samples through one update of ``ahrs.filters.Madgwick`` each, in the same run.
"""

from __future__ import annotations

import argparse
import math
import resource
import time
from typing import Any

import numpy as np

from armarc.choices import choose
from armarc.live.engine import Engine
from armarc.live.events import GateCrossed, RepWithdrawn, SetEnded
from armarc.pipeline import measure
from armarc.recording import STANDARD_GRAVITY_M_S2, Metadata, Recording
from armarc.simulate import SimulationOptions, plan_session, simulate_session

KINDS: dict[str, dict[str, Any]] = {
    "plain": {},
    "cheat, tired, partial last": {"cheat_rep": 4, "partial_last": True, "fatigue": 0.2},
    "fast, no pause": {
        "start_velocity_rad_s": 2.2,
        "concentric_s": 1.0,
        "eccentric_s": 1.0,
        "pause_s": 0.0,
    },
    "slow": {"start_velocity_rad_s": 0.5, "concentric_s": 2.8, "eccentric_s": 3.0, "pause_s": 1.0},
    "body swing": {"swing_m": 0.05, "dip_m": 0.015},
    "tremor": {"tremor_rad": 0.01},
    "walking between sets": {"sets": 2, "pick_up": True, "walk": True, "rest_s": 30.0},
    "fidgeting between sets": {"sets": 2, "pick_up": True, "fidget": True, "rest_s": 30.0},
}


def play(made: Recording) -> tuple[list[Any], np.ndarray, float, list[float]]:
    """Events, seconds of the loop per sample and of the program in all, delays of the verdicts in signal time."""
    engine = Engine(choose(made.metadata), made.rate_hz)
    events, spent, delays = [], [], []
    forces, rates = made.specific_force_m_s2.tolist(), made.angular_velocity_rad_s.tolist()
    began_all = time.process_time()
    for t, f, w in zip(made.time_s.tolist(), forces, rates, strict=True):
        began = time.thread_time()
        found = engine.feed(t, (f[0], f[1], f[2]), (w[0], w[1], w[2]))
        spent.append(time.thread_time() - began)
        delays += [t - e.time_s for e in found if isinstance(e, GateCrossed) and not e.late]
        events += found
    return events + engine.finish(), np.array(spent), time.process_time() - began_all, delays


def compare(name: str, recordings: list[Recording]) -> list[float]:
    """Print how live and offline agree; return the differences of the start velocity, °/s."""
    differences: list[float] = []
    equal, false = 0, 0
    spent, delays = [], []
    in_all_s = 0.0
    for made in recordings:
        events, seconds, whole_s, late = play(made)
        _, again, whole_again_s, _ = play(made)
        spent.append(np.minimum(seconds, again))
        in_all_s += min(whole_s, whole_again_s)
        delays += late
        live = [e.reps for e in events if isinstance(e, SetEnded)]
        offline = [one.reps for one in measure(made, choose(made.metadata)).sets]
        equal += [len(r) for r in live] == [len(r) for r in offline]
        false += sum(isinstance(e, RepWithdrawn) for e in events)
        flat = [rep for reps in offline for rep in reps]
        for rep in (rep for reps in live for rep in reps):
            near = min(flat, key=lambda o: abs(o.phases.start_s - rep.phases.start_s), default=None)
            if near is None or abs(near.phases.start_s - rep.phases.start_s) > 0.7:
                continue
            if rep.start_velocity_rad_s is not None and near.start_velocity_rad_s is not None:
                differences.append(math.degrees(rep.start_velocity_rad_s - near.start_velocity_rad_s))
    us = 1e6 * np.concatenate(spent)
    off = np.abs(differences or [0.0])
    print(
        f"{name:28s} counts equal {equal}/{len(recordings)}  withdrawn {false:3d}  "
        f"start velocity: within 3 °/s {100 * (off <= 3).mean():5.1f} %, 95 % within {np.percentile(off, 95):.2f}  "
        f"verdict after {1000 * float(np.median(delays or [0])):.0f} ms, at most {1000 * max(delays or [0]):.0f}  "
        f"loop µs/sample median {np.median(us):.0f} mean {us.mean():.0f} 99.9 % {np.percentile(us, 99.9):.0f} "
        f"max {us.max():.0f}; with the looks beside it mean {1e6 * in_all_s / len(us):.0f}",
        flush=True,
    )
    return differences


def wrist_recordings() -> list[Recording]:
    """Abduction and forward elevation of the open wrist dataset in `seglearn`."""
    from seglearn.datasets import load_watch

    data = load_watch()
    out = []
    for x, label in zip(data["X"], data["y"], strict=True):
        if label in (1, 2):
            values = np.asarray(x, float)
            out.append(
                Recording(
                    time_s=np.arange(len(values)) / 50.0,
                    specific_force_m_s2=values[:, :3] * STANDARD_GRAVITY_M_S2,
                    angular_velocity_rad_s=values[:, 3:],
                    rate_hz=50.0,
                    metadata=Metadata(
                        exercise="lateral-raise" if label == 1 else "front-raise", side="right"
                    ),
                )
            )
    return out


def against_textbook(made: Recording) -> None:
    """Cost of a sample beside one update of a textbook filter."""
    from ahrs.filters import Madgwick

    _, spent, _, _ = play(made)
    madgwick, q = Madgwick(frequency=made.rate_hz), np.array([1.0, 0.0, 0.0, 0.0])
    began = time.process_time()
    for f, w in zip(made.specific_force_m_s2, made.angular_velocity_rad_s, strict=True):
        q = madgwick.updateIMU(q, gyr=w, acc=f)
    each = (time.process_time() - began) / len(made.time_s)
    print(
        f"whole engine, median {1e6 * np.median(spent):.1f} µs per sample; ahrs Madgwick alone {1e6 * each:.1f} µs: "
        f"{each / np.median(spent):.1f} times as much"
    )


def over_hours(hours: float) -> None:
    """Memory of an engine that runs for hours: a session played again and again on one clock."""
    made, _ = simulate_session(plan_session(SimulationOptions(sets=2, reps=8, walk=True, rest_s=60.0), 1), 1)
    engine = Engine(choose(made.metadata), made.rate_hz)
    start_s, marks, sets = 0.0, [], 0
    while start_s < 3600 * hours:
        events = engine.feed_many(
            start_s + made.time_s, made.specific_force_m_s2, made.angular_velocity_rad_s
        )
        sets += sum(isinstance(e, SetEnded) for e in events)
        start_s += made.duration_s + 1.0 / made.rate_hz
        # Largest resident size so far, KiB on Linux: a leak shows as growth.
        marks.append((start_s / 3600, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024))
    at = [marks[round(k * (len(marks) - 1) / 4)] for k in range(5)]
    print(f"memory over {hours:g} h, {sets} sets: " + ", ".join(f"{h:.1f} h {mb:.1f} MB" for h, mb in at))


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--hours", type=float, default=8.0)
    parser.add_argument("--seeds", type=int, default=8)
    options = parser.parse_args()
    differences: list[float] = []
    for name, simulated_as in KINDS.items():
        made = [
            simulate_session(plan_session(SimulationOptions(**simulated_as), seed), seed)[0]
            for seed in range(1, options.seeds + 1)
        ]
        differences += compare(name, made)
    off = np.abs(differences)
    print(f"all synthetic sets: {len(off)} reps, within 3 °/s of offline {100 * (off <= 3).mean():.1f} %")
    compare("open wrist dataset", wrist_recordings())
    against_textbook(simulate_session(plan_session(SimulationOptions(), 1), 1)[0])
    over_hours(options.hours)


if __name__ == "__main__":
    main()
