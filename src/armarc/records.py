"""A measured recording as one JSON-ready object."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

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
