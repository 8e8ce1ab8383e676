"""Invented results in the published form (schema ``armarc.sets/1``), for tests of the log. Nobody was measured."""

from __future__ import annotations

import hashlib
import math
import random
from datetime import UTC, datetime, timedelta
from pathlib import Path

from armarc.log import Labels, add_result
from armarc.reps.summary import summarise
from published import rep_of

MONDAY = datetime(2026, 1, 5, 17, 0, tzinfo=UTC)


def invented_rep(
    number: int, rng: random.Random, *, rom: float, speed: float, start: float, at_s: float
) -> dict:
    rom, speed = rom + rng.gauss(0, 1.0), speed + rng.gauss(0, 1.0)
    start_velocity = 57 + rng.gauss(0, 8)
    concentric, hold, eccentric = rom / speed, 0.2 + 0.1 * rng.random(), 1.8 + rng.gauss(0, 0.1)
    verdict = "below" if start_velocity < 45 else "above" if start_velocity > 70 else "inside"
    return {
        "rep": number,
        "start_s": at_s,
        "top_start_s": at_s + concentric,
        "top_end_s": at_s + concentric + hold,
        "end_s": at_s + concentric + hold + eccentric,
        "bottom_deg": start,
        "top_deg": start + rom,
        "rom_deg": rom,
        "concentric_s": concentric,
        "hold_s": hold,
        "eccentric_s": eccentric,
        "time_under_tension_s": concentric + hold + eccentric,
        "pause_s": 0.5,
        "start_velocity_deg_s": start_velocity,
        "start_verdict": verdict,
        "mean_concentric_deg_s": speed,
        "mean_eccentric_deg_s": rom / eccentric,
        "peak_concentric_deg_s": 1.6 * speed,
        "peak_eccentric_deg_s": 1.7 * rom / eccentric,
        "peak_concentric_at_deg": 52.0 + rng.gauss(0, 2),
        "loaded_range_s": 0.9,
        "plane_deg": None,
        "hand_rotation_deg": None,
        "hand_rotation_change_deg": rng.gauss(0, 3),
        "smoothness_sparc": -1.5 + rng.gauss(0, 0.03),
        "body_swing_cm": abs(rng.gauss(1.0, 0.4)),
        "rom_deg_se": 0.5,
        "start_velocity_deg_s_se": 0.8,
        "quality": ["partial"] if rng.random() < 0.05 else [],
    }


def invented_set(
    number: int, rng: random.Random, *, reps: int, rom: float, speed: float, at_s: float
) -> dict:
    records, now = [], at_s
    for i in range(reps):
        rep = invented_rep(i + 1, rng, rom=rom, speed=speed * (1 - 0.02 * i), start=7.0, at_s=now)
        now = rep["end_s"] + rep["pause_s"]
        records.append(rep)
    records[-1]["pause_s"] = None
    start_s, end_s = records[0]["start_s"], records[-1]["end_s"]
    summary = summarise([rep_of(rep) for rep in records], start_s, end_s, True).record()
    return {"set": number, "start_s": start_s, "end_s": end_s, "summary": summary, "reps": records}


def invented_result(
    seed: int = 0,
    *,
    sets: int = 1,
    reps: int = 6,
    rom: float = 80.0,
    speed: float = 55.0,
    exercise: str = "lateral-raise",
    side: str | None = "right",
    load_kg: float | None = 8.0,
) -> dict:
    rng = random.Random(seed)
    found, at_s = [], 3.0
    for i in range(sets):
        found.append(invented_set(i + 1, rng, reps=reps, rom=rom, speed=speed, at_s=at_s))
        at_s = found[-1]["end_s"] + 60
    return {
        "schema": "armarc.sets/1",
        "armarc_version": "0.1.0",
        "source": {
            "file": f"invented-{seed}.csv",
            "samples": 6000,
            "rate_hz": 100.0,
            "duration_s": math.ceil(at_s),
            "gaps": [],
            "columns": {},
            "units": {},
            "sha256": hashlib.sha256(f"invented {seed}".encode()).hexdigest(),
        },
        "settings": {
            "exercise": exercise,
            "side": side,
            "fusion": "smoother",
            "mounting": "auto",
            "band_deg_s": [45.0, 70.0],
            "gate_deg": [10.0, 20.0],
            "load_kg": load_kg,
        },
        "mounting": {
            "method": "lever_arm",
            "arm_axis": [0.0, 1.0, 0.0],
            "uncertainty_deg": 1.0,
            "reach_m": 0.52,
        },
        "sets": found,
        "warnings": [],
    }


def invented_file(folder: Path, seed: int = 0) -> Path:
    """A file to be kept as raw recording; its content is told apart by the seed alone."""
    path = folder / f"invented-{seed}.csv"
    path.write_text(f"# invented recording {seed}\ntime_s,ax\n0.0,{seed}\n")
    return path


def fill(
    store, *, days: int = 8, sets: int = 2, gain: float = 0.0, lifter: str = "me", seed: int = 100, **other
):
    """Log invented sessions, three days apart; the range of motion rises by `gain` degrees a session."""
    for day in range(days):
        rng = random.Random(seed + day)
        result = invented_result(seed + day, sets=sets, rom=80 + gain * day + rng.gauss(0, 1.0), **other)
        moment = MONDAY + timedelta(days=3 * day)
        add_result(store, result, labels=Labels(lifter=lifter), started_at=moment)
