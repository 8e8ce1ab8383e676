"""How the measures hold on simulated bodies, beside the rigid arm on the same seeds.

Run with ``python tests/benchmarks/bench_bodies.py [BODIES_PER_KIND] [FIRST_SEED] [unsaid] [HABIT]``; 12 of each of 8
kinds by default, with `sinking`, `pausing` or `grinding` every set with holds that sink, long pauses and holds, or
slow tired reps and a sticking point. Every kind of `armarc.simulate.SCENARIOS` is measured with nothing said but what
stands in the recording's header; with ``unsaid`` that leaves exercise, side and load, as of a sensor whose strap
nobody described. The same seed is the same lifter's set, strap and sensor with another body. Starts are planned
inside the usual band.

Columns: sets with a wrong count; of the reps of rightly counted sets the share of band verdicts that are wrong, of
starts said to lie near an edge of the band (`near_edge`), of wrong ones among the others, and of starts not told; RMSE
of start velocity (°/s), range and top (°), body swing (cm); share of errors within one / two standard errors and the
mean of these standard errors; silent large errors: beyond two standard errors and twice the mark, on a rep without a
flag and in a recording without a warning that the rigid arm on the same seed does not get as well.

Second table: share of errors within one / two standard errors for the other measures that have one.

Third table: whole recordings from the start button to the stop button with walking and handling.
"""

from __future__ import annotations

import os
import re
import sys
import time
from dataclasses import dataclass, field, replace

os.environ.setdefault("OMP_NUM_THREADS", "1")

import numpy as np

from armarc.api import process
from armarc.simulate import (
    SCENARIOS,
    SimulationOptions,
    Truth,
    draw_options,
    plan_session,
    rep_record,
    simulate_session,
)

BAND_DEG_S = (45.0, 70.0)
MARKS = {"start_velocity_deg_s": 3.0, "rom_deg": 2.5, "top_deg": 2.2}
"""Errors wanted on people; for the swing a fifth of it and at least one centimetre."""
KEYS = (*MARKS, "body_swing_cm")
FURTHER = (
    *("bottom_deg", "concentric_s", "hold_s", "eccentric_s", "time_under_tension_s"),
    *("mean_concentric_deg_s", "mean_eccentric_deg_s", "peak_concentric_deg_s", "peak_eccentric_deg_s"),
    *("time_to_peak_s", "loaded_range_s", "plane_deg", "hand_rotation_deg"),
)


def with_habit(options: SimulationOptions, seed: int) -> SimulationOptions:
    """The set with the habit the command line names."""
    rng = np.random.default_rng([seed, 77])
    if "sinking" in sys.argv:
        hold_s = float(rng.uniform(1.0, 3.0))
        return replace(options, hold_s=hold_s, sink_rad=np.radians(float(rng.uniform(1, 8))) * hold_s)
    if "pausing" in sys.argv:
        return replace(options, pause_s=float(rng.uniform(1.5, 4)), hold_s=float(rng.uniform(0.5, 3)))
    if "grinding" in sys.argv:
        return replace(
            options,
            grind=float(rng.uniform(0.6, 0.95)),
            fatigue=0.3,
            concentric_s=float(rng.uniform(2, 3.5)),
            eccentric_s=float(rng.uniform(2, 4.5)),
        )
    return options


@dataclass
class Tally:
    """What was found over the reps of one kind of body."""

    bodies: int = 0
    miscounted: list[str] = field(default_factory=list)
    reps: int = 0
    untold: int = 0
    no_swing: int = 0
    judged: int = 0
    wrong: int = 0
    near: int = 0
    wrong_and_sure: int = 0
    errors: dict[str, list[float]] = field(default_factory=lambda: {key: [] for key in KEYS})
    ratios: dict[str, list[float]] = field(default_factory=lambda: {key: [] for key in KEYS})
    sizes: dict[str, list[float]] = field(default_factory=lambda: {key: [] for key in KEYS})
    further: dict[str, list[float]] = field(default_factory=lambda: {key: [] for key in FURTHER})
    silent: int = 0
    large: int = 0
    values: int = 0

    def __iadd__(self, other: Tally) -> Tally:
        for name in (
            "bodies",
            "miscounted",
            "reps",
            "untold",
            "no_swing",
            "judged",
            "wrong",
            "near",
            "wrong_and_sure",
            "silent",
            "large",
            "values",
        ):
            setattr(self, name, getattr(self, name) + getattr(other, name))
        for key in FURTHER:
            self.further[key] = self.further[key] + other.further[key]
        for key in KEYS:
            self.errors[key] = self.errors[key] + other.errors[key]
            self.ratios[key] = self.ratios[key] + other.ratios[key]
            self.sizes[key] = self.sizes[key] + other.sizes[key]
        return self


def measured(options: SimulationOptions, seed: int) -> tuple[dict, Truth]:
    recording, truth = simulate_session(plan_session(options, seed), seed)
    if "unsaid" in sys.argv:
        said = replace(recording.metadata, strap=None, hand_axis=None, sensor=None)
        recording = replace(recording, metadata=said)
    return process(recording).to_dict(), truth


def verdict(speed_deg_s: float) -> int:
    return int(speed_deg_s >= BAND_DEG_S[0]) + int(speed_deg_s > BAND_DEG_S[1])


def without_figures(warnings: list[str]) -> set[str]:
    return {re.sub(r"[-+]?\d[\d.,]*", "#", text) for text in warnings}


def counts(record: dict) -> list[int]:
    return [len(one["reps"]) for one in record["sets"]]


def tally(record: dict, truth: Truth, usual_warnings: set[str], name: str) -> Tally:
    out = Tally(bodies=1)
    true_counts = [len(one.reps) for one in truth.sets]
    if counts(record) != true_counts:
        out.miscounted.append(f"{name}: {counts(record)}, true {true_counts}")
        return out
    warned = bool(without_figures(record["warnings"]) - usual_warnings)
    mine = [rep for one in record["sets"] for rep in one["reps"]]
    for rep, true in zip(mine, map(rep_record, truth.reps), strict=True):
        out.reps += 1
        start, true_start = rep["start_velocity_deg_s"], true["start_velocity_deg_s"]
        if start is None:
            out.untold += 1
        elif true_start is not None:
            out.judged += 1
            wrong, near = verdict(start) != verdict(true_start), "near_edge" in rep["quality"]
            out.wrong += wrong
            out.near += near
            out.wrong_and_sure += wrong and not near
        out.no_swing += rep["body_swing_cm"] is None
        for key in KEYS:
            value, actual, se = rep[key], true[key], rep.get(f"{key}_se")
            if value is None or actual is None:
                continue
            error = value - actual
            mark = MARKS.get(key, max(1.0, 0.2 * actual))
            out.values += 1
            out.errors[key].append(error)
            if se:
                out.ratios[key].append(abs(error) / se)
                out.sizes[key].append(se)
            if abs(error) > 2 * mark and abs(error) > 2 * (se or 0.0):
                out.large += 1
                out.silent += not warned and not rep["quality"]
        for key in FURTHER:
            value, actual, se = rep[key], true[key], rep.get(f"{key}_se")
            if value is not None and actual is not None and se:
                out.further[key].append(abs(value - actual) / se)
    return out


def rms(values: list[float]) -> str:
    return f"{np.sqrt(np.mean(np.square(values))):.1f}" if values else "–"


def percent(part: int, whole: int) -> str:
    return f"{100 * part / whole:.0f}" if whole else "–"


def within(ratios: list[float], sizes: list[float]) -> str:
    if not ratios:
        return "–"
    one, two = (100 * np.mean(np.less(ratios, k)) for k in (1, 2))
    return f"{one:.0f}/{two:.0f} ±{np.mean(sizes):.1f}"


HEAD = (
    f"{'body':<18}{'bodies':>7}{'miscounted':>11}{'wrong %':>9}{'near %':>8}{'sure, wrong':>12}{'untold %':>9}"
    f"{'start':>7}{'ROM':>6}{'top':>6}{'swing':>7}{'no swing %':>11}"
    f"{'  start':>13}{'ROM':>13}{'top':>13}{'swing':>13}{'silent %':>10}{'large %':>9}"
)


def row(name: str, t: Tally) -> None:
    e, z = t.errors, t.ratios
    print(
        f"{name:<18}{t.bodies:>7}{len(t.miscounted):>11}{percent(t.wrong, t.judged):>9}"
        f"{percent(t.near, t.judged):>8}{percent(t.wrong_and_sure, t.judged - t.near):>12}"
        f"{percent(t.untold, t.reps):>9}"
        f"{rms(e['start_velocity_deg_s']):>7}{rms(e['rom_deg']):>6}{rms(e['top_deg']):>6}{rms(e['body_swing_cm']):>7}"
        f"{percent(t.no_swing, t.reps):>11}"
        + "".join(f"{within(z[key], t.sizes[key]):>13}" for key in KEYS)
        + f"{100 * t.silent / max(t.values, 1):>10.1f}{100 * t.large / max(t.values, 1):>9.1f}",
        flush=True,
    )


def bodies(each: int, first_seed: int) -> None:
    print(f"{each} bodies of each kind; RMSE in °/s, °, °, cm; then % within 1/2 standard errors ±mean")
    print(HEAD)
    usual: dict[int, set[str]] = {}
    together, missed, tallies = Tally(), [], {}
    for kind in SCENARIOS:
        total = Tally()
        for seed in range(first_seed, first_seed + each):
            record, truth = measured(with_habit(draw_options(kind, seed), seed), seed)
            if kind == "rigid":
                usual[seed] = without_figures(record["warnings"])
            total += tally(record, truth, usual[seed], f"{kind} {seed}")
        row("rigid arm" if kind == "rigid" else kind, total)
        tallies[kind] = total
        missed += total.miscounted
        if kind != "rigid":
            together += total
    row("all but rigid", together)
    for text in missed:
        print("  ", text)
    print(f"\n{'% within 1/2 SE':<24}" + "".join(f"{kind:>17}" for kind in tallies))
    for key in FURTHER:
        cells = (within(t.further[key], t.further[key]).split(" ")[0] for t in tallies.values())
        print(f"{key:<24}" + "".join(f"{cell:>17}" for cell in cells), flush=True)


def button_to_button(count: int, first_seed: int) -> None:
    """Nothing trimmed: start pressed, walking up, sets, resting, stop pressed."""
    exact = 0
    print(f"\n{count} recordings from start button to stop button")
    for seed in range(first_seed, first_seed + count):
        rng = np.random.default_rng([seed, 13])
        kind = str(rng.choice([name for name in SCENARIOS if name != "slipping-strap"]))
        options = replace(
            draw_options(kind, seed),
            press_start=True,
            press_stop=True,
            walk_up=bool(rng.random() < 0.7),
            sets=int(rng.integers(1, 4)),
            rest_s=float(rng.uniform(25, 60)),
            walk=bool(rng.random() < 0.5),
            fidget=bool(rng.random() < 0.5),
            pick_up=bool(rng.random() < 0.4),
            alternating=bool(rng.random() < 0.2),
            double_tops=0.2 if rng.random() < 0.3 else 0.0,
            pulses=2 if rng.random() < 0.15 else 0,
        )
        record, truth = measured(options, seed)
        true_counts = [len(one.reps) for one in truth.sets]
        right = counts(record) == true_counts
        exact += right
        if not right:
            what = [
                name
                for name in ("walk_up", "walk", "fidget", "pick_up", "alternating")
                if getattr(options, name)
            ]
            what += ["pulses"] if options.pulses else []
            what += ["double tops"] if options.double_tops else []
            print(f"   {kind} {seed}: {counts(record)}, true {true_counts}; {', '.join(what)}", flush=True)
    print(f"all sets exact, nothing else counted: {exact}/{count}")


def main() -> None:
    words = [int(word) for word in sys.argv[1:] if word.isdigit()]
    each, first_seed = (words + [12, 100][len(words) :])[:2]
    began = time.perf_counter()
    bodies(each, first_seed)
    button_to_button(max(20, each), first_seed)
    print(f"\n{time.perf_counter() - began:.0f} s")


if __name__ == "__main__":
    main()
