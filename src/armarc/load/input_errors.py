"""How far off what the moments rest on may be, and what that does to every measure of the load."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from armarc.load.lifter import Lifter
from armarc.load.measures import PhaseTimes, loaded_shares
from armarc.load.table import NUMBERS, LoadMeasures
from armarc.motion import ArmMotion
from armarc.recording import FloatArray
from armarc.reps import Rep

SEGMENT_MASS_SE = 0.10
"""Body tables miss a person's segment masses by the order of 10 % (from memory; no single source)."""
LENGTH_SE, MEASURED_LENGTH_SE = 0.03, 0.01
ELBOW_LENGTH_SE = 0.04
"""A soft elbow brings the weight nearer, by how much nobody knows: peaks come out 6 % too large on simulated bodies
whose elbow bends by 10 to 24°, 4 % where it is held at 10 to 30°."""
GRIP_SE_M, MEASURED_GRIP_SE_M = 0.015, 0.005
LOAD_SE = 0.02
"""Weights and stacks are rarely truer than this (common practice, no source)."""
SHOULDER_SE_M_S2 = 0.15
"""Shoulder acceleration from a wrist: 5 % of the lever arm is 0.09, 20 mg of offset 0.20 before the ends are
brought to rest."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Inputs:
    """Everything the moment depends on and that is not known exactly."""

    mass: float = 1.0
    length: float = 1.0
    grip_shift_m: float = 0.0
    load: float = 1.0
    tilt_rad: float = 0.0
    shoulder_m_s2: float = 0.0


def uncertain_inputs(motion: ArmMotion, reps: Sequence[Rep], lifter: Lifter, is_loaded: bool) -> list[Inputs]:
    """One set of inputs per uncertain one, moved by its standard error."""
    known = lifter.upper_arm_m is not None and lifter.forearm_m is not None
    # What body and strap do to the angle is in the errors of its tops.
    tops = [rep.top_se_rad for rep in reps if rep.top_se_rad is not None]
    tilt = math.hypot(motion.mounting.uncertainty_rad, motion.orientation.tilt_se_rad)
    tilt = max(tilt, sum(tops) / len(tops)) if tops else tilt
    length = math.hypot(MEASURED_LENGTH_SE if known else LENGTH_SE, ELBOW_LENGTH_SE)
    out = [
        Inputs(mass=1 + SEGMENT_MASS_SE),
        Inputs(length=1 + length),
        Inputs(grip_shift_m=GRIP_SE_M if lifter.grip_m is None else MEASURED_GRIP_SE_M),
        Inputs(shoulder_m_s2=SHOULDER_SE_M_S2),
    ]
    if tilt > 0:
        out.append(Inputs(tilt_rad=tilt))
    if is_loaded:
        out.append(Inputs(load=1 + LOAD_SE))
    return out


def errors_moved(plain: LoadMeasures, moved: Sequence[LoadMeasures]) -> LoadMeasures:
    """Quadrature of the changes each uncertain input makes, shaped as the measures."""
    out: dict[str, float | None] = {}
    for name in NUMBERS:
        value = getattr(plain, name)
        others = [getattr(each, name) for each in moved]
        known = value is not None and all(other is not None for other in others)
        out[name] = math.hypot(*(other - value for other in others)) if known else None
    return replace(plain, **out)  # type: ignore[arg-type] # only the numbers of `NUMBERS`


def with_errors_of_the_rep(measures: LoadMeasures, se: LoadMeasures, rep: Rep) -> LoadMeasures:
    """Standard errors with what the rep itself is unsure of.

    The place of a peak is read off an angle (as sure as the range where that is no elevation but has its own zero),
    what was held while lowering off an acceleration; a power has the error of its speed, works that of the range.
    """
    place = (rep.rom_se_rad if rep.top_se_rad is None else rep.top_se_rad) or 0.0
    held = se.least_held_with_load_share
    power = _share(rep.peak_concentric_se_rad_s, rep.peak_concentric_rad_s)
    worked = _share(rep.rom_se_rad, rep.rom_rad)
    return replace(
        se,
        peak_moment_at_rad=math.hypot(se.peak_moment_at_rad, place),
        peak_concentric_moment_at_rad=math.hypot(se.peak_concentric_moment_at_rad, place),
        least_held_with_load_share=None if held is None else math.hypot(held, rep.least_held_se_share or 0.0),
        peak_power_w=math.hypot(se.peak_power_w, power * measures.peak_power_w),
        concentric_work_j=math.hypot(se.concentric_work_j, worked * measures.concentric_work_j),
        eccentric_work_j=math.hypot(se.eccentric_work_j, worked * measures.eccentric_work_j),
    )


def with_loaded_errors(
    se: LoadMeasures,
    time_s: FloatArray,
    angle_rad: FloatArray,
    moment_n_m: FloatArray,
    phases: PhaseTimes,
    window_rad: tuple[float, float] | None,
    rep: Rep,
) -> LoadMeasures:
    """Standard errors with what a wrong angle makes of the shares inside a window: one that reads a standard error
    more or less everywhere, and one whose range is that much too large or small."""
    if window_rad is None:
        return se
    ends = [each for each in (rep.bottom_se_rad, rep.top_se_rad) if each is not None]
    off = sum(ends) / len(ends) if ends else 0.0
    stretch = _share(rep.rom_se_rad, rep.rom_rad)
    bottom = 0.0 if rep.bottom_rad is None else rep.bottom_rad
    impulse, work = [se.loaded_impulse_share], [se.loaded_work_share]
    windows = [
        (
            _moved(window_rad[0], bottom, by * shift, by * scale),
            _moved(window_rad[1], bottom, by * shift, by * scale),
        )
        for shift, scale in ((off, 0.0), (0.0, stretch))
        for by in (-1.0, 1.0)
    ]
    found = loaded_shares(time_s, angle_rad, moment_n_m[None], phases, windows)[0]
    for less, more in (found[:2], found[2:]):
        for errors, one, other in zip((impulse, work), less, more, strict=True):
            errors.append(None if one is None or other is None else (other - one) / 2)
    return replace(se, loaded_impulse_share=_together(impulse), loaded_work_share=_together(work))


def _moved(angle_rad: float, bottom_rad: float, by_rad: float, share: float) -> float:
    return angle_rad + by_rad + share * (angle_rad - bottom_rad)


def _together(errors: Sequence[float | None]) -> float | None:
    known = [error for error in errors if error is not None]
    return math.hypot(*known) if len(known) == len(errors) else None


def _share(error: float | None, value: float | None) -> float:
    return 0.0 if error is None or value is None or value <= 0 else error / value
