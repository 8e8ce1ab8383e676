"""Accuracy and speed of the orientation fusion beside `vqf` and `ahrs` in the same run.

Run with ``python tests/benchmarks/bench_orientation.py``. The accuracy table needs the windows of the BROAD benchmark
(Laidig et al. 2021, doi 10.3390/data6070072) beside the project; without them only the invented raises are measured.
"""

from __future__ import annotations

import os
import resource
import sys
import time
from collections.abc import Callable
from pathlib import Path

for _name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ[_name] = "1"  # before numpy is loaded
for _folder in ("unit", "external"):
    sys.path.insert(0, str(Path(__file__).parents[1] / _folder))

# ruff: noqa: E402
import numpy as np
from invented_raises import make_raises
from test_orientation_benchmark import WINDOWS, Window, live, short, vqf_offline, vqf_real_time, whole

from armarc.motion.orientation import estimate_orientation, fuse

Estimate = Callable[[np.ndarray, np.ndarray, float], np.ndarray]


def textbook(method: str) -> Estimate:
    return lambda omega, force, rate_hz: estimate_orientation(omega, force, rate_hz, method)


def accuracy() -> None:
    if not WINDOWS:
        print("no BROAD windows beside the project: accuracy against optical truth not measured\n")
        return
    windows = [Window(path) for path in WINDOWS]
    rows: list[tuple[str, Estimate]] = [
        ("smoother", estimate_orientation),
        ("vqf offline", vqf_offline),
        ("live filter", live),
        ("vqf real time", vqf_real_time),
        *((f"ahrs {method}", textbook(method)) for method in ("madgwick", "mahony", "ekf", "aqua")),
    ]
    print(f"inclination RMSE, degrees, mean over {len(windows)} windows (21-33 s, movement)")
    print(f"{'':<16}{'whole':>8}{'+1 deg/s':>10}{'10 s':>8}{'+1 deg/s':>10}")
    base: list[float] = []
    for name, estimate in rows:
        slow = name.startswith("ahrs")
        figures = [whole(windows, estimate), whole(windows, estimate, 1.0)]
        figures += [] if slow else [short(windows, estimate), short(windows, estimate, 1.0)]
        base = base or figures
        print(f"{name:<16}" + "".join(f"{figure:>9.3f}" for figure in figures), end="   ratio to smoother")
        print("".join(f"{figure / ours:>6.2f}" for figure, ours in zip(figures, base, strict=False)))
    print()


def raises() -> None:
    """Elevation of the arm line on invented sets that start in mid-movement, 2 °/s of bias, 20 mg of offset."""
    estimates: list[tuple[str, Callable]] = [
        (
            "smoother",
            lambda r: estimate_orientation(r.angular_velocity_rad_s, r.specific_force_m_s2, r.rate_hz),
        ),
        (
            "... known lever",
            lambda r: (
                fuse(
                    r.angular_velocity_rad_s, r.specific_force_m_s2, r.rate_hz, lever_arm_m=r.lever_arm_m
                ).quaternion
            ),
        ),
        ("vqf offline", lambda r: vqf_offline(r.angular_velocity_rad_s, r.specific_force_m_s2, r.rate_hz)),
        ("live filter", lambda r: live(r.angular_velocity_rad_s, r.specific_force_m_s2, r.rate_hz)),
    ]
    cases = {
        "8 reps": {},
        "3 fast reps": {"reps": 3, "shortest_s": 0.7, "longest_s": 1.2},
        "10 cm swing": {"swing_m": 0.1},
        "1 s still first": {"still_s": 1.0},
    }
    print("elevation RMSE, degrees: about its own mean / absolute; invented raises at 100 Hz, 12 sets each")
    print(f"{'':<18}" + "".join(f"{case:>18}" for case in cases))
    for name, estimate in estimates:
        line = f"{name:<18}"
        for options in cases.values():
            errors = []
            for seed in range(12):
                made = make_raises(seed, **options)
                error = made.elevation_error_deg(estimate(made))
                errors.append((error.var(), np.mean(error**2)))
            spread, absolute = np.sqrt(np.mean(errors, axis=0))
            line += f"{spread:>10.3f} /{absolute:>6.3f}"
        print(line)


def best_of(times: int, work: Callable[[], object]) -> float:
    spent = []
    for _ in range(times):
        begin = time.process_time()  # what other programs take does not count
        work()
        spent.append(time.process_time() - begin)
    return min(spent)


def speed() -> None:
    print("speed, one thread")
    made = make_raises(0, reps=10)
    w, f = made.angular_velocity_rad_s[:1500], made.specific_force_m_s2[:1500]
    for name, work in (
        ("fuse", lambda: fuse(w, f, 100.0)),
        ("fuse, lever", lambda: fuse(w, f, 100.0, lever_arm_m=made.lever_arm_m)),
        ("vqf offline", lambda: vqf_offline(w, f, 100.0)),
    ):
        print(f"  15 s at 100 Hz, {name:<16}{1e3 * best_of(5, work):>7.1f} ms")
    print(f"  live filter, per sample {1e6 * best_of(3, lambda: live(w, f, 100.0)) / len(w):>15.1f} us")
    for n, rate_hz in ((300_000, 100.0), (3_000_000, 100.0), (3_000_000, 285.7)):
        times = -(-n // len(made.quaternion))
        omega = np.tile(made.angular_velocity_rad_s, (times, 1))[:n]
        force = np.tile(made.specific_force_m_s2, (times, 1))[:n]
        ours = n / best_of(2, lambda: fuse(omega, force, rate_hz))  # noqa: B023
        theirs = n / best_of(1, lambda: vqf_offline(omega, force, rate_hz))  # noqa: B023
        peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6
        print(
            f"  {n:>9,} samples at {rate_hz:5.1f} Hz: {ours / 1e6:5.2f} M samples/s, "
            f"{ours / theirs:4.2f} times vqf offline, peak memory so far {peak:.2f} GB"
        )
    for method in ("madgwick", "mahony", "ekf", "aqua"):
        rate = 3000 / best_of(1, lambda: estimate_orientation(omega[:3000], force[:3000], 100.0, method))  # noqa: B023
        print(f"  ahrs {method:<10}{rate / 1e3:>8.0f} k samples/s")


if __name__ == "__main__":
    accuracy()
    raises()
    speed()
