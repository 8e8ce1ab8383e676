"""Sets and reps as they are measured, SI: the table of measures of a rep."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Annotated

from armarc.exercises import Band
from armarc.measures import Measure

AT_START, AT_TOP, AT_END = ("start",), ("top_start",), ("end",)
RAISING = ("start", "top_start")
HOLDING = ("top_start", "top_end")
LOWERING = ("top_end", "end")
WHOLE = ("start", "end")
"""What of a rep the recording has to hold for a measure: one of its instants, or those at both ends."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Phases:
    """The four instants that bound a rep's phases, s from the recording's first sample.

    Where the recording does not hold one, it is the edge of what was seen of the rep: its place, and no start or end.
    """

    start_s: Annotated[
        float,
        Measure(
            "Start",
            "start of the concentric, s from the recording's first sample; of a cut rep "
            "the edge of what was seen of it, as the other three",
            2,
        ),
    ]
    top_start_s: Annotated[float, Measure("End of the concentric", "end of the concentric", 2)]
    top_end_s: Annotated[float, Measure("Start of the eccentric", "start of the eccentric", 2)]
    end_s: Annotated[float, Measure("End", "end of the eccentric", 2)]


@dataclass(frozen=True, slots=True, kw_only=True)
class Rep:
    """One repetition, and the table of its measures: each field with a `Measure` is published under the key its name
    and unit give, in this order (`armarc.measures`). SI; None where a measure cannot be given.

    ``first_sample``/``stop_sample`` are the half-open range of samples of the motion it was measured on,
    from the bottom before to the bottom after; ``top_sample`` is the turning point. All 0 without the motion.
    ``unseen`` names the instants that the recording does not hold: what needs them is None (`Measure.needs`).
    """

    first_sample: int = 0
    top_sample: int = 0
    stop_sample: int = 0
    unseen: frozenset[str] = frozenset()
    rep: Annotated[int, Measure("Rep", "number inside its set, from 1", head="rep")]
    phases: Phases
    gate_s: Annotated[
        float | None,
        Measure("Gate passed", "instant the arm left the start gate; the verdict is known then", 2),
    ]
    bottom_rad: Annotated[
        float | None,
        Measure("Bottom of the rep", "lowest angle before the rep", 1, "mean", spread=False, needs=AT_START),
    ]
    bottom_se_rad: float | None = None
    top_rad: Annotated[
        float | None,
        Measure("Top of the rep", "highest angle", 1, "mean", head="top", rank=4, needs=AT_TOP),
    ]
    top_se_rad: float | None
    rom_rad: Annotated[
        float | None,
        Measure(
            "Range of motion",
            "range of motion, top minus bottom",
            1,
            "mean",
            better="higher",
            head="ROM",
            rank=1,
            needs=RAISING,
        ),
    ]
    rom_se_rad: float | None
    concentric_s: Annotated[
        float | None, Measure("Concentric", "time raising", 2, "mean", head="raise", needs=RAISING)
    ]
    concentric_se_s: float | None = None
    hold_s: Annotated[
        float | None, Measure("Hold", "time at the top", 2, "mean", spread=False, head="hold", needs=HOLDING)
    ]
    hold_se_s: float | None = None
    eccentric_s: Annotated[
        float | None, Measure("Eccentric", "time lowering", 2, "mean", head="lower", needs=LOWERING)
    ]
    eccentric_se_s: float | None = None
    time_under_tension_s: Annotated[
        float | None,
        Measure("Time under tension", "sum of the three", 1, "mean", head="TUT", rank=2, needs=WHOLE),
    ]
    time_under_tension_se_s: float | None = None
    pause_s: Annotated[
        float | None,
        Measure(
            "Pause", "to the next rep's start; empty for the last rep", 2, "mean", spread=False, needs=AT_END
        ),
    ]
    start_velocity_rad_s: Annotated[
        float | None,
        Measure(
            "Start velocity", "width of the start gate over the time through it", 0, "mean", head="start"
        ),
    ]
    start_velocity_se_rad_s: float | None
    start_ratio: Annotated[
        float | None,
        Measure(
            "Start against a smooth raise",
            "start velocity over that of a minimum-jerk raise as large whose concentric, by the same limits, lasts "
            "as long; above 1 front-loaded",
            2,
            "mean",
            head="start ratio",
            rank=11,
            needs=RAISING,
        ),
    ] = None
    start_ratio_se: float | None = None
    start_verdict: Annotated[
        str | None, Measure("Start was", "below, inside or above the target band; empty without one")
    ]
    told_velocity_rad_s: Annotated[
        float | None,
        Measure(
            "Start velocity told live",
            "start velocity as told live at the gate; empty for a finished recording",
        ),
    ] = None
    told_velocity_se_rad_s: float | None = None
    mean_concentric_rad_s: Annotated[
        float | None,
        Measure(
            "Mean raising velocity",
            "angle travelled over time",
            0,
            "mean",
            head="mean",
            rank=7,
            needs=RAISING,
        ),
    ]
    mean_concentric_se_rad_s: float | None = None
    mean_eccentric_rad_s: Annotated[
        float | None,
        Measure("Mean lowering velocity", "angle travelled over time, positive", 1, "mean", needs=LOWERING),
    ]
    mean_eccentric_se_rad_s: float | None = None
    peak_concentric_rad_s: Annotated[
        float | None,
        Measure(
            "Peak raising velocity", "largest rate raising", 0, "mean", head="peak", rank=8, needs=RAISING
        ),
    ]
    peak_concentric_se_rad_s: float | None = None
    peak_eccentric_rad_s: Annotated[
        float | None,
        Measure("Peak lowering velocity", "largest rate lowering, positive", 0, "mean", needs=LOWERING),
    ]
    peak_eccentric_se_rad_s: float | None = None
    peak_concentric_at_rad: Annotated[
        float | None,
        Measure(
            "Angle of the peak velocity",
            "angle of the largest rate raising",
            0,
            "mean",
            spread=False,
            needs=RAISING,
        ),
    ]
    drive_angle_rad: Annotated[
        float | None,
        Measure(
            "End of the drive",
            "angle where the drive ends, which is by definition where the raising rate peaks: the angle of the peak "
            "velocity once more, beside the other measures of the drive",
            0,
            "mean",
            spread=False,
            needs=RAISING,
        ),
    ] = None
    time_to_peak_s: Annotated[
        float | None,
        Measure(
            "Time to the peak velocity",
            "from the start to the largest rate raising",
            2,
            "mean",
            needs=RAISING,
        ),
    ]
    time_to_peak_se_s: float | None = None
    loaded_range_s: Annotated[
        float | None,
        Measure(
            "Time in the loaded range",
            "time inside the loaded range, both directions",
            1,
            "mean",
            head="loaded",
            rank=5,
            needs=WHOLE,
        ),
    ]
    loaded_range_se_s: float | None = None
    lowering_ratio: Annotated[
        float | None,
        Measure("Lowering over raising", "eccentric over concentric time", 2, "mean", needs=WHOLE),
    ] = None
    least_held_share: Annotated[
        float | None,
        Measure(
            "Least held while lowering",
            "least share of the static moment held while lowering; 100 as if still, 0 free fall",
            0,
            "mean",
            spread=False,
            head="held",
            rank=6,
            needs=LOWERING,
        ),
    ] = None
    least_held_se_share: float | None = None
    plane_rad: Annotated[
        float | None,
        Measure(
            "Plane of elevation",
            "plane of elevation, 0 to the side, 90 to the front; empty without a reference",
            0,
            "direction",
            head="plane",
            rank=9,
            needs=RAISING,
        ),
    ]
    plane_se_rad: float | None = None
    hand_rotation_rad: Annotated[
        float | None,
        Measure(
            "Hand rotation at the top",
            "thumb above level at the top; empty without a reference",
            0,
            "mean",
            spread=False,
            head="hand",
            rank=10,
            needs=AT_TOP,
        ),
    ]
    hand_rotation_se_rad: float | None = None
    hand_rotation_change_rad: Annotated[
        float | None,
        Measure(
            "Change of hand rotation",
            "hand rotation from hang to top",
            0,
            "mean",
            spread=False,
            needs=RAISING,
        ),
    ]
    smoothness_sparc: Annotated[
        float | None,
        Measure(
            "Smoothness (SPARC)",
            "spectral arc length of the concentric; closer to zero is smoother",
            3,
            "mean",
            needs=RAISING,
        ),
    ]
    body_swing_m: Annotated[
        float | None,
        Measure(
            "Body swing",
            "travel of the shoulder in the concentric beyond what it does on the lowering",
            1,
            "mean",
            spread=False,
            head="swing",
            rank=6,
        ),
    ]
    body_swing_se_m: float | None
    body_swing_reason: Annotated[
        str | None, Measure("Why no body swing", "why there is no body swing; empty with one")
    ] = None
    swing_tipping_m: Annotated[
        float | None,
        Measure(
            "Body swing by tipping",
            "travel of the shoulder by the trunk's tipping about the hips; empty without a chest sensor",
            1,
            "mean",
            spread=False,
        ),
    ] = None
    swing_shifting_m: Annotated[
        float | None,
        Measure(
            "Body swing by shifting",
            "travel of the shoulder beyond the trunk's tipping; empty without a chest sensor",
            1,
            "mean",
            spread=False,
        ),
    ] = None
    trunk_lean_rad: Annotated[
        float | None,
        Measure(
            "Trunk lean",
            "lean of the trunk at the start against standing still; empty without a chest sensor",
            1,
            "mean",
            spread=False,
            needs=AT_START,
        ),
    ] = None
    trunk_travel_rad: Annotated[
        float | None,
        Measure(
            "Trunk travel",
            "change of the trunk's lean in the concentric; empty without a chest sensor",
            1,
            "mean",
            spread=False,
            needs=RAISING,
        ),
    ] = None
    trunk_forward_rad: Annotated[
        float | None,
        Measure(
            "Trunk travel, forward",
            "farthest the trunk tipped forward (+) or back (−) in the concentric",
            1,
            "mean",
            spread=False,
            needs=RAISING,
        ),
    ] = None
    trunk_sideways_rad: Annotated[
        float | None,
        Measure(
            "Trunk travel, sideways",
            "farthest it tipped toward the arm (+) or away from it (−) in the concentric",
            1,
            "mean",
            spread=False,
            needs=RAISING,
        ),
    ] = None
    elevation_to_trunk_rad: Annotated[
        float | None,
        Measure(
            "Elevation against the trunk",
            "arm line against the trunk's long axis at the top; empty without a chest sensor",
            0,
            "mean",
            spread=False,
            needs=AT_TOP,
        ),
    ] = None
    quality: Annotated[
        tuple[str, ...],
        Measure("Flags", "flags of what is to be known of the rep; armarc measures tells them"),
    ] = ()
    clean: Annotated[
        bool,
        Measure("Clean", "a full rep: not partial, swung, dropped or cut, no samples missing or clipped"),
    ] = True


@dataclass(frozen=True, slots=True, kw_only=True)
class MeasuredSet:
    """Consecutive reps of one exercise without a long rest between them."""

    set: int
    start_s: float
    end_s: float
    reps: tuple[Rep, ...] = field(repr=False)
    exercise: str
    side: str | None
    band: Band | None
    load_kg: float | None = None
    warnings: tuple[str, ...] = field(default_factory=tuple)
