"""What the shoulder did in a measured set, with how sure that is."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from armarc.load.arm import ArmBody, arm_body, unbent
from armarc.load.arm_rate import BANDWIDTH_HZ, LONGEST_REACH, SHORTEST_REACH, SLOW_HZ, sensor_reach
from armarc.load.input_errors import (
    Inputs,
    errors_moved,
    uncertain_inputs,
    with_errors_of_the_rep,
    with_loaded_errors,
)
from armarc.load.lifter import REFERENCE_LIFTER, Lifter
from armarc.load.measures import (
    Courses,
    PhaseTimes,
    SwingShare,
    by_angle,
    integrals_up_to,
    measures_of_courses,
    swing_share,
)
from armarc.load.mechanics import Dynamics, dynamics, held_moment, loaded_arm, mechanical_energy
from armarc.load.rep_motion import (
    RepMotion,
    RepMotions,
    rep_motion,
    set_motion,
    shoulder_swings,
)
from armarc.load.resistance import Dumbbell, ElasticBand, Machine, Resistance, describe, scaled
from armarc.load.table import SWINGS, LoadMeasures
from armarc.measures import without_unseen
from armarc.motion import ArmMotion
from armarc.recording import STANDARD_GRAVITY_M_S2, ArrayValue, FloatArray
from armarc.reps import MeasuredSet, Rep
from armarc.reps.summary import full_reps
from armarc.reps.swing import Swing, lifting_se_m
from armarc.reps.types import RAISING

SWING_SHARE_SE = 0.03
"""What a share misses the truth by on synthetic sets beyond the error of the path (up to 4 points)."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class RepLoad(ArrayValue):
    """One rep.

    Parameters
    ----------
    rep : int
    measures, se : LoadMeasures
        Values and standard errors. Most of an error is shared by all reps of a set: it comes from the body
        table and the load, so it hardly shrinks in a mean.
    concentric_n_m, eccentric_n_m : ndarray, shape (k,), N m
        Moment on the set's grid of angles; NaN where the rep did not pass.
    energy_residual : float
        Energy that does not add up over the concentric, as a share of the work done.
    swings : mapping
        What is said of each share of body swing work: ``"body_swing_work_share"`` and ``"drive_swing_work_share"``.
    quality : tuple of str
        Flags of the rep: a set's means go over its full reps.
    """

    rep: int
    measures: LoadMeasures
    se: LoadMeasures
    concentric_n_m: FloatArray
    eccentric_n_m: FloatArray
    energy_residual: float
    swings: Mapping[str, SwingShare]
    quality: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class SetLoad(ArrayValue):
    """A set.

    Parameters
    ----------
    set : int
    lifter : Lifter
        The body it was worked out for.
    resistance : str
        In words.
    angle_rad : ndarray, shape (k,), rad
        Whole degrees.
    reps : tuple of RepLoad
    concentric_mean_n_m, concentric_sd_n_m, eccentric_mean_n_m, eccentric_sd_n_m : ndarray, shape (k,)
        Mean over the full reps and their spread.
    notes : tuple of str
        What was assumed.
    """

    set: int
    lifter: Lifter
    resistance: str
    loaded_range_rad: tuple[float, float] | None
    angle_rad: FloatArray
    reps: tuple[RepLoad, ...]
    concentric_mean_n_m: FloatArray
    concentric_sd_n_m: FloatArray
    eccentric_mean_n_m: FloatArray
    eccentric_sd_n_m: FloatArray
    notes: tuple[str, ...]


def measure_load(
    motion: ArmMotion,
    measured: MeasuredSet,
    *,
    lifter: Lifter = REFERENCE_LIFTER,
    resistances: tuple[Resistance, ...] | None = None,
    loaded_range_rad: tuple[float, float] | None = None,
    elbow_rad: float = 0.0,
    plane_rad: float = 0.0,
    swings: Sequence[Swing] | None = None,
) -> SetLoad:
    """Work out what the shoulder did in every rep of a set.

    Parameters
    ----------
    motion : ArmMotion
        The motion the set was measured on.
    measured : MeasuredSet
    lifter : Lifter
    resistances : tuple of Resistance or None
        All act at once; None takes the set's own load as a dumbbell.
    loaded_range_rad : tuple of float, rad, or None
        In the exercise's own angle.
    elbow_rad : float, rad
        Bend held through the rep.
    plane_rad : float, rad
        Plane of elevation, for pulleys and anchors, where the recording does not tell it.
    swings : sequence of Swing or None
        How the shoulder moved in every rep, where another sensor knows; None tells it from the wrist.
    """
    if resistances is None:
        resistances = (Dumbbell(mass_kg=measured.load_kg),) if measured.load_kg else ()
    return _Case(
        motion, measured, lifter, resistances, loaded_range_rad, elbow_rad, plane_rad, swings
    ).whole()


class _Case:
    """One set with its fixed inputs; evaluated once for the values and once per uncertain input."""

    def __init__(
        self,
        motion: ArmMotion,
        measured: MeasuredSet,
        lifter: Lifter,
        resistances: tuple[Resistance, ...],
        loaded_range_rad: tuple[float, float] | None,
        elbow_rad: float,
        plane_rad: float,
        swings: Sequence[Swing] | None,
    ) -> None:
        self.motion, self.measured, self.lifter, self.resistances = motion, measured, lifter, resistances
        self.loaded, self.elbow_rad, self.plane_rad = loaded_range_rad, elbow_rad, plane_rad
        self.swings = shoulder_swings(motion, measured.reps) if swings is None else tuple(swings)
        self._moved: dict[float, RepMotions] = {}
        self._straight = set_motion(motion, measured.reps, sensor_reach(motion, lifter, elbow_rad))

    def arm(self, inputs: Inputs) -> ArmBody:
        body = self.lifter.completed().scaled(
            mass=inputs.mass, length=inputs.length, grip_shift_m=inputs.grip_shift_m
        )
        arm = arm_body(body, self.elbow_rad)
        return arm if self.elbow_rad == 0 or self.motion.mounting.thumb_axis is not None else unbent(arm)

    def moved(self, inputs: Inputs) -> RepMotions:
        """The movement of all reps; inputs that do not touch it share one."""
        tilt = inputs.tilt_rad
        if tilt not in self._moved:
            whole = self._straight.tilted(tilt) if tilt else self._straight
            self._moved[tilt] = RepMotions.of(
                [
                    rep_motion(self.motion, whole, rep, swing, plane_rad=self.plane_rad)
                    for rep, swing in zip(self.measured.reps, self.swings, strict=True)
                ]
            )
        moved = self._moved[tilt]
        return moved.shaken(inputs.shoulder_m_s2) if inputs.shoulder_m_s2 else moved

    def all(self, each: Sequence[Inputs]) -> list[_Evaluated]:
        """All reps, with the first of several inputs and what the others make of the measures."""
        (arm, done, _), *_ = evaluated = [self.evaluated(inputs) for inputs in each]
        moved, found = self.moved(each[0]), []
        for rep, one, cut in zip(self.measured.reps, moved.reps, moved.cuts, strict=True):
            courses = [
                Courses(
                    other.moment_n_m[cut],
                    other.moment_power_w[cut],
                    None if one.swing_m_s is None else np.sum(other.force_n[cut] * one.swing_m_s, axis=1),
                    None if still is None else still[cut],
                )
                for _, other, still in evaluated
            ]
            m = one.motion
            plain, *others = measures_of_courses(
                m.time_s, m.angle_rad, courses, _times(rep), self.loaded, one.drive_s
            )
            found.append(
                _Evaluated(moved=one, measures=plain, otherwise=others, done=done.part(cut), arm=arm)
            )
        return found

    def evaluated(self, inputs: Inputs) -> tuple[ArmBody, Dynamics, FloatArray | None]:
        """The arm with the free weights, what its movement took, and what would hold it still."""
        arm, resistances, moved = self.arm(inputs), scaled(self.resistances, inputs.load), self.moved(inputs)
        done = dynamics(moved.motion, arm, resistances, moved.axis, moved.body)
        held = held_moment(moved.motion, arm, resistances, moved.axis, moved.body) if resistances else None
        return loaded_arm(arm, resistances), done, held

    def whole(self) -> SetLoad:
        uncertain = uncertain_inputs(self.motion, self.measured.reps, self.lifter, bool(self.resistances))
        plain = self.all([Inputs(), *uncertain])
        lowest = min((r.bottom_rad for r in self.measured.reps if r.bottom_rad is not None), default=0.0)
        highest = max((r.top_rad for r in self.measured.reps if r.top_rad is not None), default=lowest)
        low, high = math.ceil(math.degrees(lowest)), math.floor(math.degrees(highest))
        grid = np.radians(np.arange(low, max(high, low) + 1, dtype=float))
        reps = []
        for rep, found in zip(self.measured.reps, plain, strict=True):
            se = with_errors_of_the_rep(found.measures, errors_moved(found.measures, found.otherwise), rep)
            path_se = rep.body_swing_se_m
            if path_se is not None and rep.trunk_lean_rad is None:  # a chest's sensor sees the lean
                path_se = lifting_se_m(path_se)
            se = replace(se, **found.swing_errors(path_se))  # type: ignore[arg-type]
            times = _times(rep)
            m, moment = found.moved.motion, found.done.moment_n_m
            se = with_loaded_errors(se, m.time_s, m.angle_rad, moment, times, self.loaded, rep)
            measures, se = without_unseen(found.measures, rep.unseen), without_unseen(se, rep.unseen)
            reps.append(
                RepLoad(
                    rep=rep.rep,
                    measures=measures,
                    se=se,
                    concentric_n_m=found.on_grid(times.start_s, times.top_start_s, grid),
                    eccentric_n_m=found.on_grid(times.top_end_s, times.end_s, grid),
                    energy_residual=math.nan
                    if rep.unseen.intersection(RAISING)
                    else found.energy_residual(times),
                    swings={n: swing_share(getattr(measures, n), getattr(se, n)) for n in SWINGS},
                    quality=tuple(rep.quality),
                )
            )
        full = full_reps(reps)
        up = _spread([r.concentric_n_m for r in full], len(grid))
        down = _spread([r.eccentric_n_m for r in full], len(grid))
        return SetLoad(
            set=self.measured.set,
            lifter=self.lifter,
            resistance=describe(self.resistances),
            loaded_range_rad=self.loaded,
            angle_rad=grid,
            reps=tuple(reps),
            concentric_mean_n_m=up[0],
            concentric_sd_n_m=up[1],
            eccentric_mean_n_m=down[0],
            eccentric_sd_n_m=down[1],
            notes=self.notes(plain),
        )

    def notes(self, plain: list[_Evaluated]) -> tuple[str, ...]:
        said = [*self.lifter.assumed]
        if not self.resistances:
            said.append("no load stated: the moment is that of the arm alone; state it with --load")
        pulled = any(not isinstance(r, Dumbbell | Machine) for r in self.resistances)
        if pulled and any(rep.plane_rad is None for rep in self.measured.reps):
            said.append(
                f"the plane of the raise is unknown: pulleys and anchors were placed for a raise at "
                f"{math.degrees(self.plane_rad):.0f}° (0 to the side, 90 forward)"
            )
        if plain and not any(e.moved.shoulder_moves for e in plain):
            said.append("the shoulder's path is unknown: it was taken as fixed, no body swing work")
        if self.elbow_rad and self.motion.mounting.thumb_axis is None:
            said.append("where the elbow bends to is unknown: what it takes off the arm line was left out")
        for r in self.resistances:
            if isinstance(r, ElasticBand) and r.table and plain:
                said.append(f"the band's table ends at {r.longest_m():g} m; its last force is held beyond")
        body = self.lifter.completed()
        reach = self.motion.mounting.reach_m
        expected = body.upper_arm_m + body.forearm_m
        if (
            reach is not None
            and not SHORTEST_REACH * expected <= reach <= LONGEST_REACH * expected
            and self.elbow_rad == 0
        ):
            said.append(
                f"the sensor sits {100 * reach:.0f} cm from the shoulder, but this body's arm is "
                f"{100 * expected:.0f} cm to the wrist: state the lifter's measures with armarc lifter"
            )
        said.append(
            f"angular acceleration from the gyroscope up to {SLOW_HZ:g} Hz, above it from the accelerometer, "
            f"low-passed at {BANDWIDTH_HZ:g} Hz"
        )
        return tuple(said)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Evaluated:
    moved: RepMotion
    measures: LoadMeasures
    otherwise: list[LoadMeasures]
    done: Dynamics
    arm: ArmBody
    """With the free weights."""

    def energy_residual(self, times: PhaseTimes) -> float:
        """Energy that does not add up over the concentric, as a share of the work done."""
        m, done = self.moved.motion, self.done
        given = np.array([done.moment_power_w, done.force_power_w, done.outside_power_w])
        before, after = integrals_up_to(m.time_s, given, (times.start_s, times.top_start_s)).T
        work = after - before
        first, last = np.interp([times.start_s, times.top_start_s], m.time_s, mechanical_energy(m, self.arm))
        size = float(abs(work[0]) + abs(work[1]))
        return float(work.sum() - (last - first)) / size if size > 0 else math.nan

    def on_grid(self, start_s: float, stop_s: float, grid: FloatArray) -> FloatArray:
        m = self.moved.motion
        return by_angle(m.time_s, m.angle_rad, self.done.moment_n_m, start_s, stop_s, grid)

    def swing_errors(self, swing_se_m: float | None) -> dict[str, float | None]:
        """Standard errors of the swing's works and shares: what its path may be off by, times the weight."""
        m = self.measures
        if m.swing_work_j is None or m.drive_work_j is None or swing_se_m is None:
            return dict.fromkeys(
                ("swing_work_j", "body_swing_work_share", "drive_swing_work_j", "drive_swing_work_share")
            )
        moved_j = self.arm.mass_kg * STANDARD_GRAVITY_M_S2 * swing_se_m
        out: dict[str, float | None] = {}
        for work, share, whole_j in (
            ("swing_work_j", "body_swing_work_share", m.concentric_work_j + m.swing_work_j),
            ("drive_swing_work_j", "drive_swing_work_share", m.drive_work_j),
        ):
            out[work] = math.hypot(moved_j, SWING_SHARE_SE * whole_j)
            out[share] = math.hypot(moved_j / whole_j, SWING_SHARE_SE) if whole_j > 0 else None
        return out


def _times(rep: Rep) -> PhaseTimes:
    p = rep.phases
    return PhaseTimes(start_s=p.start_s, top_start_s=p.top_start_s, top_end_s=p.top_end_s, end_s=p.end_s)


def _spread(curves: list[FloatArray], k: int) -> tuple[FloatArray, FloatArray]:
    """Mean and sample standard deviation at the angles that all of the reps passed.

    Where some are missing the mean would jump from one group of reps to another.
    """
    if not curves:
        return np.full(k, np.nan), np.full(k, np.nan)
    stack = np.array(curves)
    # A sum over the reps is NaN where one of them is.
    sd = stack.std(axis=0, ddof=1) if len(curves) > 1 else np.full(k, np.nan)
    return stack.mean(axis=0), sd
