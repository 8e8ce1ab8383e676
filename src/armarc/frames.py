"""A measured recording as tables to go on working with."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from armarc.measures import columns
from armarc.motion import ArmMotion
from armarc.reps import MeasuredSet, Rep
from armarc.results import Result

if TYPE_CHECKING:
    import pandas as pd

PHASES = ("raising", "top", "lowering", "bottom")
"""Between a rep's four instants; ``bottom`` lasts until the next rep of the set."""


def samples_frame(
    motions: Sequence[ArmMotion], motion_of_set: Sequence[int], sets: Sequence[MeasuredSet]
) -> pd.DataFrame:
    """The evenly sampled pieces that were measured, one row a sample.

    Parameters
    ----------
    motions : sequence of ArmMotion
    motion_of_set : sequence of int
        For each set the index of its motion.
    sets : sequence of MeasuredSet

    Returns
    -------
    DataFrame
        ``time_s``, ``set`` and ``rep`` (0 outside), ``phase`` (see `PHASES`, empty outside), ``angle_deg``,
        ``rate_deg_s``, ``elevation_deg``, ``plane_deg`` and ``hand_rotation_deg`` (NaN where not known), ``qw … qz``
        (sensor to global, z up), ``ax_m_s2 …`` and ``gx_rad_s …`` (sensor axes, the gyroscope's bias removed),
        ``missing`` (filled in), ``clipped``.
    """
    import pandas as pd

    if not motions:
        return pd.DataFrame()
    parts = []
    for number, motion in enumerate(motions):
        own = [one for one, k in zip(sets, motion_of_set, strict=True) if k == number]
        parts.append(pd.DataFrame(_columns(motion, own)))
    return pd.concat(parts, ignore_index=True)


def _columns(motion: ArmMotion, sets: Sequence[MeasuredSet]) -> dict[str, object]:
    time_s = motion.time_s
    n = len(time_s)
    in_set, in_rep = np.zeros(n, np.int32), np.zeros(n, np.int32)
    phase = np.full(n, "", dtype=object)
    for one in sets:
        for rep, after in zip(one.reps, [*one.reps[1:], None], strict=True):
            p = rep.phases
            until = p.end_s if after is None else after.phases.start_s
            edges = np.searchsorted(time_s, [p.start_s, p.top_start_s, p.top_end_s, p.end_s, until])
            in_set[edges[0] : edges[4]], in_rep[edges[0] : edges[4]] = one.set, rep.rep
            for name, first, stop in zip(PHASES, edges[:4], edges[1:], strict=True):
                phase[first:stop] = name

    def degrees(values: Any) -> Any:
        return np.full(n, np.nan) if values is None else np.degrees(values)

    return {
        "time_s": time_s,
        "set": in_set,
        "rep": in_rep,
        "phase": phase,
        "angle_deg": degrees(motion.angle_rad),
        "rate_deg_s": degrees(motion.angle_rate_rad_s),
        "elevation_deg": degrees(motion.elevation_rad),
        "plane_deg": degrees(motion.plane_rad),
        "hand_rotation_deg": degrees(motion.hand_rotation_rad),
        **{f"q{axis}": motion.quaternion[:, i] for i, axis in enumerate("wxyz")},
        **{f"a{axis}_m_s2": motion.specific_force_m_s2[:, i] for i, axis in enumerate("xyz")},
        **{f"g{axis}_rad_s": motion.angular_velocity_rad_s[:, i] for i, axis in enumerate("xyz")},
        "missing": motion.missing,
        "clipped": motion.clipped,
    }


def reps_frame(result: Result) -> pd.DataFrame:
    """All reps of a result as one table, a row a rep.

    Returns
    -------
    DataFrame
        ``set``, the published keys of a rep (`quality` as one text), and where a load is known those of what the
        shoulder did, as in ``armarc process --csv``. Without a rep it is empty and has the columns all the same.
    """
    import pandas as pd

    rows = [
        {"set": one.set, **rep, "quality": " ".join(rep["quality"])}
        for one in result.sets
        for rep in one.rep_records()
    ]
    return pd.DataFrame(rows, columns=None if rows else ["set", *(each.key for each in columns(Rep))])


def summary_frame(result: Result) -> pd.DataFrame:
    """All sets of a result as one table, a row a set.

    Returns
    -------
    DataFrame
        ``set``, ``start_s``, ``end_s``, the keys of the summary (``in_band`` as ``in_band_count`` and
        ``in_band_share``), and with a known load those of the load's summary that are single numbers.
    """
    import pandas as pd

    rows = []
    for one in result.sets:
        load = (one.record().get("load") or {}).get("summary", {})
        rows.append(
            {
                **one.flat_record(),
                **{key: value for key, value in load.items() if not isinstance(value, list)},
            }
        )
    return pd.DataFrame(rows)
