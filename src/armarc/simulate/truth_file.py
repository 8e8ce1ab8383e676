"""The truth as JSON, beside the recording: ``<name>.truth.json``.

::

    schema            "armarc.truth/1"
    note              that the data is invented
    recording         file name, samples, rate_hz, duration_s, gaps, seed
    conventions       which angle, which filter, what the instants were read from
    exercise, coordinate, side
    mounting          as the first rep begins: arm_axis, forearm_axis, thumb_axis (unit vectors, sensor axes),
                      lever_arm_m (pivot to sensor, sensor axes), reach_m, sensor_height_m, strap, hand_axis
    body              null for the rigid arm, or what it was asked to do, `armarc.simulate.Body` in degrees and cm
    events            [{what, start_s, end_s}]: start and stop pressed, walking, picking up, strap slip, …
    sensor            grade, gyroscope_bias_deg_s, zero_g_m_s2
    sets              [{set, start_s, end_s, summary, reps: [REP_KEYS]}], as the measured sets are written
    series            only when asked for: 1 kHz columns, see `SERIES_KEYS`

Times are seconds from the recording's first sample. Angles are degrees, as the names say.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np

from armarc.files import write_whole
from armarc.measures import field_of
from armarc.published import published
from armarc.recording import Recording
from armarc.simulate.session import NOTE
from armarc.simulate.truth import CUTOFF_HZ, TRUTH_RATE_HZ, Truth, TruthRep, TruthSet

SCHEMA = "armarc.truth/1"
SERIES_KEYS = (
    "time_s",
    "angle_deg",
    "angle_rate_deg_s",
    "elevation_deg",
    "plane_deg",
    "hand_rotation_deg",
    "quaternion",
    "shoulder_m",
    "torso_m",
    "elbow_deg",
    "arm_to_trunk_deg",
    "humerus_to_trunk_deg",
    "trunk_lean_deg",
)
REP_KEYS = {
    "rep": "1, 2, … in the set",
    "start_s": "last instant with rate ≤ v_on before the angle rises through bottom + 10 % of the range",
    "top_start_s": "first instant with rate ≤ v_on after it rises through top − 10 %",
    "top_end_s": "last instant with −rate ≤ v_on before it falls through top − 10 % of the way down",
    "end_s": "first instant with −rate ≤ v_on after it falls through the bottom after + 10 % of the way",
    "bottom_deg": "lowest angle before",
    "top_deg": "highest angle",
    "rom_deg": "top − bottom",
    "concentric_s": "start to top",
    "hold_s": "at the top",
    "eccentric_s": "top to end",
    "time_under_tension_s": "sum of the three",
    "pause_s": "end to the next start; null for the last",
    "start_velocity_deg_s": "10° by the time from bottom + 10° to bottom + 20°; null if not reached",
    "gate_s": "instant of bottom + 20°",
    "mean_concentric_deg_s": "angle travelled by time",
    "mean_eccentric_deg_s": "angle travelled by time, positive",
    "peak_concentric_deg_s": "largest rate",
    "peak_eccentric_deg_s": "largest −rate",
    "peak_concentric_at_deg": "angle at the largest rate",
    "time_to_peak_s": "start to the largest rate",
    "loaded_range_s": "time between 30° and 60°, both ways; null unless elevation counts",
    "plane_deg": "circular mean over the concentric above 30°, weight sin²; null unless elevation counts",
    "hand_rotation_deg": "thumb above horizontal at the top",
    "smoothness_sparc": "SPARC of the rate over the concentric",
    "body_swing_cm": "largest distance between two points of the pivot's path during the concentric, without what "
    "the shoulder girdle alone adds",
    "shoulder_travel_cm": "the same with the girdle",
    "trunk_lean_deg": "trunk's long axis against the vertical at the start",
    "trunk_travel_deg": "largest less smallest lean during the concentric",
    "elevation_to_trunk_deg": "line from shoulder to wrist against the trunk at the top",
    "humerus_to_trunk_deg": "upper arm against the trunk at the top",
    "elbow_bottom_deg": "bend of the elbow at the bottom, 0 straight",
    "elbow_top_deg": "bend of the elbow at the top",
    "quality": "partial: below 70 % of the set's median range",
}


def _rounded(value: float | None) -> float | None:
    return None if value is None else round(value, 4)


def rep_record(rep: TruthRep) -> dict[str, object]:
    """The rep under the published keys (`REP_KEYS`): seconds, degrees, centimetres."""
    record: dict[str, object] = {}
    for key in REP_KEYS:
        field, unit = field_of(key)
        value = getattr(rep, field)
        if isinstance(value, tuple):
            record[key] = list(value)
        else:
            record[key] = value if value is None or key == "rep" else _rounded(value * unit.factor)
    return record


def set_record(one: TruthSet) -> dict[str, object]:
    """A set with a short summary and its reps."""
    reps = one.reps
    full = [rep for rep in reps if not rep.quality] or list(reps)
    speeds = [rep.mean_concentric_rad_s for rep in full]
    ranges = [rep.rom_rad for rep in full]
    return {
        "set": one.set,
        "start_s": _rounded(reps[0].start_s),
        "end_s": _rounded(reps[-1].end_s),
        "summary": {
            "reps": len(reps),
            "duration_s": _rounded(reps[-1].end_s - reps[0].start_s),
            "velocity_loss_pct": _rounded(100 * (max(speeds) - speeds[-1]) / max(speeds)),
            "rom_loss_pct": _rounded(100 * (max(ranges) - ranges[-1]) / max(ranges)),
        },
        "reps": [rep_record(rep) for rep in reps],
    }


def truth_record(
    truth: Truth, recording: Recording, *, file: str = "", series: bool = False
) -> dict[str, object]:
    """Everything the truth file holds, as plain lists and numbers."""
    record: dict[str, object] = {
        "schema": SCHEMA,
        "note": NOTE,
        "recording": {
            "file": file,
            "samples": len(recording.time_s),
            "rate_hz": recording.rate_hz,
            "duration_s": _rounded(recording.duration_s),
            "gaps": [
                {
                    "start_s": _rounded(gap.start_s),
                    "end_s": _rounded(gap.end_s),
                    "missing": gap.missing_samples,
                }
                for gap in recording.gaps
            ],
            "seed": truth.seed,
        },
        "conventions": {
            "arm": "line from the shoulder to the place on the bone below the sensor, against the vertical",
            "instants": f"noise-free angle at {TRUTH_RATE_HZ:g} Hz; rate low-passed at {CUTOFF_HZ:g} Hz, "
            "2nd-order Butterworth, forward and backward",
            "angles": "noise-free, not filtered; rates low-passed as above; start velocity not filtered",
            "v_on": "larger of 5 °/s and 5 % of the phase's own peak rate",
            "gate_deg": [10, 20],
            "loaded_range_deg": [30, 60],
        },
        "exercise": truth.exercise,
        "coordinate": truth.coordinate,
        "side": truth.side,
        "mounting": {
            "arm_axis": _vector(truth.arm_axis),
            "forearm_axis": _vector(truth.forearm_axis),
            "thumb_axis": _vector(truth.thumb_axis),
            "lever_arm_m": _vector(truth.lever_arm_m),
            "reach_m": round(truth.reach_m, 6),
            "sensor_height_m": truth.sensor_height_m,
            "strap": recording.metadata.strap,
            "hand_axis": recording.metadata.hand_axis,
        },
        "sensor": {
            "name": recording.metadata.sensor,
            "gyroscope_bias_deg_s": _vector(np.degrees(truth.gyroscope_bias_rad_s)),
            "zero_g_m_s2": _vector(truth.zero_g_m_s2),
        },
        "body": None if truth.body.is_rigid else published(truth.body, 4),
        "events": [published(event) for event in truth.events],
        "sets": [set_record(one) for one in truth.sets],
    }
    if series:
        s = truth.series
        columns = (
            s.time_s,
            np.degrees(s.angle_rad),
            np.degrees(s.angle_rate_rad_s),
            np.degrees(s.elevation_rad),
            np.degrees(s.plane_rad),
            np.degrees(s.hand_rotation_rad),
            s.quaternion,
            s.shoulder_m,
            s.torso_m,
            np.degrees(s.elbow_rad),
            np.degrees(s.arm_to_trunk_rad),
            np.degrees(s.humerus_to_trunk_rad),
            np.degrees(s.trunk_lean_rad),
        )
        record["series"] = {
            key: np.round(column, 6).tolist() for key, column in zip(SERIES_KEYS, columns, strict=True)
        }
    return record


def _vector(values: Any) -> list[float]:
    return [round(float(v), 6) + 0.0 for v in values]


def truth_path(csv: Path) -> Path:
    """Where the truth of a recording lies: ``set.csv`` → ``set.truth.json``."""
    return csv.with_suffix(".truth.json")


def write_truth(
    path: Path, truth: Truth, recording: Recording, *, file: str = "", series: bool = False
) -> None:
    """Write the truth file.

    Raises
    ------
    OSError
        If the file cannot be written.
    """
    record = truth_record(truth, recording, file=file, series=series)
    text = json.dumps(record, ensure_ascii=False, allow_nan=False, indent=None if series else 1)
    write_whole(path, text + "\n")


def read_truth(path: Path) -> dict[str, object]:
    """Read a truth file.

    Raises
    ------
    FormatError
        If it is none of a known version.
    """
    from armarc.errors import FormatError

    try:
        record = json.loads(path.read_text(encoding="utf-8"))
        schema = record["schema"]
    except (ValueError, KeyError, TypeError, RecursionError) as error:
        raise FormatError(
            f"not a truth file: {error}", "make one with armarc simulate", file=str(path)
        ) from None
    if schema != SCHEMA:
        raise FormatError(f"unknown schema {schema!r}", f"expected {SCHEMA}", file=str(path))
    out: dict[str, object] = record
    return out
