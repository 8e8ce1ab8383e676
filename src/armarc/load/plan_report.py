"""A plan put together: shoulder scaled, sweeps run, findings judged and worded."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from armarc.errors import UsageError
from armarc.load.arm import arm_body
from armarc.load.capacity import CURVES, CapacityCurve, ShoulderCapacity, capacity_curve
from armarc.load.forward import Raises
from armarc.load.lifter import Lifter
from armarc.load.planar_load import planar_load
from armarc.load.planning import (
    AIMS,
    COARSE_STEP_S,
    Exploration,
    Finding,
    RaisePlan,
    aim_values,
    explore,
    held_scale,
    judge,
    liftable_scale,
)
from armarc.load.records import rounded
from armarc.load.resistance import Dumbbell, Resistance, describe, scaled
from armarc.load.strength import StrengthSource
from armarc.recording import FloatArray

SHOWN_STARTS_DEG_S = (0.0, 30.0, 60.0, 90.0, 120.0)
LOAD_STEPS = (0.6, 0.8, 1.0, 1.2, 1.4)


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanReport:
    """Everything a plan found.

    Parameters
    ----------
    plan : RaisePlan
    resistances : tuple of Resistance
    starts_rad_s : ndarray, shape (k,), rad/s
    raises : Raises
        One lane per start velocity, with courses.
    liftable : ndarray, shape (k,)
        In multiples of the described load.
    findings : tuple of Finding
        One per aim.
    other_curves : dict of str to Finding
        The chosen aim under the other named capacity curves, scaled the same way.
    by_load : tuple of (multiple, Raises, Finding)
    strength : str
        Where the shoulder's strength came from.
    is_example : bool
        It is that of a published group, nothing was told of the lifter's own.
    is_least : bool
        It is a lower bound, from measured reps.
    """

    plan: RaisePlan
    lifter: Lifter
    resistances: tuple[Resistance, ...]
    load_assumed: str
    aim: str
    starts_rad_s: FloatArray
    raises: Raises
    liftable: FloatArray
    findings: tuple[Finding, ...]
    other_curves: dict[str, Finding]
    by_load: tuple[tuple[float, Raises, Finding], ...]
    strength: str
    is_example: bool
    is_least: bool
    exploration: Exploration | None
    effort: float

    @property
    def label(self) -> str:
        """Load and who makes the speed, for headings."""
        who = "the shoulder" if self.plan.by_shoulder else "the body"
        return f"{describe(self.resistances)}, start velocity from {who}"

    @property
    def aim_words(self) -> str:
        """The aim in words."""
        return AIMS[self.aim]

    @property
    def base(self) -> str:
        """What a start velocity is compared with."""
        return "going all out from the bottom" if self.plan.by_shoulder else "the start from rest"

    @property
    def base_words(self) -> str:
        """What the changes are measured against."""
        return f"percent of {self.base}"

    @property
    def loaded_deg(self) -> tuple[float, float]:
        """Loaded range, degrees."""
        low, high = self.plan.loaded_range_rad
        return math.degrees(low), math.degrees(high)

    @property
    def unit_of_scale(self) -> str:
        """Unit of the liftable load: kg for a single dumbbell, multiples otherwise."""
        return "kg" if single_mass(self.resistances) is not None else "×"

    @property
    def finding(self) -> Finding:
        """The finding of the chosen aim."""
        return next(f for f in self.findings if f.aim == self.aim)

    @property
    def suggested_deg_s(self) -> tuple[float, float] | None:
        """Personal band, °/s through the start gate: where nothing of the aim worth speaking of is lost; or None."""
        return None if self.begun_deg_s is None else self.gate_band_deg_s(self.finding)

    @property
    def begun_deg_s(self) -> tuple[float, float] | None:
        """The same band as speeds at the bottom, °/s."""
        band = self.finding.band_rad_s
        if band is None or band[0] == band[1]:
            return None
        return math.degrees(band[0]), math.degrees(band[1])

    def gate_band_deg_s(self, found: Finding) -> tuple[float, float] | None:
        """What a finding's band reads at the gate, °/s; a raise begun faster may pass it later in its effort."""
        if found.band_rad_s is None:
            return None
        low, high = found.band_rad_s
        gates = self.raises.gate_rad_s[(self.starts_rad_s >= low) & (self.starts_rad_s <= high)]
        gates = np.degrees(gates[np.isfinite(gates)])
        return (float(gates.min()), float(gates.max())) if len(gates) else None

    def through_gate_deg_s(self, start_rad_s: float | None) -> float | None:
        """Start velocity, °/s, that a raise begun at this speed reads at the gate; None where it does not pass it."""
        return _gate_deg_s(self.raises, self.starts_rad_s, start_rad_s)

    @property
    def held(self) -> tuple[float, float]:
        """Heaviest load that can be held still at every angle, in `unit_of_scale`, and the angle that limits it, °."""
        scale, at = held_scale(self.plan)
        return scale * (single_mass(self.resistances) or 1.0), math.degrees(at)

    def rows(self) -> list[dict[str, Any]]:
        """One record per start velocity, degrees and SI."""
        r, unit = self.raises, single_mass(self.resistances) or 1.0
        over_angle = r.work_j / np.maximum(r.highest_rad - self.plan.start_rad, 1e-9)
        out = []
        for i, start in enumerate(self.starts_rad_s):
            out.append(
                {
                    "start_deg_s": round(math.degrees(start), 3),
                    "gate_deg_s": rounded(math.degrees(r.gate_rad_s[i])),
                    "possible": bool(r.possible[i]),
                    "reached": bool(r.reached[i]),
                    "highest_deg": rounded(math.degrees(r.highest_rad[i])),
                    "duration_s": rounded(r.duration_s[i]),
                    "peak_n_m": rounded(r.peak_n_m[i]),
                    "peak_at_deg": rounded(math.degrees(r.peak_at_rad[i])),
                    "mean_n_m": rounded(r.mean_n_m[i]),
                    "mean_over_angle_n_m": rounded(over_angle[i]),
                    "work_j": rounded(r.work_j[i]),
                    "loaded_s": rounded(r.loaded_s[i]),
                    "loaded_impulse_n_m_s": rounded(r.loaded_impulse_n_m_s[i]),
                    "loaded_peak_n_m": rounded(r.loaded_peak_n_m[i]),
                    "fastest_deg_s": rounded(math.degrees(r.fastest_rad_s[i])),
                    "liftable": rounded(float(self.liftable[i]) * unit),
                }
            )
        return out

    def load_rows(self) -> list[dict[str, Any]]:
        """One record per load."""
        out = []
        for multiple, raises, found in self.by_load:
            on = np.flatnonzero(raises.reached)
            out.append(
                {
                    "multiple": multiple,
                    "load": describe(scaled(self.resistances, multiple)),
                    "reached_from_rest": bool(raises.reached[0]),
                    "highest_deg": rounded(math.degrees(raises.highest_rad[0])),
                    "least_start_deg_s": rounded(math.degrees(self.starts_rad_s[on[0]])) if len(on) else None,
                    "best_deg_s": None
                    if found.best_rad_s is None
                    else rounded(math.degrees(found.best_rad_s)),
                    "best_gate_deg_s": _gate_deg_s(raises, self.starts_rad_s, found.best_rad_s),
                    "gain_pct": None if found.gain is None else rounded(100 * found.gain),
                    "verdict": found.verdict,
                }
            )
        return out

    def courses(self) -> list[tuple[str, FloatArray, FloatArray]]:
        """Moment by angle for a few start velocities: label, degrees, N m."""
        out = []
        starts = np.degrees(self.starts_rad_s)
        for wanted in SHOWN_STARTS_DEG_S:
            i = int(np.argmin(np.abs(starts - wanted)))
            if abs(starts[i] - wanted) > 4 or not self.raises.possible[i]:
                continue
            x, y = np.degrees(self.raises.angle_rad[:, i]), self.raises.moment_n_m[:, i]
            on = np.isfinite(x)
            gate = math.degrees(float(self.raises.gate_rad_s[i]))
            label = self.base if i == 0 else f"{starts[i]:.0f} °/s at the bottom"
            label += f", {gate:.0f} °/s through the gate" if math.isfinite(gate) else ""
            if not self.raises.reached[i]:
                label += f", stalls at {math.degrees(self.raises.highest_rad[i]):.0f}°"
            out.append((label, x[on], y[on]))
        return out

    def capacity_line(self) -> tuple[FloatArray, FloatArray]:
        """Isometric capacity: degrees, N m."""
        degrees = np.arange(
            math.ceil(math.degrees(self.plan.start_rad)), math.degrees(self.plan.top_rad) + 0.5
        )
        angle = np.radians(degrees)
        return degrees, self.plan.capacity.full_n_m(angle, np.zeros(len(angle)))

    def by_speed(self) -> list[tuple[str, FloatArray, FloatArray]]:
        """Aims by speed at the bottom in percent of the start from rest: label, °/s, %."""
        out = []
        for aim in dict.fromkeys((self.aim, "peak", "mean", "work")):
            values = aim_values(self.raises, aim, self.plan.start_rad)
            values = np.where(self.raises.reached, values, np.nan)
            if self.raises.reached[0] and values[0] > 0:
                out.append((AIMS[aim], np.degrees(self.starts_rad_s), 100 * values / values[0]))
            elif np.isfinite(values).any():
                first = values[np.flatnonzero(np.isfinite(values))[0]]
                out.append((AIMS[aim], np.degrees(self.starts_rad_s), 100 * values / first))
        return out or [
            ("never reaches the top", np.degrees(self.starts_rad_s), np.full(len(self.liftable), np.nan))
        ]


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanQuestion:
    """What is asked of a plan.

    Parameters
    ----------
    curve : CapacityCurve
    aim : str
        A key of `armarc.load.planning.AIMS`.
    by_shoulder : bool
        Whether the shoulder makes the start velocity; else the body does, for nothing.
    effort : float
        Share of the capacity that is used, once the shoulder is scaled.
    start_rad, top_rad, loaded_range_rad : rad
    fastest_start_deg_s : float, °/s
        End of the sweep.
    load_assumed : str
        Why this load, where the lifter named none.
    with_exploration : bool
    """

    curve: CapacityCurve
    aim: str = "loaded-peak"
    by_shoulder: bool = False
    effort: float = 1.0
    start_rad: float = math.radians(5)
    top_rad: float = math.radians(90)
    loaded_range_rad: tuple[float, float] = (math.radians(30), math.radians(60))
    fastest_start_deg_s: float = 150.0
    load_assumed: str = ""
    with_exploration: bool = False


def make_report(source: StrengthSource, question: PlanQuestion) -> PlanReport:
    """Scale the shoulder, sweep start velocity and load, judge.

    Parameters
    ----------
    source : StrengthSource
        Who lifts what, how, and where the strength comes from.
    question : PlanQuestion

    Raises
    ------
    UsageError
        For inputs that make no sense together.
    """
    start_rad, aim, curve, effort = question.start_rad, question.aim, question.curve, question.effort
    if not start_rad < question.top_rad - math.radians(15):
        raise UsageError("the raise needs at least 15° between its start and its top")
    arm = arm_body(source.lifter.completed(), source.elbow_rad)
    unit = ShoulderCapacity(peak_n_m=1.0, curve=curve)
    plan = RaisePlan(
        load=planar_load(arm, source.resistances, source.plane_rad),
        capacity=unit,
        start_rad=start_rad,
        top_rad=question.top_rad,
        loaded_range_rad=question.loaded_range_rad,
    )

    def held_back(shape: CapacityCurve) -> ShoulderCapacity:
        full = source.capacity(replace(plan, capacity=replace(unit, curve=shape)))
        return replace(full, peak_n_m=effort * full.peak_n_m)

    plan = replace(plan, capacity=held_back(curve), by_shoulder=question.by_shoulder)
    starts = _starts(question.fastest_start_deg_s)
    raises = plan.run(starts, keep_course=True, step_s=0.002)
    findings = tuple(
        judge(starts, aim_values(raises, each, start_rad), raises.reached, each) for each in AIMS
    )
    others = {}
    for name in CURVES:
        if curve.name.startswith(name):
            continue
        other = replace(plan, capacity=held_back(capacity_curve(name)))
        done = other.run(starts, step_s=COARSE_STEP_S)
        others[name] = judge(starts, aim_values(done, aim, start_rad), done.reached, aim)
    by_load = []
    for multiple in LOAD_STEPS:
        done = plan.run(starts, multiple, step_s=COARSE_STEP_S)
        by_load.append((multiple, done, judge(starts, aim_values(done, aim, start_rad), done.reached, aim)))
    exploration = None
    if question.with_exploration:
        # The heaviest strict load in multiples of the planned one; None keeps the peak of the plan.
        multiple_heavy = None
        mass = single_mass(source.resistances)
        if source.heaviest_kg is not None and mass:
            multiple_heavy = source.heaviest_kg / mass
        exploration = explore(plan, starts[::2], aim, heaviest_scale=multiple_heavy)
    return PlanReport(
        plan=plan,
        lifter=source.lifter,
        resistances=source.resistances,
        load_assumed=question.load_assumed,
        aim=aim,
        starts_rad_s=starts,
        raises=raises,
        liftable=liftable_scale(plan, starts),
        findings=findings,
        other_curves=others,
        by_load=tuple(by_load),
        strength=source.words(plan.capacity.peak_n_m / effort),
        is_example=source.is_example,
        is_least=source.is_least,
        exploration=exploration,
        effort=effort,
    )


def _gate_deg_s(raises: Raises, starts_rad_s: FloatArray, start_rad_s: float | None) -> float | None:
    if start_rad_s is None:
        return None
    return rounded(math.degrees(float(np.interp(start_rad_s, starts_rad_s, raises.gate_rad_s))))


def _starts(fastest_deg_s: float) -> FloatArray:
    """Start velocities to try, rad/s: round steps up to the largest."""
    step = next(s for s in (2.5, 5.0, 10.0, 20.0, 50.0) if fastest_deg_s / s <= 16)
    return np.asarray(np.radians(np.append(np.arange(0.0, fastest_deg_s - 1e-9, step), fastest_deg_s)))


def single_mass(resistances: tuple[Resistance, ...]) -> float | None:
    """Mass of a single dumbbell, kg; None for anything else."""
    only = resistances[0] if len(resistances) == 1 else None
    return only.mass_kg if isinstance(only, Dumbbell) else None
