"""Accuracy of the measures on the rigid arm, and of the counting on the open wrist dataset.

Run with python; prints one table per question. ``--quick`` takes a quarter of the sets.

The rigid arm turns about a shoulder that moves only as far as the body swings; `bench_bodies.py` does the same for
bodies. The sets spread start velocity (30–150 °/s), range, tempo, noise grade, bias and strap; the sensor's noise,
offsets and scale errors are those of `armarc.simulate.GRADES`. The open dataset is carried by the package
``seglearn`` (`load_watch`): Burns, Leung, Hardisty, Whyne, Henry, McLachlin 2018, "Shoulder physiotherapy exercise
recognition: machine learning the inertial signals from a smartwatch", Physiol Meas 39:075007 (cited from memory).
"""

from __future__ import annotations

import math
import os
import sys
import time
import warnings

os.environ.setdefault("OMP_NUM_THREADS", "1")

import numpy as np

from armarc.api import process
from armarc.pipeline import Session
from armarc.recording import Recording
from armarc.simulate import (
    MountPlan,
    SensorPlan,
    SimulationOptions,
    Truth,
    find_pattern,
    plan_session,
    rep_record,
    simulate_session,
)

RNG_SEED = 20
GRAVITY_M_S2 = 9.80665


def one_set(k: int, **fixed) -> tuple[SimulationOptions, int]:
    """SimulationOptions of the k-th set; the spread is that of a mixed training week."""
    rng = np.random.default_rng([RNG_SEED, k])
    start = float(rng.uniform(30, 150))
    concentric = float(rng.uniform(1.0, 2.4)) if start < 100 else float(rng.uniform(0.9, 1.4))
    mount = MountPlan(
        strap=str(rng.choice(["back", "inside", "thumb", "little-finger"])),
        hand_axis=str(rng.choice(["+x", "-x", "+y", "-y"])),
        roll_rad=math.radians(float(rng.uniform(-15, 15))),
        tilt_rad=math.radians(float(rng.uniform(0, 8))),
        height_m=float(rng.uniform(0.015, 0.035)),
        reach_m=float(rng.uniform(0.5, 0.65)),
    )
    simulated_as = {
        "reps": int(rng.integers(5, 13)),
        "eccentric_s": float(rng.uniform(1.2, 3.5)),
        "pause_s": float(rng.uniform(0.0, 1.0)),
        "concentric_s": concentric,
        "hold_s": float(rng.uniform(0.0, 0.8)),
        "start_velocity_rad_s": math.radians(start),
        "bottom_rad": math.radians(float(rng.uniform(6, 12))),
        "top_rad": math.radians(float(rng.uniform(75, 105))),
        "swing_m": float(rng.choice([0.0, 0.0, 0.01, 0.02, 0.04])),
        "fatigue": float(rng.uniform(0, 0.2)),
        "pattern": find_pattern(str(rng.choice(["lateral-raise", "front-raise", "scaption-raise"]))),
        "side": str(rng.choice(["right", "left"])),
        "still_s": float(rng.uniform(0.5, 2.0)),
        "mount": mount,
        "sensor": SensorPlan(
            noise=str(rng.choice(["good", "common", "common", "poor"])),
            rate_hz=float(rng.choice([50.0, 100.0, 100.0, 200.0])),
        ),
    }
    return SimulationOptions(**(simulated_as | fixed)), int(rng.integers(1 << 30))


def session(k: int) -> tuple[SimulationOptions, int]:
    """Several sets in one recording, with what lies between them."""
    rng = np.random.default_rng([RNG_SEED, 1000 + k])
    return one_set(
        5000 + k,
        sets=int(rng.integers(2, 4)),
        reps=int(rng.integers(4, 11)),
        rest_s=float(rng.uniform(20, 60)),
        pick_up=bool(rng.random() < 0.6),
        walk=bool(rng.random() < 0.6),
        fidget=bool(rng.random() < 0.6),
        partial_last=bool(rng.random() < 0.3),
        cheat_rep=2 if rng.random() < 0.3 else None,
        start_velocity_rad_s=math.radians(float(rng.uniform(30, 90))),
        concentric_s=float(rng.uniform(1.2, 2.2)),
    )


def run(simulated_as: SimulationOptions, seed: int, **options) -> tuple[Session, Truth, Recording]:
    recording, truth = simulate_session(plan_session(simulated_as, seed), seed)
    return process(recording, **options), truth, recording


def elevation_errors(measured: Session, truth: Truth) -> tuple[float, float]:
    """RMSE about the own mean, and absolute, over the sets, degrees."""
    own, absolute = [], []
    for one, m in zip(measured.sets, measured.motion_of_set, strict=True):
        motion = measured.motions[m]
        inside = (motion.time_s >= one.start_s) & (motion.time_s <= one.end_s)
        true = np.interp(motion.time_s[inside], truth.series.time_s, truth.series.elevation_rad)
        off = np.degrees(motion.elevation_rad[inside] - true)
        own.append(off - off.mean())
        absolute.append(off)
    return rms(np.concatenate(own)), rms(np.concatenate(absolute))


def rms(values) -> float:
    return float(np.sqrt(np.mean(np.square(values))))


def paired(measured: Session, truth: Truth):
    """Measured and true rep records of sets counted exactly."""
    for mine, true in zip(measured.sets, truth.sets, strict=False):
        if len(mine.reps) == len(true.reps):
            yield from zip(
                [r for s in measured.to_dict()["sets"] if s["set"] == mine.set for r in s["reps"]],
                [rep_record(r) for r in true.reps],
                strict=True,
            )


def counts(measured: Session, truth: Truth) -> bool:
    return [len(s.reps) for s in measured.sets] == [len(s.reps) for s in truth.sets]


def line(what: str, mark: str, value: str) -> None:
    print(f"{what:<74}{mark:<16}{value}", flush=True)


INSTANTS = ("start_s", "top_start_s", "top_end_s", "end_s")


def accuracy(sets: int, sessions: int) -> None:
    errors: dict[str, list[float]] = {}
    own, absolute, methods = [], [], []
    exact = 0
    missed = []
    for k in range(sets):
        simulated_as, seed = one_set(k)
        measured, truth, _ = run(simulated_as, seed)
        if counts(measured, truth):
            exact += 1
        else:
            missed.append(
                f"set {k}: {[len(s.reps) for s in measured.sets]}, true {[len(s.reps) for s in truth.sets]}"
            )
        if not measured.sets:
            continue
        methods.append(measured.motions[0].mounting.method)
        o, a = elevation_errors(measured, truth)
        own.append(o)
        absolute.append(a)
        for mine, true in paired(measured, truth):
            for key, value in true.items():
                if isinstance(value, float) and isinstance(mine.get(key), float):
                    errors.setdefault(key, []).append(mine[key] - value)
    print(f"\n{sets} sets of the rigid arm, {len(errors['rom_deg'])} reps")
    line("", "mark", "measured")
    line(
        "elevation, RMSE about its own mean (median; worst), °",
        "≤ 0.7",
        f"{np.median(own):.2f}; {max(own):.2f}",
    )
    line(
        "elevation, absolute RMSE (all sets; worst), °", "≤ 1.5", f"{rms(absolute):.2f}; {max(absolute):.2f}"
    )
    line("start velocity, RMSE, °/s", "≤ 2", f"{rms(errors['start_velocity_deg_s']):.2f}")
    line("range of motion, RMSE, °", "≤ 1.0", f"{rms(errors['rom_deg']):.2f}")
    instants = np.abs(np.concatenate([errors[key] for key in INSTANTS])) * 1000
    line(
        "phase instants, median (95 %) error, ms",
        "≤ 20",
        f"{np.median(instants):.1f} ({np.quantile(instants, 0.95):.0f})",
    )
    line("rep count exact", "100 %", f"{exact}/{sets}")
    for key in (
        "top_deg",
        "bottom_deg",
        "peak_concentric_deg_s",
        "mean_concentric_deg_s",
        "loaded_range_s",
        "plane_deg",
        "hand_rotation_deg",
        "smoothness_sparc",
        "body_swing_cm",
    ):
        line(f"{key}, RMSE", "", f"{rms(errors[key]):.3f}" if key in errors else "–")
    line("mounting found by", "", ", ".join(f"{m} {methods.count(m)}" for m in sorted(set(methods))))
    for text in missed:
        print("  ", text)

    exact = 0
    print(
        f"\n{sessions} sessions of the rigid arm, 2–3 sets with picking up, walking and fidgeting between them"
    )
    for k in range(sessions):
        simulated_as, seed = session(k)
        measured, truth, _ = run(simulated_as, seed)
        if counts(measured, truth):
            exact += 1
        else:
            print(
                f"   session {k}: {[len(s.reps) for s in measured.sets]}, true {[len(s.reps) for s in truth.sets]}"
            )
    line("all sets counted exactly", "100 %", f"{exact}/{sessions}")


def coverage(sets: int) -> None:
    """How many errors lie within one and two standard errors, for every measure that has one."""
    ratios: dict[str, dict[str, list[float]]] = {}
    for k in range(sets):
        simulated_as, seed = one_set(k)
        measured, truth, _ = run(simulated_as, seed)
        for mine, true in paired(measured, truth):
            for key in mine:
                se = mine.get(f"{key}_se")
                if se and mine[key] is not None and true.get(key) is not None:
                    by_grade = ratios.setdefault(key, {})
                    by_grade.setdefault(simulated_as.sensor.noise, []).append((mine[key] - true[key]) / se)
    print(
        f"\nCoverage of the standard errors, {sets} sets of the rigid arm (wanted: 68 % within 1, 95 % within 2)"
    )
    line("measure", "all", "good; common; poor sensors; rms error/SE")

    def shares(values) -> str:
        z = np.abs(values)
        return f"{100 * np.mean(z < 1):.0f}, {100 * np.mean(z < 2):.0f} %"

    for key, by_grade in ratios.items():
        together = np.concatenate(list(by_grade.values()))
        each = "; ".join(shares(by_grade[grade]) for grade in ("good", "common", "poor"))
        line(key, shares(together), f"{each}; {rms(together):.2f}")


def swing(sets: int) -> None:
    print(f"\nBody swing of the rigid arm, {sets} sets each: measured travel by true travel, cm")
    line("planned travel", "true", "median of reps (quartiles); median SE")
    for travel_cm in (0, 1, 2, 4, 6):
        found, true, se = [], [], []
        for k in range(sets):
            simulated_as, seed = one_set(8000 + k, swing_m=travel_cm / 100)
            measured, truth, _ = run(simulated_as, seed)
            for mine, actual in paired(measured, truth):
                if mine["body_swing_cm"] is not None:
                    found.append(mine["body_swing_cm"])
                    se.append(mine["body_swing_cm_se"])
                    true.append(actual["body_swing_cm"])
        low, middle, high = np.quantile(found, [0.25, 0.5, 0.75])
        line(
            f"{travel_cm} cm",
            f"{np.median(true):.2f}",
            f"{middle:.2f} ({low:.2f}–{high:.2f}); {np.median(se):.2f}",
        )


CLASSES = (
    ("PEN pendulum", "unknown", 0.2),
    ("ABD abduction", "lateral-raise", None),
    ("FEL forward elevation", "front-raise", None),
    ("IR internal rotation", "unknown", None),
    ("ER external rotation", "unknown", None),
    ("TRAP trapezius extension", "unknown", None),
    ("ROW upright row", "unknown", None),
)


def watch() -> tuple[list[np.ndarray], np.ndarray]:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        from seglearn.datasets import load_watch
    data = load_watch()
    return list(data["X"]), np.asarray(data["y"])


def watch_recording(samples: np.ndarray) -> Recording:
    return Recording(
        time_s=np.arange(len(samples)) / 50.0,
        specific_force_m_s2=np.asarray(samples[:, :3], float) * GRAVITY_M_S2,
        angular_velocity_rad_s=np.asarray(samples[:, 3:6], float),
        rate_hz=50.0,
    )


def dataset() -> None:
    series, labels = watch()
    print("\nOpen wrist dataset (seglearn, Burns et al. 2018): nominally 20 reps per recording")
    line("exercise (measured as)", "recordings", "exactly 20; within ±1; counts")
    for code, (name, exercise, _) in enumerate(CLASSES):
        found = []
        for k in np.flatnonzero(labels == code):
            measured = process(watch_recording(series[k]), exercise=exercise, side="right")
            found.append(sum(len(s.reps) for s in measured.sets))
        exact = sum(n == 20 for n in found)
        close = sum(abs(n - 20) <= 1 for n in found)
        line(f"{name} ({exercise})", str(len(found)), f"{exact}; {close}; {' '.join(map(str, found))}")


def main() -> None:
    quick = "--quick" in sys.argv
    began = time.perf_counter()
    accuracy(15 if quick else 60, 5 if quick else 20)
    coverage(40 if quick else 300)
    swing(3 if quick else 8)
    dataset()
    print(f"\n{time.perf_counter() - began:.0f} s")


if __name__ == "__main__":
    main()
