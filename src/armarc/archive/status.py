"""What an archive holds, run by run, and what failed in it."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from typing import Any

from armarc import __version__
from armarc.archive.schema import SCHEMA, TABLE_NAMES, pyarrow
from armarc.archive.store import ArchiveStore

_SHOWN_OPTIONS = ("options", "reading", "settings")


def archive_status(store: ArchiveStore) -> dict[str, Any]:
    """What is in an archive, JSON-ready.

    Returns
    -------
    dict
        ``schema``, ``archive``, ``runs`` (oldest first), and ``problems``: sentences about parts that are
        damaged or not complete; empty when all is well.
    """
    problems: list[str] = []
    runs = [_run_status(store, run, record, problems) for run, record in store.runs().items()]
    for name in TABLE_NAMES:
        for path in sorted((store.folder / name).glob("run=*/part-*.parquet")):
            run = path.parent.name.removeprefix("run=")
            if not (store.folder / "manifest" / run / f"{path.stem}.json").exists():
                problems.append(
                    f"{path.relative_to(store.folder)} belongs to a part that was not completed; "
                    "the next `armarc archive process` removes it and measures its recordings again"
                )
    return {"schema": SCHEMA, "archive": str(store.folder), "runs": runs, "problems": problems}


def list_failures(store: ArchiveStore, run: str | None = None) -> Iterator[dict[str, Any]]:
    """Recordings that could not be measured, as rows of the table ``failures`` with their ``run``."""
    for name in store.runs():
        if run not in (None, name):
            continue
        for table in store.tables("failures", name):
            for row in table.to_pylist():
                yield {"run": name, **row}


def _run_status(
    store: ArchiveStore, run: str, record: dict[str, object], problems: list[str]
) -> dict[str, object]:
    parquet = pyarrow("parquet")
    rows: Counter[str] = Counter()
    size = 0
    parts = store.parts(run)
    for part, entry in parts.items():
        for name in TABLE_NAMES:
            path = store.path(name, run, part)
            promised = int(entry.get("rows", {}).get(name, 0))
            # Failed recordings that were forgotten leave fewer rows of these two than the part began with.
            may_shrink = name in ("files", "failures")
            if not path.exists():
                if promised and name != "failures":
                    problems.append(f"{path.relative_to(store.folder)} is missing: restore it from a copy")
                continue
            try:
                found = parquet.ParquetFile(path).metadata.num_rows
            except Exception as error:  # pyarrow raises many kinds for damaged files
                problems.append(
                    f"{path.relative_to(store.folder)} cannot be read ({type(error).__name__}): "
                    "restore it from a copy"
                )
                continue
            if found != promised and not (may_shrink and found < promised):
                problems.append(
                    f"{path.relative_to(store.folder)} has {found} rows, {promised} were written: "
                    "restore it from a copy"
                )
            rows[name] += found
            size += path.stat().st_size
    statuses: Counter[str] = Counter()
    hours = 0.0
    if not problems:
        for table in store.tables("files", run, ["status", "duration_s"]):
            statuses.update(table["status"].to_pylist())
            hours += sum(value or 0.0 for value in table["duration_s"].to_pylist()) / 3600
    return {
        "run": run,
        "armarc_version": record.get("armarc_version"),
        "current_version": record.get("armarc_version") == __version__,
        "began_at": record.get("began_at"),
        "options": {key: record.get(key) for key in _SHOWN_OPTIONS if record.get(key)},
        "files": rows["files"],
        "measured": statuses["measured"],
        "no_reps": statuses["no reps"],
        "failed": statuses["failed"],
        "known": statuses["known"],
        "chest": statuses["chest"],
        "sets": rows["sets"],
        "reps": rows["reps"],
        "hours": round(hours, 3),
        "parts": len(parts),
        "bytes": size,
    }
