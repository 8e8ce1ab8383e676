"""The log as tables and files for other programs."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Sequence
from importlib.util import find_spec
from typing import TYPE_CHECKING, Any, BinaryIO

from armarc.computer import how_to_add
from armarc.errors import UsageError
from armarc.log.measures import LOADS
from armarc.log.reading import Filter, LoggedSet, list_sets, reps_by_set
from armarc.log.records import SCHEMA, logged_record
from armarc.log.schema import REP_NUMBERS
from armarc.log.store import Store
from armarc.measures import columns
from armarc.outputs import JSON, PARQUET, TABLE, safe_cell
from armarc.reps.flags import FLAGS
from armarc.reps.summary import SetSummary
from armarc.reps.types import Rep

if TYPE_CHECKING:
    import pandas as pd

_AT_ONCE = 500
"""Sets that are read and written together."""
FORMATS = {"csv": TABLE, "parquet": PARQUET, "json": JSON}
SET_COLUMNS = (
    "id",
    "done_at",
    "day",
    "session",
    "lifter",
    "exercise",
    "variant",
    "side",
    "load_kg",
    "rir",
    "rpe",
    "pain",
    "pain_place",
    "pain_at_deg",
    "note",
    "tags",
    "reps",
)


def sets_table(entries: Sequence[LoggedSet]) -> list[dict[str, object]]:
    """One row per set: labels, then every plain number or text of the summary."""
    rows = []
    for entry in entries:
        record = logged_record(entry)
        row = {name: record[name] for name in SET_COLUMNS}
        row["tags"] = " ".join(entry.tags)
        for key, value in entry.summary.items():
            if key == "in_band":
                value = value or {"count": None, "share": None}  # a set without a band has none
            if isinstance(value, dict):
                row |= {f"{key}_{part}": inner for part, inner in value.items()}
            elif key not in row and (value is None or isinstance(value, int | float | str)):
                row[key] = value
        rows.append(row)
    return _squared(rows)


def reps_table(entries: Sequence[LoggedSet], reps: dict[int, list[dict[str, Any]]]) -> list[dict[str, Any]]:
    """One row per rep: the labels of its set, then the published keys of the rep."""
    rows = []
    for entry in entries:
        record = logged_record(entry)
        labels = {name: record[name] for name in SET_COLUMNS if name not in ("reps", "id")}
        labels["tags"] = " ".join(entry.tags)
        for rep in reps[entry.id]:
            measured = {**rep, "quality": " ".join(rep["quality"])}
            plain = {k: v for k, v in measured.items() if v is None or isinstance(v, int | float | str)}
            rows.append({"set_id": entry.id, **labels, **plain})
    return _squared(rows)


def frame(store: Store, where: Filter | None = None, *, per: str = "rep") -> pd.DataFrame:
    """The log as a pandas table, oldest set first.

    Parameters
    ----------
    store : Store
    where : Filter or None
    per : str
        ``"rep"`` or ``"set"``: what a row is.
    """
    import pandas as pd

    rows = _rows(store, where, per)
    table = pd.DataFrame(rows)
    for name in (*REP_NUMBERS, "load_kg", "rir", "rpe", "pain", "pain_at_deg"):
        if name in table:
            table[name] = table[name].astype("float64")
    return table


def export(
    store: Store, stream: BinaryIO, kind: str, where: Filter | None = None, *, per: str = "rep"
) -> int:
    """Write the log to a binary stream; returns the number of rows (of sets for JSON).

    Raises
    ------
    UsageError
        For an unknown format, or Parquet without its package.
    """
    if kind == "json":
        return _write_json(store, stream, list_sets(store, where)[::-1])
    if kind == "csv":
        return _write_csv(store, stream, list_sets(store, where)[::-1], per)
    if kind == "parquet":
        if find_spec("pyarrow") is None:
            raise UsageError("Parquet needs the package pyarrow", how_to_add("parquet"))
        table = frame(store, where, per=per)
        table.attrs = {"made_by": "armarc"}  # so that it is known again as ours
        table.to_parquet(stream, index=False)
        return len(table)
    raise UsageError(f"{kind!r} is no export format", f"choose from: {', '.join(FORMATS)}")


def _write_json(store: Store, stream: BinaryIO, entries: list[LoggedSet]) -> int:
    """One document, written as it is read: a log need not fit into memory."""
    head, foot = f'{{\n "schema": {json.dumps(SCHEMA)},\n "sets": [', "]\n}\n"
    between = head + "\n  "
    for part in _parts(entries):
        reps = reps_by_set(store, [entry.id for entry in part])
        for entry in part:
            record = logged_record(entry, reps[entry.id])
            text = json.dumps(record, ensure_ascii=False, indent=1, allow_nan=False)
            stream.write((between + text.replace("\n", "\n  ")).encode())
            between = ",\n  "
    stream.write((f"\n {foot}" if entries else head + foot).encode())
    return len(entries)


def _write_csv(store: Store, stream: BinaryIO, entries: list[LoggedSet], per: str) -> int:
    """Read twice where it is long, first for the columns: a log need not fit into memory."""
    parts = _parts(entries)
    tables = (
        [_table(store, parts[0], per)] if len(parts) == 1 else (_table(store, part, per) for part in parts)
    )
    names = dict.fromkeys(name for rows in tables for name in (rows[0] if rows else ()))
    columns = list(names) or ["set_id" if per == "rep" else "id", *SET_COLUMNS[1:]]
    text = io.TextIOWrapper(stream, encoding="utf-8", newline="", write_through=True)
    writer = csv.writer(text, lineterminator="\r\n")
    writer.writerow(columns)
    count = 0
    for rows in tables if len(parts) == 1 else (_table(store, part, per) for part in parts):
        count += len(rows)
        cells = ((row.get(name) for name in columns) for row in rows)
        writer.writerows([safe_cell(v) if isinstance(v, str) else v for v in row] for row in cells)
    text.detach()
    return count


def _parts(entries: list[LoggedSet]) -> list[list[LoggedSet]]:
    return [entries[at : at + _AT_ONCE] for at in range(0, max(len(entries), 1), _AT_ONCE)]


def _rows(store: Store, where: Filter | None, per: str) -> list[dict[str, object]]:
    return _table(store, list_sets(store, where)[::-1], per)


def _table(store: Store, entries: list[LoggedSet], per: str) -> list[dict[str, object]]:
    if per == "set":
        return sets_table(entries)
    if per == "rep":
        return reps_table(entries, reps_by_set(store, [entry.id for entry in entries]))
    raise UsageError(f"{per!r} is no kind of row", "choose rep or set")


def _squared(rows: list[dict[str, object]]) -> list[dict[str, object]]:
    """Give every row every column, in order of first appearance."""
    names = list(dict.fromkeys(key for row in rows for key in row))
    if all(len(row) == len(names) for row in rows) and all(list(row) == names for row in rows):
        return rows
    return [{name: row.get(name) for name in names} for row in rows]


def codebook() -> str:
    """What the columns of an export mean, as a table in Markdown: key, unit, meaning, standard error."""
    lines = ["# Codebook", "", "Written by armarc beside its data. Angles in degrees, times in seconds.", ""]
    for title, table in (("Of a rep", columns(Rep)), ("Of a set", columns(SetSummary))):
        errors = {id(each.measure) for each in table if each.is_error}
        lines += [f"## {title}", "", "| key | unit | meaning | standard error |", "|---|---|---|---|"]
        lines += [
            f"| `{each.key}` | {each.unit.sign} | {each.meaning} | "
            f"{f'`{each.key}_se`' if id(each.measure) in errors else ''} |"
            for each in table
            if not each.is_error
        ]
        lines.append("")
    lines += [
        "## Load, where one was stated (estimates from body tables)",
        "",
        "| key | unit | meaning |",
        "|---|---|---|",
    ]
    lines += [f"| `{c.key}` | {c.unit.sign} | {c.meaning} |" for c in LOADS]
    lines += [
        "",
        "A set also has `mean_KEY`, the mean over its full reps, `cv_KEY_pct`, 100·SD/mean, and `in_band_count` and "
        "`in_band_share`, starts inside its working band.",
        "",
        "## Flags in `quality`",
        "",
        "| flag | meaning |",
        "|---|---|",
        *(f"| `{flag}` | {meaning} |" for flag, meaning in FLAGS.items()),
        "",
    ]
    return "\n".join(lines)
