"""A plan for controlled reps: a rep with a stated start velocity, tempo and swing, and what the shoulder does in it.

Nothing is simulated forward: the rep is given, Newton and Euler say the moment (inverse dynamics), and what the
shoulder could do at each angle and speed says how heavy it may be. In words and as a record, too.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from armarc.load.arm import arm_body
from armarc.load.capacity import ShoulderCapacity
from armarc.load.forward import GATE_RAD
from armarc.load.ideal import PLANAR_AXIS, planar_body, planar_motion
from armarc.load.lifter import Lifter
from armarc.load.measures import PhaseTimes, by_angle, load_measures
from armarc.load.mechanics import ArmKinematics, Dynamics, dynamics
from armarc.load.plan_report import single_mass
from armarc.load.planar_load import planar_load
from armarc.load.planning import RaisePlan, held_scale
from armarc.load.records import measures_record, rounded, series
from armarc.load.resistance import Resistance, describe
from armarc.load.strength import EXAMPLE_SHOULDER, StrengthSource
from armarc.load.table import LOAD_CAUTIONS, LoadMeasures
from armarc.recording import FloatArray
from armarc.reps.momentum import start_ratio
from armarc.reps.phases import ON_RATE_RAD_S, ON_SHARE_OF_PEAK
from armarc.simulate.plan import RepPlan
from armarc.simulate.rep_shape import RepCourse, rep_course

WEIGHS_N_M = 1e-6
"""A load that asks less of the shoulder than this somewhere is no limit there."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PacedLane:
    """One start velocity.

    Parameters
    ----------
    rep : RepPlan
        As a simulation would go through it.
    gate_rad_s : float, rad/s
        Read at the start gate of the course: what a measured rep would read.
    start_ratio : float or None
        Of that to a smooth raise's.
    times : PhaseTimes
    measures : LoadMeasures
    angle_rad, concentric_n_m, eccentric_n_m : ndarray, shape (k,)
        Moment by whole degrees, NaN beyond the phases.
    heaviest : float
        Largest load, in multiples of the described one, whose moment stays under the capacity all through the rep and
        that can be held still at every angle of it; infinite where it never weighs on the shoulder.
    limited_at_rad : float, rad
    limited_by : str
        ``"raising"``, ``"lowering"`` or ``"holding still"``.
    """

    rep: RepPlan
    gate_rad_s: float
    start_ratio: float | None
    times: PhaseTimes
    measures: LoadMeasures
    angle_rad: FloatArray
    concentric_n_m: FloatArray
    eccentric_n_m: FloatArray
    heaviest: float
    limited_at_rad: float
    limited_by: str


@dataclass(frozen=True, slots=True, kw_only=True)
class PacedPlan:
    """Lanes of several start velocities with the same tempo, and what they rest on."""

    lanes: tuple[PacedLane, ...]
    lifter: Lifter
    resistances: tuple[Resistance, ...]
    capacity: ShoulderCapacity
    strength: str
    is_example: bool
    is_least: bool
    effort: float
    loaded_range_rad: tuple[float, float]


def paced_plan(
    rep: RepPlan,
    start_velocities_rad_s: tuple[float, ...],
    *,
    source: StrengthSource,
    resistances: tuple[Resistance, ...],
    shape: ShoulderCapacity,
    effort: float = 1.0,
    loaded_range_rad: tuple[float, float] = (math.radians(30), math.radians(60)),
) -> PacedPlan:
    """Work out reps of one tempo begun at several start velocities.

    Parameters
    ----------
    rep : RepPlan
        Range, tempo (from rest to rest) and swing.
    start_velocities_rad_s : tuple of float, rad/s
        Through the start gate.
    source : StrengthSource
    resistances : tuple of Resistance
    shape : ShoulderCapacity
        Its curve; the peak comes from the source.
    effort : float
        Share of the capacity that may be used.
    loaded_range_rad : tuple of float, rad

    Raises
    ------
    UsageError
        For a start that the concentric leaves no room for, or a strength that cannot be.
    """
    arm = arm_body(source.lifter.completed(), source.elbow_rad)
    raised = RaisePlan(
        load=planar_load(arm, resistances, source.plane_rad),
        capacity=shape,
        start_rad=rep.bottom_rad,
        top_rad=rep.top_rad,
        loaded_range_rad=loaded_range_rad,
    )
    full = source.capacity(raised)
    raised = replace(raised, capacity=replace(full, peak_n_m=effort * full.peak_n_m))
    body = planar_body(source.plane_rad)
    lanes = []
    for velocity in start_velocities_rad_s:
        planned = replace(rep, start_velocity_rad_s=velocity)
        course = rep_course(planned)
        motion = _motion(course, source.plane_rad)
        bare, done = (dynamics(motion, arm, each, PLANAR_AXIS, body) for each in ((), resistances))
        lanes.append(_lane(planned, course, motion, bare, done, raised))
    return PacedPlan(
        lanes=tuple(lanes),
        lifter=source.lifter,
        resistances=resistances,
        capacity=raised.capacity,
        strength=source.words(full.peak_n_m),
        is_example=source.is_example,
        is_least=source.is_least,
        effort=effort,
        loaded_range_rad=loaded_range_rad,
    )


def _motion(course: RepCourse, plane_rad: float) -> ArmKinematics:
    """The arm in its plane, the shoulder swinging forward of the lifter and up."""
    ahead = np.array([math.sin(plane_rad), math.cos(plane_rad), 0.0])
    path, velocity, acceleration = (
        np.outer(course.forward[k], ahead) + np.outer(course.up[k], [0.0, 0.0, 1.0]) for k in range(3)
    )
    angle, rate, turning = course.angle
    return planar_motion(course.time_s, angle, rate, turning, path, velocity, acceleration)


def _lane(
    rep: RepPlan,
    course: RepCourse,
    motion: ArmKinematics,
    bare: Dynamics,
    done: Dynamics,
    raised: RaisePlan,
) -> PacedLane:
    angle, rate = course.angle[0], course.angle[1]
    times = _phases(rep, course)
    rising = course.time_s <= rep.concentric_s
    fastest_s = float(course.time_s[int(np.argmax(np.where(rising, rate, -np.inf)))])
    swing = np.sum(done.force_n * motion.shoulder_m_s, axis=1)
    measures = load_measures(
        motion.time_s, angle, done, times, raised.loaded_range_rad, swing, (0.0, fastest_s)
    )
    edges = np.interp(rep.bottom_rad + np.array(GATE_RAD), angle[rising], course.time_s[rising])
    gate = (GATE_RAD[1] - GATE_RAD[0]) / float(edges[1] - edges[0])
    heaviest, at, limited_by = _heaviest(rep, course, bare, done, raised)
    low, high = math.ceil(math.degrees(rep.bottom_rad)), math.floor(math.degrees(rep.top_rad))
    grid = np.radians(np.arange(low, high + 1, dtype=float))
    return PacedLane(
        rep=rep,
        gate_rad_s=gate,
        start_ratio=start_ratio(
            gate, rep.top_rad - rep.bottom_rad, times.top_start_s - times.start_s, GATE_RAD
        ),
        times=times,
        measures=measures,
        angle_rad=grid,
        concentric_n_m=by_angle(
            motion.time_s, angle, done.moment_n_m, times.start_s, times.top_start_s, grid
        ),
        eccentric_n_m=by_angle(motion.time_s, angle, done.moment_n_m, times.top_end_s, times.end_s, grid),
        heaviest=heaviest,
        limited_at_rad=at,
        limited_by=limited_by,
    )


def _phases(rep: RepPlan, course: RepCourse) -> PhaseTimes:
    """The four instants as a measured rep has them: above 5 °/s and 5 % of a phase's own peak."""
    time, rate = course.time_s, course.angle[1]

    def on(moving: FloatArray) -> tuple[float, float]:
        at = np.flatnonzero(moving > max(ON_RATE_RAD_S, ON_SHARE_OF_PEAK * float(moving.max())))
        return float(time[at[0]]), float(time[at[-1]])

    (start_s, top_start_s), (top_end_s, end_s) = (
        on(np.where(time <= rep.concentric_s, rate, 0.0)),
        on(np.where(time > rep.concentric_s, -rate, 0.0)),
    )
    return PhaseTimes(start_s=start_s, top_start_s=top_start_s, top_end_s=top_end_s, end_s=end_s)


def _heaviest(
    rep: RepPlan, course: RepCourse, bare: Dynamics, done: Dynamics, raised: RaisePlan
) -> tuple[float, float, str]:
    """Heaviest load, where and by what it is limited.

    The moment grows in proportion to the load as long as cables stay taut, so each instant has its own limit.
    """
    angle, rate = course.angle[0], course.angle[1]
    asked = done.moment_n_m - bare.moment_n_m
    spare = raised.capacity.full_n_m(angle, rate) - bare.moment_n_m
    with np.errstate(divide="ignore", invalid="ignore"):
        moving = np.where(asked > WEIGHS_N_M, np.maximum(spare, 0.0) / asked, np.inf)
    at = int(np.argmin(moving))
    held, held_at = held_scale(raised)
    if held <= moving[at]:
        return held, held_at, "holding still"
    phase = "raising" if course.time_s[at] <= rep.concentric_s else "lowering"
    return float(moving[at]), float(angle[at]), phase


def heaviest_words(plan: PacedPlan, lane: PacedLane) -> str:
    """Heaviest load of a lane with its unit; "any" where the load never weighs on the shoulder."""
    if not math.isfinite(lane.heaviest):
        return "any"
    mass = single_mass(plan.resistances)
    least = "at least " if plan.is_least else ""
    return least + (f"{lane.heaviest:.2f} ×" if mass is None else f"{lane.heaviest * mass:.1f} kg")


def answer_words(plan: PacedPlan) -> list[str]:
    """The answer, one sentence per lane."""
    out = []
    low, high = (math.degrees(edge) for edge in plan.loaded_range_rad)
    for lane in plan.lanes:
        m = lane.measures
        inside = (
            ""
            if m.loaded_work_share is None
            else f", {100 * m.loaded_work_share:.0f} % of the work within {low:.0f}–{high:.0f}°"
        )
        swing = ""
        if lane.rep.swing_m and m.drive_swing_work_share is not None:
            swing = f"; the body supplies {100 * m.drive_swing_work_share:.0f} % of the drive"
        overall = ""
        if m.peak_moment_phase != "concentric":
            place = f"{math.degrees(m.peak_moment_at_rad):.0f}°, {m.peak_moment_phase}"
            overall = f" (in all {m.peak_moment_n_m:.0f} at {place})"
        beyond = "more than the measured reps show" if plan.is_least else "too heavy"
        verdict = "within reach" if lane.heaviest >= 1 else beyond
        verdict += f" for {EXAMPLE_SHOULDER}" if plan.is_example else ""
        out.append(
            f"At {math.degrees(lane.gate_rad_s):.0f} °/s through the gate, {describe(plan.resistances)} is {verdict}: "
            f"raising peaks at {m.peak_concentric_moment_n_m:.0f} N·m at "
            f"{math.degrees(m.peak_concentric_moment_at_rad):.0f}°{overall}{inside}{swing}. "
            f"Heaviest {heaviest_words(plan, lane)}, limited at {math.degrees(lane.limited_at_rad):.0f}° by "
            f"{lane.limited_by}."
        )
    return out


def paced_assumptions(plan: PacedPlan) -> list[str]:
    """What the plan rests on, one sentence each, with the cautions."""
    rep = plan.lanes[0].rep
    effort = "all of the capacity" if plan.effort == 1 else f"{100 * plan.effort:.0f} % of the capacity"
    shoulder = (
        f"the shoulder swings {100 * rep.swing_m:.1f} cm up and forward in the concentric"
        if rep.swing_m
        else "the shoulder's centre stays put"
    )
    out = [
        f"Assumed: capacity {plan.capacity.curve.name}, {plan.strength}; {effort} may be used anywhere, less the "
        "faster it shortens (Hill), more while it lengthens.",
        f"Assumed: {math.degrees(rep.bottom_rad):.0f}–{math.degrees(rep.top_rad):.0f}°, {rep.eccentric_s:g} s down, "
        f"{rep.concentric_s:g} s up, {rep.hold_s:g} s held, from rest to rest; {shoulder}.",
    ]
    if plan.lifter.assumed:
        out.append(f"Assumed: {'; '.join(plan.lifter.assumed)}.")
    out.append(
        "Not in the model: the shoulder blade, tendons, fatigue over reps. What can be done once is no working weight."
    )
    return [*out, *LOAD_CAUTIONS]


def paced_record(plan: PacedPlan) -> dict[str, object]:
    """The plan for JSON, schema ``armarc.paced/1``."""
    mass = single_mass(plan.resistances)
    rep = plan.lanes[0].rep
    return {
        "schema": "armarc.paced/1",
        "answer": answer_words(plan),
        "load": describe(plan.resistances),
        "bottom_deg": rounded(math.degrees(rep.bottom_rad)),
        "top_deg": rounded(math.degrees(rep.top_rad)),
        "eccentric_s": rep.eccentric_s,
        "concentric_s": rep.concentric_s,
        "hold_s": rep.hold_s,
        "swing_cm": rounded(100 * rep.swing_m),
        "loaded_range_deg": [rounded(math.degrees(edge)) for edge in plan.loaded_range_rad],
        "capacity": {
            "curve": plan.capacity.curve.name,
            "peak_n_m": rounded(plan.capacity.peak_n_m),
            "strength_from": plan.strength,
            "effort": plan.effort,
        },
        "heaviest_unit": "multiple" if mass is None else "kg",
        "lanes": [_lane_record(plan, lane, mass) for lane in plan.lanes],
        "assumptions": paced_assumptions(plan),
    }


def _lane_record(plan: PacedPlan, lane: PacedLane, mass: float | None) -> dict[str, object]:
    m = lane.measures
    still = plan.capacity.full_n_m(lane.angle_rad, np.zeros(len(lane.angle_rad)))
    return {
        "start_velocity_deg_s": rounded(math.degrees(lane.gate_rad_s)),
        "start_ratio": rounded(lane.start_ratio),
        **measures_record(m),
        "peak_moment_phase": m.peak_moment_phase,
        "body_swing_work_j": rounded(m.swing_work_j),
        "drive_swing_work_j": rounded(m.drive_swing_work_j),
        "drive_swing_work_pct": None
        if m.drive_swing_work_share is None
        else rounded(100 * m.drive_swing_work_share),
        "within_reach": True if lane.heaviest >= 1 else None if plan.is_least else False,
        "heaviest": rounded(lane.heaviest * (mass or 1.0)),
        "limited_at_deg": rounded(math.degrees(lane.limited_at_rad)),
        "limited_by": lane.limited_by,
        "curve": {
            "angle_deg": [round(float(a), 3) for a in np.degrees(lane.angle_rad)],
            "concentric_n_m": series(lane.concentric_n_m),
            "eccentric_n_m": series(lane.eccentric_n_m),
            "isometric_capacity_n_m": series(still),
        },
    }
