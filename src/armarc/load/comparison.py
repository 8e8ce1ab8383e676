"""The same rep against several resistances: where each loads the shoulder."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from armarc.errors import UsageError
from armarc.load.arm import ArmBody, arm_body
from armarc.load.arm_rate import sensor_reach
from armarc.load.ideal import PLANAR_AXIS, ideal_rep, planar_body
from armarc.load.lifter import Lifter
from armarc.load.measures import PhaseTimes, by_angle, load_measures
from armarc.load.mechanics import ArmKinematics, Dynamics, dynamics
from armarc.load.rep_motion import rep_motion, set_motion, shoulder_swings
from armarc.load.resistance import Cable, Resistance, describe
from armarc.load.table import LoadMeasures
from armarc.motion import ArmMotion
from armarc.recording import FloatArray
from armarc.reps import Rep
from armarc.reps.momentum import PEAK_OVER_MEAN
from armarc.reps.phases import ON_RATE_RAD_S, ON_SHARE_OF_PEAK

HELPING_SHARE = 0.02
"""Of the work on the way up: less may be the braking before the top."""


@dataclass(frozen=True, slots=True, kw_only=True)
class TemplateRep:
    """A rep to put resistances on.

    Parameters
    ----------
    name : str
        What it is, in words.
    motion : ArmKinematics
    axis, body : ndarray
        See `armarc.load.rep_motion.RepMotion`.
    times : PhaseTimes
    notes : tuple of str
    """

    name: str
    motion: ArmKinematics
    axis: FloatArray
    body: FloatArray
    times: PhaseTimes
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Compared:
    """One resistance on the template.

    Parameters
    ----------
    label : str
    measures : LoadMeasures
    angle_rad, concentric_n_m, eccentric_n_m : ndarray, shape (k,)
        Moment by whole degrees.
    slack : bool
        The cable or band went slack somewhere (no pull).
    helps : bool
        It lifts the arm itself on part of the way up: the shoulder has to hold it back there.
    """

    label: str
    measures: LoadMeasures
    angle_rad: FloatArray
    concentric_n_m: FloatArray
    eccentric_n_m: FloatArray
    slack: bool
    helps: bool


def ideal_template(
    *,
    bottom_rad: float,
    top_rad: float,
    concentric_s: float,
    hold_s: float,
    eccentric_s: float,
    plane_rad: float = 0.0,
    side: str = "right",
) -> TemplateRep:
    """An idealised rep; see `armarc.load.ideal.ideal_rep`."""
    motion, _, _ = ideal_rep(
        bottom_rad=bottom_rad,
        top_rad=top_rad,
        concentric_s=concentric_s,
        hold_s=hold_s,
        eccentric_s=eccentric_s,
    )
    return TemplateRep(
        name=f"idealised rep, {math.degrees(bottom_rad):.0f}-{math.degrees(top_rad):.0f}°, "
        f"{concentric_s:g} s up, {eccentric_s:g} s down, shoulder fixed",
        motion=motion,
        axis=PLANAR_AXIS,
        body=planar_body(plane_rad, side),
        times=ideal_times(top_rad - bottom_rad, concentric_s, hold_s, eccentric_s),
    )


def ideal_times(rom_rad: float, concentric_s: float, hold_s: float, eccentric_s: float) -> PhaseTimes:
    """The four instants of a minimum-jerk rep as a measured one has them: above 5 °/s and 5 % of the peak rate.

    From rest to rest the moment jumps back to the static one within the last tenth of a degree, where the assumed
    braking ends.
    """

    def edge_s(duration_s: float) -> float:
        share = max(ON_SHARE_OF_PEAK, ON_RATE_RAD_S * duration_s / (PEAK_OVER_MEAN * rom_rad))
        return 0.5 * duration_s * (1 - math.sqrt(max(1 - math.sqrt(share), 0.0)))

    up, down = edge_s(concentric_s), edge_s(eccentric_s)
    lowered = concentric_s + hold_s
    return PhaseTimes(
        start_s=up,
        top_start_s=concentric_s - up,
        top_end_s=lowered + down,
        end_s=lowered + eccentric_s - down,
    )


def measured_template(motion: ArmMotion, rep: Rep, plane_rad: float = 0.0) -> TemplateRep:
    """A measured rep; `plane_rad` places pulleys where the recording does not tell the plane."""
    whole = set_motion(motion, [rep], sensor_reach(motion))
    moved = rep_motion(motion, whole, rep, shoulder_swings(motion, [rep])[0], plane_rad=plane_rad)
    p = rep.phases
    notes = []
    if rep.plane_rad is None:
        notes.append(
            f"the plane of the raise is unknown: pulleys and anchors were placed for a raise at "
            f"{math.degrees(plane_rad):.0f}° (0 to the side, 90 forward)"
        )
    if not moved.shoulder_moves:
        notes.append("the shoulder's path is unknown: it was taken as fixed")
    ends = [math.degrees(end) for end in (rep.bottom_rad, rep.top_rad) if end is not None]
    return TemplateRep(
        name=f"measured rep {rep.rep}, {'-'.join(f'{end:.0f}' for end in ends)}°",
        motion=moved.motion,
        axis=moved.axis,
        body=moved.body,
        times=PhaseTimes(start_s=p.start_s, top_start_s=p.top_start_s, top_end_s=p.top_end_s, end_s=p.end_s),
        notes=tuple(notes),
    )


def middle_rep(reps: tuple[Rep, ...]) -> Rep:
    """The rep whose range of motion and duration are nearest the set's medians."""
    whole = [
        (r.rom_rad, r.concentric_s) for r in reps if r.rom_rad is not None and r.concentric_s is not None
    ]
    if not whole:
        return reps[0]
    rom, up = (float(middle) for middle in np.median(whole, axis=0))

    def beside(rep: Rep) -> float:
        if rep.rom_rad is None or rep.concentric_s is None:
            return math.inf
        return abs(rep.rom_rad / rom - 1) + abs(rep.concentric_s / max(up, 1e-9) - 1)

    return min(reps, key=beside)


def compare(
    template: TemplateRep,
    variants: list[tuple[Resistance, ...]],
    lifter: Lifter,
    *,
    loaded_range_rad: tuple[float, float] | None,
    elbow_rad: float = 0.0,
) -> list[Compared]:
    """Put every variant on the same rep.

    Parameters
    ----------
    template : TemplateRep
    variants : list of tuple of Resistance
        The members of one variant act at once.
    lifter : Lifter
    loaded_range_rad : tuple of float, rad, or None
    elbow_rad : float, rad

    Returns
    -------
    list of Compared
        In the order given.
    """
    arm = arm_body(lifter.completed(), elbow_rad)
    return [_one(template, variant, arm, loaded_range_rad) for variant in variants]


def _one(
    template: TemplateRep,
    variant: tuple[Resistance, ...],
    arm: ArmBody,
    loaded_range_rad: tuple[float, float] | None,
) -> Compared:
    m, p = template.motion, template.times
    done = dynamics(m, arm, variant, template.axis, template.body)
    degrees = np.degrees(m.angle_rad)
    low, high = math.ceil(float(degrees.min()) - 1e-6), math.floor(float(degrees.max()) + 1e-6)
    grid = np.radians(np.arange(low, high + 1, dtype=float))
    return Compared(
        label=describe(variant),
        measures=load_measures(m.time_s, m.angle_rad, done, p, loaded_range_rad),
        angle_rad=grid,
        concentric_n_m=by_angle(m.time_s, m.angle_rad, done.moment_n_m, p.start_s, p.top_start_s, grid),
        eccentric_n_m=by_angle(m.time_s, m.angle_rad, done.moment_n_m, p.top_end_s, p.end_s, grid),
        slack=done.slack,
        helps=_helps(m, done, p),
    )


def _helps(motion: ArmKinematics, done: Dynamics, times: PhaseTimes) -> bool:
    """Whether the shoulder holds back, by more than rounding a top takes, while the arm is raised."""
    up = (motion.time_s >= times.start_s) & (motion.time_s <= times.top_start_s)
    power = done.moment_power_w[up]
    return bool(-power[power < 0].sum() > HELPING_SHARE * power[power > 0].sum())


def matched(
    template: TemplateRep, variants: list[tuple[Resistance, ...]], lifter: Lifter, *, elbow_rad: float = 0.0
) -> list[tuple[Resistance, ...]]:
    """Scale every variant so that its work on the way up is that of the first.

    Raises
    ------
    UsageError
        A variant that does no work cannot be scaled.
    """
    arm = arm_body(lifter.completed(), elbow_rad)
    bare = _one(template, (), arm, None).measures.concentric_work_j

    def load_work(variant: tuple[Resistance, ...]) -> float:
        return _one(template, variant, arm, None).measures.concentric_work_j - bare

    wanted = load_work(variants[0])
    out = []
    for variant in variants:
        scaled_variant = variant
        # A fast stack goes slack and a table ends: repeat until the work fits.
        for _ in range(6):
            found = load_work(scaled_variant)
            if not found > 1e-6 or not wanted > 1e-6:
                raise UsageError(
                    f"{describe(variant)} does no work on this rep, so it cannot be matched",
                    "leave out --match, or move the pulley or anchor",
                )
            scaled_variant = tuple(r.scaled(wanted / found) for r in scaled_variant)
        out.append(scaled_variant)
    return out


PULLEY_HEIGHTS_M = (-1.2, -0.6, 0.0, 0.6)
"""Below the shoulder at about ankle and hip height, level with it, and above (for a standing lifter)."""


def at_heights(cable: Cable, heights_m: tuple[float, ...] = PULLEY_HEIGHTS_M) -> list[tuple[Resistance, ...]]:
    """The same cable from several pulley heights, m above the shoulder (negative below)."""
    out, _, forward = cable.pulley_m
    return [(replace(cable, pulley_m=(out, height, forward)),) for height in heights_m]
