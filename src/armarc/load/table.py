"""The table of measures of a rep's load, rows as in `armarc.measures`, and sentences beside every moment."""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import Annotated

from armarc.measures import Measure
from armarc.reps.types import HOLDING, LOWERING, RAISING, WHOLE

MOMENT_CAUTION = (
    "Moments are net resultant estimates from body tables and the stated load (a person's own segments may "
    "differ by 10-20 %, from memory); they are not muscle, tendon or joint contact forces."
)
SWING_CAUTION = "Shares of body swing and start speeds are descriptive: not advice to swing a load."
PAIN_CAUTION = "Pain means stop."
LOAD_CAUTIONS = (MOMENT_CAUTION, SWING_CAUTION, PAIN_CAUTION)


SWINGS = {"body_swing_work_share": "body_swing_work", "drive_swing_work_share": "drive_swing_work"}
"""Share of body swing work -> published stem: the first over the whole concentric, where up and back cancel, the
second over the drive, from rest at the bottom to the peak of the speed."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LoadMeasures:
    """What the shoulder did in one rep; or, in the same places, the standard errors of it.

    Fields without a `Measure` stay inside: work of the swing over the concentric, all work of the drive (from rest at
    the bottom to the peak of θ̇), and that of the swing in it. None where there is no loaded range, swing or hold, NaN
    or None where the recording cuts the rep.
    """

    peak_moment_n_m: Annotated[
        float,
        Measure("Peak moment", "largest net moment about the movement axis, start to end", 1, needs=WHOLE),
    ]
    peak_moment_at_rad: Annotated[
        float, Measure("Angle of the peak moment", "angle of the largest net moment", 0, needs=WHOLE)
    ]
    peak_concentric_moment_n_m: Annotated[
        float,
        Measure(
            "Peak moment raising",
            "largest net moment while the arm is raised, without the hold",
            1,
            needs=RAISING,
        ),
    ]
    peak_concentric_moment_at_rad: Annotated[
        float, Measure("Angle of the peak moment raising", "its angle", 0, needs=RAISING)
    ]
    peak_eccentric_moment_n_m: Annotated[
        float,
        Measure("Peak moment lowering", "largest net moment while the arm is lowered", 1, needs=LOWERING),
    ]
    mean_moment_n_m: Annotated[
        float, Measure("Mean moment", "over the time from start to end", 1, needs=WHOLE)
    ]
    mean_moment_over_angle_n_m: Annotated[
        float, Measure("Mean moment over the angle", "over the angle of the concentric", 1, needs=RAISING)
    ]
    moment_impulse_n_m_s: Annotated[
        float,
        Measure("Impulse of the moment", "net moment over time, start to end of the rep", 1, needs=WHOLE),
    ]
    concentric_work_j: Annotated[
        float, Measure("Work raising", "done by the shoulder moment", 1, needs=RAISING)
    ]
    eccentric_work_j: Annotated[
        float, Measure("Work lowering", "taken up by the shoulder moment", 1, needs=LOWERING)
    ]
    peak_power_w: Annotated[
        float, Measure("Peak power", "largest product of moment and rate", 0, needs=RAISING)
    ]
    loaded_impulse_share: Annotated[
        float | None,
        Measure(
            "Impulse in the loaded range", "share of the impulse inside the loaded range", 0, needs=WHOLE
        ),
    ]
    loaded_work_share: Annotated[
        float | None,
        Measure(
            "Work in the loaded range", "share of the raising work inside the loaded range", 0, needs=RAISING
        ),
    ]
    body_swing_work_share: Annotated[
        float | None,
        Measure(
            "Work of the swing",
            "share of the concentric's work through the moving shoulder: up and back cancel",
            1,
            needs=RAISING,
        ),
    ]
    drive_swing_work_share: Annotated[
        float | None,
        Measure(
            "Work of the swing in the drive", "the same from rest to the peak of the speed", 1, needs=RAISING
        ),
    ]
    hold_moment_n_m: Annotated[
        float | None, Measure("Moment of the hold", "mean over the hold", 1, needs=HOLDING)
    ]
    least_held_with_load_share: Annotated[
        float | None,
        Measure(
            "Least held, arm and load known",
            "least share of the static moment held while lowering",
            0,
            needs=LOWERING,
        ),
    ]
    peak_moment_phase: Annotated[
        str | None, Measure("Phase of the peak moment", "concentric, hold or eccentric", needs=WHOLE)
    ]
    swing_work_j: float | None = None
    drive_work_j: float | None = None
    drive_swing_work_j: float | None = None


NUMBERS = tuple(field.name for field in fields(LoadMeasures) if field.name != "peak_moment_phase")
"""Fields that are numbers."""
WITHOUT_ERROR = frozenset({"hold_moment_n_m", "peak_moment_phase"})
"""Keys published without a standard error."""
