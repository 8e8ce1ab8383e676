"""A measured recording as one JSON-ready object, and as tables to go on working with."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from armarc import __version__
from armarc.choices import Choices
from armarc.motion import ArmMotion
from armarc.motion.tolerance import Tolerance
from armarc.options import OPTIONS
from armarc.recording import Recording
from armarc.reps import MeasuredSet
from armarc.reps.records import deg, seconds, set_record
from armarc.session_load import add_loads

if TYPE_CHECKING:
    import pandas as pd

    from armarc.load import SetLoad


SCHEMA = "armarc.sets/1"


def source_record(recording: Recording) -> dict[str, Any]:
    """What was read and how it was understood."""
    source = recording.source
    return {
        "file": source.file,
        "samples": len(recording.time_s),
        "rate_hz": round(recording.rate_hz, 4),
        "duration_s": seconds(recording.duration_s),
        "gaps": [
            {"start_s": seconds(g.start_s), "end_s": seconds(g.end_s), "missing_samples": g.missing_samples}
            for g in recording.gaps
        ],
        "columns": dict(source.columns),
        "units": dict(source.units),
        "inferences": list(source.inferences),
        "jitter_s": round(source.jitter_s, 6),
        "duplicate_samples": source.duplicate_samples,
        "nan_samples": source.nan_samples,
        "clipped_samples": source.clipped_samples,
        "sha256": source.sha256,
    }


STATED_ONLY = ("lifter", "resistance", "band_basis")
"""Settings that are there only where they were stated."""


def settings_record(choices: Choices) -> dict[str, Any]:
    """What the recording was measured with; null where nothing was stated."""
    known = choices.options().record()
    names = [option.outside for option in OPTIONS.values() if option.outside not in STATED_ONLY]
    return dict.fromkeys(names) | {"coordinate": choices.exercise.coordinate} | known


def mounting_record(motion: ArmMotion) -> dict[str, Any]:
    """Which way the arm lies in the sensor, and how sure that is."""
    mounting = motion.mounting

    def vector(values: Any) -> list[float] | None:
        return None if values is None else [round(float(x), 5) + 0.0 for x in values]

    return {
        "method": mounting.method,
        "arm_axis": vector(mounting.arm_axis),
        "uncertainty_deg": deg(mounting.uncertainty_rad),
        "reach_m": None if mounting.reach_m is None else round(mounting.reach_m, 4),
        "thumb_axis": vector(mounting.thumb_axis),
        "thumb_uncertainty_deg": deg(mounting.thumb_se_rad),
        "gyroscope_bias_deg_s": [deg(float(x)) for x in motion.orientation.gyroscope_bias_rad_s],
        "tilt_se_deg": deg(motion.orientation.tilt_se_rad),
        "scale_se": tolerance_record(motion.tolerance),
    }


def tolerance_record(tolerance: Tolerance) -> dict[str, Any]:
    """What the standard errors assume of the sensor's scales, and what told it: calibration, noise or nothing."""
    return {
        "gyroscope_pct": round(100 * tolerance.gyroscope, 4),
        "accelerometer_pct": round(100 * tolerance.accelerometer, 4),
        "told_by": tolerance.told_by,
    }


def session_record(
    recording: Recording,
    choices: Choices,
    motions: Sequence[ArmMotion],
    motion_of_set: Sequence[int],
    sets: Sequence[MeasuredSet],
    warnings: Sequence[str],
    left_out: Sequence[tuple[float, float, str]] = (),
    loads: Sequence[SetLoad] = (),
) -> dict[str, Any]:
    """The whole result of one recording, schema `SCHEMA`."""
    main = None
    if motions:
        counted = [
            sum(len(s.reps) for s, k in zip(sets, motion_of_set, strict=True) if k == i)
            for i in range(len(motions))
        ]
        main = motions[counted.index(max(counted))]
    settings = settings_record(choices)
    if main is not None:
        settings["coordinate"] = main.coordinate
    records = [set_record(measured) for measured in sets]
    if loads:
        add_loads(records, loads)
    return {
        "schema": SCHEMA,
        "armarc_version": __version__,
        "source": source_record(recording),
        "settings": settings,
        "mounting": None if main is None else mounting_record(main),
        "sets": records,
        "left_out": [
            {"start_s": seconds(start_s), "end_s": seconds(end_s), "reason": reason}
            for start_s, end_s, reason in left_out
        ],
        "warnings": list(warnings),
    }


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


def _columns(motion: ArmMotion, sets: Sequence[MeasuredSet]) -> dict[str, Any]:
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


def summary_frame(records: Sequence[dict[str, Any]]) -> pd.DataFrame:
    """Records of sets as one table, a row a set.

    Parameters
    ----------
    records : sequence of dict
        ``sets`` of a result.

    Returns
    -------
    DataFrame
        ``set``, ``start_s``, ``end_s``, the keys of the summary (``in_band`` as ``in_band_count`` and
        ``in_band_share``), and with a known load those of the load's summary that are single numbers.
    """
    import pandas as pd

    rows = []
    for record in records:
        summary = dict(record["summary"])
        band = summary.pop("in_band", None) or {"count": None, "share": None}
        load = (record.get("load") or {}).get("summary", {})
        rows.append(
            {
                "set": record["set"],
                "start_s": record["start_s"],
                "end_s": record["end_s"],
                **summary,
                "in_band_count": band["count"],
                "in_band_share": band["share"],
                **{key: value for key, value in load.items() if not isinstance(value, list)},
            }
        )
    return pd.DataFrame(rows)
