"""Tables and columns of an archive, schema ``armarc.archive/1``, and the packages only it needs."""

from __future__ import annotations

from dataclasses import dataclass
from importlib import import_module
from typing import Any

from armarc.computer import how_to_add
from armarc.errors import UsageError
from armarc.measures import columns
from armarc.reps.summary import AVERAGED, VARYING, SetSummary, mean_key, spread_key
from armarc.reps.types import Rep


def pyarrow(part: str = "") -> Any:
    """The package pyarrow, or one of its parts such as ``parquet``.

    Raises
    ------
    UsageError
        It is not installed; the hint says how to install it.
    """
    return _needed(
        "pyarrow" + (f".{part}" if part else ""), "an archive needs the package pyarrow", "archive"
    )


def distributed() -> Any:
    """The package distributed.

    Raises
    ------
    UsageError
        It is not installed; the hint says how to install it.
    """
    return _needed("distributed", "a cluster needs the package distributed", "cluster")


def _needed(module: str, message: str, extra: str) -> Any:
    try:
        return import_module(module)
    except ImportError as error:
        raise UsageError(message, how_to_add(extra)) from error


SCHEMA = "armarc.archive/1"
TABLE_NAMES = ("reps", "sets", "files", "failures")


@dataclass(frozen=True, slots=True)
class TableColumn:
    """One column: name, kind (``text``, ``whole``, ``number``, ``yes/no``, ``texts``, ``numbers``) and meaning."""

    name: str
    kind: str
    meaning: str


def _columns(kind: str, **meanings: str) -> tuple[TableColumn, ...]:
    return tuple(TableColumn(name, kind, meaning) for name, meaning in meanings.items())


_WHICH = (
    TableColumn("sha256", "text", "SHA-256 of the recording's bytes; joins reps, sets, files and failures"),
    TableColumn("set", "whole", "number of the set in its recording, from 1"),
)
_WITH = (
    *_columns(
        "text",
        exercise="catalogue key it was measured as",
        side="right or left",
    ),
    TableColumn("load_kg", "number", "load in the hand, kg"),
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

REP_COLUMNS = tuple(TableColumn(each.key, each.kind, each.meaning) for each in columns(Rep))
"""The published keys of a rep, in the order of the JSON of ``armarc process``."""

_SUMMARY = (
    *(TableColumn(each.key, each.kind, each.meaning) for each in columns(SetSummary)),
    TableColumn("in_band_count", "whole", "reps with a start inside the band"),
    TableColumn("in_band_share", "number", "of the judged reps"),
    *(
        TableColumn(
            mean_key(each.key),
            "number",
            f"{'circular mean' if each.measure.average == 'direction' else 'mean'} of {each.key}",
        )
        for each in AVERAGED
    ),
    *(
        TableColumn(spread_key(each.key), "number", f"coefficient of variation of {each.key}, %")
        for each in VARYING
    ),
)

TABLES: dict[str, tuple[TableColumn, ...]] = {
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
        TableColumn("path", "text", "where the recording lay"),
        TableColumn("bytes", "whole", "size of the file"),
        TableColumn("modified_ns", "whole", "time of its last change, ns since 1970"),
        TableColumn("sha256", "text", "SHA-256 of its bytes; empty when it could not be read"),
        TableColumn(
            "status",
            "text",
            "measured, no reps, failed, known (same bytes measured before under this or another name), or chest "
            "(measured with the wrist's recording of its capture)",
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
            trunk_sha256="the chest's recording it was measured with",
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
        TableColumn("seconds", "number", "processor time spent on it, s"),
        *_STAMP,
    ),
    "failures": (
        TableColumn("path", "text", "where the recording lay"),
        TableColumn("sha256", "text", "empty when it could not be read"),
        TableColumn(
            "stage",
            "text",
            "finding (a folder that cannot be listed), reading, measuring, or worker (the process died or was slow)",
        ),
        TableColumn("error", "text", "class of the error"),
        TableColumn("message", "text", "what was wrong and where"),
        TableColumn("hint", "text", "what to do"),
        TableColumn("detail", "text", "place in the program, for a fault nobody expected"),
        TableColumn("attempts", "whole", "how often it was tried"),
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
        "yes/no": pa.bool_(),
        "texts": pa.list_(pa.string()),
        "numbers": pa.list_(pa.float64()),
    }
    fields = [pa.field(c.name, kinds[c.kind], metadata={"meaning": c.meaning}) for c in TABLES[table]]
    return pa.schema(fields, metadata={"armarc.schema": SCHEMA, "armarc.table": table})
