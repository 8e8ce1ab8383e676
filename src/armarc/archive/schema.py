"""Tables and columns of an archive, schema ``armarc.archive/1``."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from armarc.archive.optional import pyarrow
from armarc.reps.summary import AVERAGED, WITHOUT_CV

SCHEMA = "armarc.archive/1"
TABLE_NAMES = ("reps", "sets", "files", "failures")


@dataclass(frozen=True, slots=True)
class Column:
    """One column: name, kind (``text``, ``whole``, ``number``, ``yes/no``, ``texts``, ``numbers``) and meaning."""

    name: str
    kind: str
    meaning: str


def _columns(kind: str, **meanings: str) -> tuple[Column, ...]:
    return tuple(Column(name, kind, meaning) for name, meaning in meanings.items())


_WHICH = (
    Column("sha256", "text", "SHA-256 of the recording's bytes; joins reps, sets, files and failures"),
    Column("set", "whole", "number of the set in its recording, from 1"),
)
_WITH = (
    *_columns(
        "text",
        exercise="catalogue key it was measured as",
        side="right or left",
    ),
    Column("load_kg", "number", "load in the hand, kg"),
)
_HOW = (
    *_columns("text", coordinate="which angle counts", fusion="orientation method", mounting="as asked for"),
    *_columns(
        "number",
        band_low_deg_s="target band of the start velocity, °/s",
        band_high_deg_s="target band of the start velocity, °/s",
        gate_low_deg="start gate above the bottom",
        gate_high_deg="start gate above the bottom",
        loaded_range_low_deg="loaded range",
        loaded_range_high_deg="loaded range",
    ),
)
_STAMP = _columns(
    "text",
    armarc_version="version that measured",
    settings_sha256="hash of options, settings file and exercises in force; see runs/*.json",
)

REP_COLUMNS = (
    Column("rep", "whole", "number inside its set, from 1"),
    *_columns(
        "number",
        start_s="start of the concentric, s from the recording's first sample",
        top_start_s="end of the concentric",
        top_end_s="start of the eccentric",
        end_s="end of the eccentric",
        gate_s="instant the arm left the start gate; the verdict is known then",
        bottom_deg="lowest angle before the rep",
        bottom_deg_se="standard error",
        top_deg="highest angle",
        top_deg_se="standard error",
        rom_deg="range of motion, top minus bottom",
        rom_deg_se="standard error",
        concentric_s="time raising",
        concentric_s_se="standard error",
        hold_s="time at the top",
        hold_s_se="standard error",
        eccentric_s="time lowering",
        eccentric_s_se="standard error",
        time_under_tension_s="sum of the three",
        time_under_tension_s_se="standard error",
        pause_s="to the next rep's start; empty for the last rep",
        start_velocity_deg_s="width of the start gate over the time through it",
        start_velocity_deg_s_se="standard error",
    ),
    Column("start_verdict", "text", "below, inside or above the target band; empty without one"),
    *_columns(
        "number",
        told_velocity_deg_s="start velocity as told live at the gate; empty for a finished recording",
        mean_concentric_deg_s="angle travelled over time",
        mean_concentric_deg_s_se="standard error",
        mean_eccentric_deg_s="angle travelled over time, positive",
        mean_eccentric_deg_s_se="standard error",
        peak_concentric_deg_s="largest rate raising",
        peak_concentric_deg_s_se="standard error",
        peak_eccentric_deg_s="largest rate lowering, positive",
        peak_eccentric_deg_s_se="standard error",
        peak_concentric_at_deg="angle of the largest rate raising",
        loaded_range_s="time inside the loaded range, both directions",
        loaded_range_s_se="standard error",
        plane_deg="plane of elevation, 0 to the side, 90 to the front; empty without a reference",
        plane_deg_se="standard error",
        hand_rotation_deg="thumb above level at the top; empty without a reference",
        hand_rotation_deg_se="standard error",
        hand_rotation_change_deg="hand rotation from hang to top",
        smoothness_sparc="spectral arc length of the concentric; closer to zero is smoother",
        body_swing_cm="travel of the shoulder in the concentric beyond what it does on the lowering",
        body_swing_cm_se="standard error",
    ),
    Column("body_swing_reason", "text", "why there is no body swing; empty with one"),
    Column("quality", "texts", "flags; an empty list is a clean rep"),
)
"""The published keys of a rep, in the order of the JSON of ``armarc process``."""

_SUMMARY = (
    Column("reps", "whole", "reps of the set"),
    *_columns(
        "number",
        duration_s="first start to last end",
        time_under_tension_s="sum over the reps",
        loaded_range_s="sum over the reps",
    ),
    Column("tempo", "text", "eccentric/pause/concentric/hold, whole seconds"),
    *_columns(
        "number",
        velocity_loss_pct="100·(best − last)/best of the mean concentric velocity",
        rom_loss_pct="100·(best − last)/best of the range of motion",
    ),
    Column("in_band_count", "whole", "reps with a start inside the band"),
    Column("in_band_share", "number", "of the judged reps"),
    *(
        Column(key if key.startswith("mean_") else f"mean_{key}", "number", f"mean of {key}")
        for key in AVERAGED
    ),
    *(
        Column(f"cv_{key}_pct", "number", f"coefficient of variation of {key}, %")
        for key in AVERAGED
        if key not in WITHOUT_CV
    ),
    Column("mean_plane_deg", "number", "circular mean of plane_deg"),
)

TABLES: dict[str, tuple[Column, ...]] = {
    "reps": (*_WHICH, *_WITH, *_HOW, *REP_COLUMNS, *_STAMP),
    "sets": (
        *_WHICH,
        *_columns("number", start_s="first start", end_s="last end"),
        *_WITH,
        *_HOW,
        *_SUMMARY,
        *_STAMP,
    ),
    "files": (
        Column("path", "text", "where the recording lay"),
        Column("bytes", "whole", "size of the file"),
        Column("modified_ns", "whole", "time of its last change, ns since 1970"),
        Column("sha256", "text", "SHA-256 of its bytes; empty when it could not be read"),
        Column(
            "status",
            "text",
            "measured, no reps, failed, or known (same bytes measured before under this or another name)",
        ),
        *_columns("whole", sets="sets found", reps="reps found", samples="samples read"),
        *_columns("number", rate_hz="sampling rate", duration_s="length of the recording"),
        *_columns("whole", gaps="stretches without samples", duplicate_samples="left out"),
        *_columns(
            "whole", nan_samples="rows with blanks, left out", clipped_samples="at the end of the range"
        ),
        *_WITH,
        *_HOW,
        *_columns(
            "text",
            sensor="as the header says",
            strap="place on the wrist in force",
            hand_axis="sensor axis to the hand in force",
            started_at="as the header says",
            note="as the header says",
            other_metadata="further keys of the header, JSON",
            column_names="which column was taken as what, JSON",
            units="units of the file, JSON",
            mounting_method="how the arm's direction in the sensor was found",
        ),
        *_columns("number", mounting_uncertainty_deg="of that direction", reach_m="shoulder to sensor"),
        *_columns("numbers", arm_axis="arm line in sensor axes", gyroscope_bias_deg_s="per sensor axis"),
        *_columns(
            "texts", warnings="what was repaired, left out or assumed", inferences="what was recognised"
        ),
        Column("seconds", "number", "processor time spent on it, s"),
        *_STAMP,
    ),
    "failures": (
        Column("path", "text", "where the recording lay"),
        Column("sha256", "text", "empty when it could not be read"),
        Column("stage", "text", "reading, measuring, or worker (the process died or took too long)"),
        Column("error", "text", "class of the error"),
        Column("message", "text", "what was wrong and where"),
        Column("hint", "text", "what to do"),
        Column("detail", "text", "place in the program, for a fault nobody expected"),
        Column("attempts", "whole", "how often it was tried"),
        *_STAMP,
    ),
}
"""Columns by table. The folder ``run=…`` of the partition comes on top as the text column ``run``."""


def arrow_schema(table: str) -> Any:
    """Arrow schema of a table, with the name of the schema and the meanings as metadata."""
    pa = pyarrow()
    kinds = {
        "text": pa.string(),
        "whole": pa.int64(),
        "number": pa.float64(),
        "texts": pa.list_(pa.string()),
        "numbers": pa.list_(pa.float64()),
    }
    fields = [pa.field(c.name, kinds[c.kind], metadata={"meaning": c.meaning}) for c in TABLES[table]]
    return pa.schema(fields, metadata={"armarc.schema": SCHEMA, "armarc.table": table})
