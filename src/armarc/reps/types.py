"""Sets and reps as they are measured. SI inside; `armarc.reps.records` turns them into the published keys."""

from __future__ import annotations

from dataclasses import dataclass, field

from armarc.exercises import Band
from armarc.recording import ArrayValue


@dataclass(frozen=True, slots=True, kw_only=True)
class Phases:
    """The four instants that bound a rep's phases, s from the recording's first sample."""

    start_s: float
    top_start_s: float
    top_end_s: float
    end_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Rep:
    """One repetition. Fields are the contract's keys in SI units; None where a measure cannot be given.

    ``first_sample``/``stop_sample`` are the half-open range of samples of the motion it was measured on,
    from the bottom before to the bottom after; ``top_sample`` is the turning point.
    """

    rep: int
    phases: Phases
    first_sample: int
    top_sample: int
    stop_sample: int
    bottom_rad: float
    top_rad: float
    rom_rad: float
    rom_se_rad: float | None
    top_se_rad: float | None
    concentric_s: float
    hold_s: float
    eccentric_s: float
    time_under_tension_s: float
    pause_s: float | None
    start_velocity_rad_s: float | None
    start_velocity_se_rad_s: float | None
    start_verdict: str | None
    gate_s: float | None
    mean_concentric_rad_s: float
    mean_eccentric_rad_s: float
    peak_concentric_rad_s: float
    peak_eccentric_rad_s: float
    peak_concentric_at_rad: float
    loaded_range_s: float | None
    plane_rad: float | None
    hand_rotation_rad: float | None
    hand_rotation_change_rad: float | None
    smoothness_sparc: float | None
    body_swing_m: float | None
    body_swing_se_m: float | None
    quality: tuple[str, ...] = ()
    bottom_se_rad: float | None = None
    concentric_se_s: float | None = None
    hold_se_s: float | None = None
    eccentric_se_s: float | None = None
    time_under_tension_se_s: float | None = None
    mean_concentric_se_rad_s: float | None = None
    mean_eccentric_se_rad_s: float | None = None
    peak_concentric_se_rad_s: float | None = None
    peak_eccentric_se_rad_s: float | None = None
    loaded_range_se_s: float | None = None
    plane_se_rad: float | None = None
    hand_rotation_se_rad: float | None = None
    body_swing_reason: str | None = None
    told_velocity_rad_s: float | None = None
    """Start velocity as it was told live, at the gate; None offline."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class MeasuredSet(ArrayValue):
    """Consecutive reps of one exercise without a long rest between them."""

    set: int
    start_s: float
    end_s: float
    reps: tuple[Rep, ...]
    exercise: str
    side: str | None
    band: Band | None
    load_kg: float | None = None
    warnings: tuple[str, ...] = field(default_factory=tuple)
