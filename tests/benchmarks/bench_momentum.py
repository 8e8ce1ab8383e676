"""Share of the swing in the drive, share held while lowering and start ratio, against simulated bodies.

Run by hand: ``python tests/benchmarks/bench_momentum.py SEEDS [chest]``; with ``chest`` a second sensor is there.

The truth: work of the force at the shoulder through
the trunk's part of its path (the girdle's own rise is no swing), over that and the work of the moment, from the
quietest instant before the rep to the peak of θ̇.
"""

from __future__ import annotations

import math
import sys
from dataclasses import replace

import numpy as np

from armarc import NOTHING_KEPT, process
from armarc.load import Lifter
from armarc.load.arm import arm_body
from armarc.load.mechanics import loaded_arm
from armarc.load.resistance import Dumbbell
from armarc.motion.quaternions import rotate
from armarc.reps.lowering import held_share, lowering_window, lowest_tenth
from armarc.reps.momentum import start_ratio
from armarc.simulate import Body, draw_options, plan_session, simulate_session
from armarc.simulate.session import simulate_chest
from armarc.simulate.truth import GATE_RAD, Truth, TruthRep, smooth_rate
from armarc.trunk import Trunk

G = 9.80665
LOAD_KG = 8.0
CASES: dict[str, dict[str, float]] = {
    "strict": {},
    "swing 3 cm": {"swing_m": 0.03},
    "swing 5 cm": {"swing_m": 0.05},
    "swing 10 cm": {"swing_m": 0.10},
    "tip 6°": {"tip_rad": math.radians(6)},
    "tip 12°": {"tip_rad": math.radians(12)},
}


def true_drive_share(truth: Truth, rep: TruthRep, rest_from_s: float) -> float:
    """Share of the trunk's movement in the work of the drive."""
    series = truth.series
    time = series.time_s
    step = time[1] - time[0]
    arm = loaded_arm(arm_body(Lifter().completed()), (Dumbbell(mass_kg=LOAD_KG),))
    mass, first, inertia = arm.mass_kg, arm.first_moment_kg_m[0], arm.inertia_kg_m2[1, 1]
    along = rotate(series.quaternion, np.broadcast_to(truth.arm_axis, (len(time), 3)))
    speed = smooth_rate(series.angle_rate_rad_s)
    trunk = np.gradient(series.torso_m, step, axis=0)
    shoulder = np.gradient(series.shoulder_m, step, axis=0)
    turning = np.gradient(along, step, axis=0)
    # F = d/dt (m v + S u̇) + m g up; energy of a rod with its load about a moving shoulder.
    force = np.gradient(mass * shoulder + first * turning, step, axis=0)
    force[:, 2] += mass * G
    energy = (
        0.5 * mass * (shoulder**2).sum(1)
        + first * (shoulder * turning).sum(1)
        + 0.5 * inertia * (turning**2).sum(1)
        + mass * G * series.shoulder_m[:, 2]
        + first * G * along[:, 2]
    )
    a, b, c = np.searchsorted(time, [rest_from_s, rep.start_s, rep.top_start_s])
    quiet = np.abs(speed[a : b + 1]) / math.radians(10) + np.linalg.norm(trunk[a : b + 1], axis=1) / 0.02
    start, peak = a + int(np.argmin(quiet)), b + int(np.argmax(speed[b : c + 1]))
    window = slice(start, peak + 1)
    swing = np.trapezoid((force * trunk).sum(1)[window], dx=step)
    through = np.trapezoid((force * shoulder).sum(1)[window], dx=step)
    return float(swing / (energy[peak] - energy[start] - through + swing))


def run(kind: str, case: str, seed: int, has_chest: bool) -> list[tuple[float, float | None, float, str]]:
    """True share, measured share (None: not measured), its floor and what is said, rep by rep."""
    changes = CASES[case]
    options = draw_options(kind, seed)
    body = (
        replace(options.body, tip_rad=changes.get("tip_rad", 0.0))
        if kind != "rigid"
        else Body(tip_rad=changes.get("tip_rad", 0.0))
    )
    options = replace(options, body=body, swing_m=changes.get("swing_m", 0.0), load_kg=LOAD_KG)
    plan = plan_session(options, seed)
    recording, truth = simulate_session(plan, seed)
    session = process(
        recording,
        kept=NOTHING_KEPT,
        exercise=options.pattern.key,
        side=options.side,
        trunk=Trunk(recording=simulate_chest(plan, seed)) if has_chest else None,
    )
    rows = []
    for k, measured in enumerate(session.sets):
        load = session.loads[k]
        reps = truth.sets[k].reps if k < len(truth.sets) else ()
        if len(reps) != len(measured.reps):
            continue
        for i, (found, rep) in enumerate(zip(load.reps, reps, strict=True)):
            earliest = max(rep.start_s - 0.8, reps[i - 1].end_s if i else 0.0)
            said = found.swings["drive_swing_work_share"]
            share = found.measures.drive_swing_work_share
            rows.append((true_drive_share(truth, rep, earliest), share, said.floor or math.nan, said.words))
    return rows


def lowered(kind: str, eccentric_s: float | None, seed: int) -> list[tuple[float, float, float, float]]:
    """Errors of share held, its standard error, the least truly held, and error of the start ratio, rep by rep."""
    options = draw_options(kind, seed)
    if eccentric_s is not None:
        options = replace(options, eccentric_s=eccentric_s)
    recording, truth = simulate_session(plan_session(options, seed), seed)
    session = process(recording, kept=NOTHING_KEPT, exercise=options.pattern.key, side=options.side)
    series = truth.series
    acceleration = np.gradient(series.angle_rate_rad_s, series.time_s)
    rows = []
    for found, rep in zip(session.sets[0].reps, truth.sets[0].reps, strict=True):
        a, b = np.searchsorted(series.time_s, [rep.top_end_s, rep.end_s])
        angle = series.elevation_rad[a:b]
        inside = lowering_window(angle, float(series.elevation_rad[b]), rep.top_rad)
        true = lowest_tenth(held_share(angle[inside], acceleration[a:b][inside], truth.reach_m))
        smooth = start_ratio(rep.start_velocity_rad_s, rep.rom_rad, rep.concentric_s, GATE_RAD)
        if found.least_held_share is not None and found.start_ratio is not None and smooth is not None:
            se = found.least_held_se_share or math.nan
            rows.append((found.least_held_share - true, se, true, found.start_ratio - smooth))
    return rows


def main(seeds: int, has_chest: bool) -> None:
    for kind in () if has_chest else ("rigid", "straight-elbow", "bending-elbow"):
        for eccentric_s in (None, 0.8, 0.5):
            held, se, least, ratio = np.array(
                [row for seed in range(seeds) for row in lowered(kind, eccentric_s, seed)]
            ).T
            print(
                f"{kind:15} lowered in {eccentric_s or '1.4-3'} s, truly held {100 * np.median(least):.0f} % | error "
                f"median {100 * np.median(np.abs(held)):.1f}, RMSE {100 * np.sqrt(np.mean(held**2)):.1f} points, "
                f"one / two standard errors {100 * np.mean(np.abs(held) < se):.0f} / "
                f"{100 * np.mean(np.abs(held) < 2 * se):.0f} % | start ratio RMSE {np.sqrt(np.mean(ratio**2)):.3f}",
                flush=True,
            )
    for kind in ("rigid", "straight-elbow"):
        for case in CASES:
            rows = [row for seed in range(seeds) for row in run(kind, case, seed, has_chest)]
            told = [(true, found) for true, found, _, words in rows if words != "not measured"]
            error = 100 * np.array([found - true for true, found in told]) if told else np.array([math.nan])
            words = [row[3] for row in rows]
            print(
                f"{kind:15} {case:12} true {100 * np.median([r[0] for r in rows]):5.1f} % | measured in "
                f"{len(told)}/{len(rows)}, error median {np.median(error):+.1f}, |.| median "
                f"{np.median(np.abs(error)):.1f}, RMSE {np.sqrt(np.mean(error**2)):.1f}, within 5 points "
                f"{100 * np.mean(np.abs(error) <= 5):.0f} % | detected {words.count('detected')}, none "
                f"{words.count('none detected')}, floor {100 * np.nanmedian([r[2] for r in rows]):.0f} %",
                flush=True,
            )


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 6, "chest" in sys.argv)
