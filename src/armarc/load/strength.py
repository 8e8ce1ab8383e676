"""How strong the shoulder is taken to be, and where that comes from."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from armarc.errors import UsageError
from armarc.load.arm import arm_body
from armarc.load.capacity import ShoulderCapacity
from armarc.load.forward import shoulders
from armarc.load.lifter import Lifter
from armarc.load.measures import by_angle
from armarc.load.planar_load import planar_load
from armarc.load.planning import RaisePlan, heaviest_peaks
from armarc.load.resistance import Dumbbell, Resistance
from armarc.load.set_load import measure_load
from armarc.motion import ArmMotion
from armarc.recording import FloatArray
from armarc.reps import MeasuredSet

PUBLISHED_N_M, PUBLISHED_AT_RAD, WOMEN_SHARE = 68.6, math.radians(45), 0.5
"""Isometric shoulder flexion of 26 men at 45°, and women's share of it, from a published study of dynamic
shoulder flexion strength for occupational risk analysis. It is flexion: no abduction figure was within reach."""
EXAMPLE_SHOULDER = "an example shoulder (not yours: state --heaviest)"


@dataclass(frozen=True, slots=True, kw_only=True)
class StrengthSource:
    """Where a shoulder's strength comes from: a heaviest strict dumbbell, a measured moment, measured reps, or (all
    None) a published group mean; with what they were lifted."""

    lifter: Lifter
    resistances: tuple[Resistance, ...] = ()
    heaviest_kg: float | None = None
    capacity_n_m: float | None = None
    measured: tuple[ArmMotion, MeasuredSet] | None = None
    elbow_rad: float = 0.0
    plane_rad: float = 0.0

    def capacity(self, plan: RaisePlan) -> ShoulderCapacity:
        """Scale the shape of a plan's capacity.

        Parameters
        ----------
        plan : RaisePlan
            Gives the shape of the capacity, the start and the top.

        Raises
        ------
        UsageError
            When no capacity up to 1000 N·m would do, or the reps tell nothing.
        """
        if self.heaviest_kg is not None:
            arm = arm_body(self.lifter.completed(), self.elbow_rad)
            heavy = planar_load(arm, (Dumbbell(mass_kg=self.heaviest_kg),), self.plane_rad)
            return strength_from_heaviest(replace(plan, load=heavy))
        if self.capacity_n_m is not None:
            return replace(plan.capacity, peak_n_m=self.capacity_n_m)
        if self.measured is not None:
            return self._from_reps(plan.capacity, self.measured)
        share = float(plan.capacity.curve(np.array([PUBLISHED_AT_RAD]))[0])
        sex = WOMEN_SHARE if self.lifter.sex == "female" else 1.0
        return replace(plan.capacity, peak_n_m=PUBLISHED_N_M * sex / max(share, 0.05))

    @property
    def is_example(self) -> bool:
        """Whether nothing is known of the lifter's own strength."""
        return self.heaviest_kg is None and self.capacity_n_m is None and self.measured is None

    @property
    def is_least(self) -> bool:
        """Whether the strength is a lower bound: what the measured reps took, which may not have been all-out."""
        return self.heaviest_kg is None and self.capacity_n_m is None and self.measured is not None

    def words(self, peak_n_m: float) -> str:
        """The strength and where it comes from."""
        peak = f"{peak_n_m:.0f} N·m at its best angle"
        if self.heaviest_kg is not None:
            return (
                f"{peak}, the least that lifts {self.heaviest_kg:g} kg to the top from rest and holds it still at "
                "every angle on the way"
            )
        if self.capacity_n_m is not None:
            return f"{peak}, as stated"
        if self.measured is not None:
            return f"{peak}, at least: the smallest that explains the measured reps, which may not have been all-out"
        group = "women, half of 26 men" if self.lifter.sex == "female" else "26 men"
        return (
            f"{peak}, an example from a published group mean ({group}, isometric flexion 68.6 N·m at 45° for men; no "
            "abduction figure was within reach): state your own with --heaviest"
        )

    def _from_reps(
        self, shaped: ShoulderCapacity, measured: tuple[ArmMotion, MeasuredSet]
    ) -> ShoulderCapacity:
        motion, found = measured
        done = measure_load(
            motion,
            found,
            lifter=self.lifter,
            resistances=self.resistances,
            elbow_rad=self.elbow_rad,
            plane_rad=self.plane_rad,
        )
        angle, rate, moment = [], [], []
        for rep, load in zip(found.reps, done.reps, strict=True):
            p = rep.phases
            angle.append(done.angle_rad)
            rate.append(
                by_angle(
                    motion.time_s,
                    motion.angle_rad,
                    motion.angle_rate_rad_s,
                    p.start_s,
                    p.top_start_s,
                    done.angle_rad,
                )
            )
            moment.append(load.concentric_n_m)
        return strength_from_reps(shaped, np.concatenate(angle), np.concatenate(rate), np.concatenate(moment))


def strength_from_heaviest(plan: RaisePlan) -> ShoulderCapacity:
    """Scale the capacity so that the plan's load just reaches the top from rest and can be held still on the way.

    A full effort from rest carries a load past angles at which it could not be held; a strict rep does not.

    Parameters
    ----------
    plan : RaisePlan
        Its capacity gives the shape; the peak is replaced.

    Raises
    ------
    UsageError
        When no capacity up to 1000 N·m would do.
    """
    lanes = shoulders(plan.capacity)
    peak = float(heaviest_peaks(replace(plan, by_shoulder=False), lanes, np.ones(1))[0])
    if not math.isfinite(peak) or peak > 1000:
        raise UsageError(
            "this capacity curve never lifts that load to the top, however strong the shoulder",
            "choose another --capacity curve or a lower --top",
        )
    return replace(plan.capacity, peak_n_m=peak)


def strength_from_reps(
    capacity: ShoulderCapacity,
    angle_rad: FloatArray,
    rate_rad_s: FloatArray,
    moment_n_m: FloatArray,
) -> ShoulderCapacity:
    """Smallest capacity that explains measured moments: a lower bound, since reps are rarely all-out.

    Parameters
    ----------
    capacity : ShoulderCapacity
        Gives the shape.
    angle_rad, rate_rad_s, moment_n_m : ndarray, shape (n,)
        Measured while raising.

    Raises
    ------
    UsageError
        When there is nothing to scale by.
    """
    unit = replace(capacity, peak_n_m=1.0).full_n_m(angle_rad, rate_rad_s)
    use = (unit > 0.05) & (rate_rad_s > 0) & np.isfinite(moment_n_m)
    if not use.any():
        raise UsageError(
            "the measured reps do not tell how strong the shoulder is", "give --heaviest instead"
        )
    return replace(capacity, peak_n_m=float(np.percentile(moment_n_m[use] / unit[use], 99)))
