"""How the shoulder's moments hold on simulated bodies.

Run with ``python tests/benchmarks/bench_moments.py [BODIES_PER_KIND] [FIRST_SEED]``; 6 of each kind of
`armarc.simulate.SCENARIOS` by default, a dumbbell of 6 kg, the body known (its lengths are the simulated ones,
its masses those of the table, so that what is missed is missed by the movement).

The truth is a chain of its own: upper arm, forearm, hand and weight of the simulated body at 1 kHz, each with
its mass where the table (de Leva 1996) has it, accelerations by central differences, moments about the moving
shoulder and about the axis from the line at the start to that at the top. Columns: mean error, root mean
square, mean standard error and the share of errors within one / two of them. The standard errors have room for
a body that is not the table's, as this one is.
"""

from __future__ import annotations

import os
import sys
from collections import defaultdict

os.environ.setdefault("OMP_NUM_THREADS", "1")

import numpy as np

from armarc.api import process
from armarc.load.lifter import CompleteBody, Lifter
from armarc.recording import STANDARD_GRAVITY_M_S2
from armarc.simulate import SCENARIOS, draw_options, plan_session, simulate_session
from armarc.simulate.arm import HAND, arm_state
from armarc.simulate.body import UPPER_ARM_SHARE
from armarc.simulate.plan import SessionPlan
from armarc.simulate.timeline import build_timeline

LOAD_KG, RATE_HZ = 6.0, 1000
GRAVITY = np.array([0.0, 0.0, -STANDARD_GRAVITY_M_S2])
KEYS = (
    *("peak_moment_n_m", "peak_concentric_moment_n_m", "peak_eccentric_moment_n_m"),
    *("mean_moment_n_m", "mean_moment_over_angle_n_m", "moment_impulse_n_m_s"),
    *("concentric_work_j", "eccentric_work_j", "peak_power_w"),
)


def rate(values: np.ndarray) -> np.ndarray:
    return np.gradient(values, 1 / RATE_HZ, axis=0, edge_order=2)


def true_moment(
    plan: SessionPlan, seed: int, body: CompleteBody
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Moment of the trunk on the arm, N·m, line from shoulder to wrist, its elevation, at 1 kHz."""
    around, _, moves = (np.random.default_rng(s) for s in np.random.SeedSequence(seed).spawn(3))
    timeline = build_timeline(plan, around, moves)
    time_s = np.arange(int(timeline.duration_s * RATE_HZ) + 1) / RATE_HZ
    arm = arm_state(timeline.tracks, plan.side, time_s, reach_m=plan.reach_m, body=plan.body)
    shoulder, wrist, upper = arm.shoulder_m, arm.wrist_m, arm.upper_arm.direction(HAND)
    elbow = shoulder + UPPER_ARM_SHARE * plan.reach_m * upper
    fore = (wrist - elbow) / np.linalg.norm(wrist - elbow, axis=1)[:, None]
    table = body.table
    moment = np.zeros_like(shoulder)

    def carry(mass_kg: float, place: np.ndarray) -> None:
        nonlocal moment
        moment += np.cross(place - shoulder, mass_kg * (rate(rate(place)) - GRAVITY))

    for shares, joint, direction, length in (
        (table.upper_arm, shoulder, upper, body.upper_arm_m),
        (table.forearm, elbow, fore, body.forearm_m),
        (table.hand, wrist, fore, body.hand_m),
    ):
        mass = shares.mass * body.body_mass_kg
        carry(mass, joint + shares.centre * length * direction)
        moment += rate(mass * (shares.gyration * length) ** 2 * np.cross(direction, rate(direction)))
    carry(LOAD_KG, wrist + body.grip_m * fore)
    line = (wrist - shoulder) / np.linalg.norm(wrist - shoulder, axis=1)[:, None]
    return moment, line, arm.elevation_rad


def true_measures(
    moment: np.ndarray, line: np.ndarray, angle: np.ndarray, times: tuple[float, ...]
) -> dict[str, float]:
    start, top, lowered, end = (round(t * RATE_HZ) for t in times)
    axis = np.cross(line[start], line[top])
    along = moment @ (axis / np.linalg.norm(axis))
    power = along * rate(angle)
    work = float(power[start:top].sum()) / RATE_HZ
    return {
        "peak_moment_n_m": float(along[start : end + 1].max()),
        "peak_concentric_moment_n_m": float(along[start : top + 1].max()),
        "peak_eccentric_moment_n_m": float(along[lowered : end + 1].max()),
        "mean_moment_n_m": float(along[start:end].mean()),
        "moment_impulse_n_m_s": float(along[start:end].sum()) / RATE_HZ,
        "mean_moment_over_angle_n_m": work / float(angle[top] - angle[start]),
        "concentric_work_j": work,
        "eccentric_work_j": -float(power[lowered:end].sum()) / RATE_HZ,
        "peak_power_w": float(power[start : top + 1].max()),
    }


def main(bodies: int, first_seed: int) -> None:
    for kind in SCENARIOS:
        found: dict[str, list[tuple[float, float]]] = defaultdict(list)
        miscounted = 0
        for seed in range(first_seed, first_seed + bodies):
            plan = plan_session(draw_options(kind, seed), seed)
            recording, truth = simulate_session(plan, seed)
            lengths = (UPPER_ARM_SHARE * plan.reach_m, (1 - UPPER_ARM_SHARE) * plan.reach_m)
            lifter = Lifter(
                body_mass_kg=75, stature_m=1.75, upper_arm_m=lengths[0], forearm_m=lengths[1], grip_m=0.08
            )
            record = process(recording, load_kg=LOAD_KG, lifter=lifter).to_dict()
            reps = [rep for one in record["sets"] for rep in one["reps"]]
            if len(reps) != len(truth.reps):
                miscounted += 1
                continue
            courses = true_moment(plan, seed, lifter.completed())
            for rep, true in zip(reps, truth.reps, strict=True):
                times = (true.start_s, true.top_start_s, true.top_end_s, true.end_s)
                for key, value in true_measures(*courses, times).items():
                    found[key].append((rep[key] - value, rep[f"{key}_se"]))
        print(f"\n{kind}, {bodies} bodies" + (f", {miscounted} counted wrongly" if miscounted else ""))
        for key in KEYS:
            errors, ses = np.array(found[key]).T
            within = [100 * float(np.mean(np.abs(errors) <= k * ses)) for k in (1, 2)]
            print(
                f"  {key:28} {errors.mean():6.2f} {np.sqrt(np.mean(errors**2)):6.2f} {ses.mean():6.2f}"
                f"  {within[0]:3.0f}/{within[1]:3.0f}"
            )


if __name__ == "__main__":
    given = [int(one) for one in sys.argv[1:]]
    main(*(given + [6, 100][len(given) :]))
