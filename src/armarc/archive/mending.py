"""Find damaged or missing parts of an archive and take them out, so that their recordings are measured again."""

from __future__ import annotations

import contextlib
from collections.abc import Mapping
from typing import Any

from armarc.archive.optional import pyarrow
from armarc.archive.schema import TABLE_NAMES
from armarc.archive.store import ArchiveStore
from armarc.errors import InputError


def mend(store: ArchiveStore, run: str) -> list[str]:
    """Take out every part of a run that cannot be read as it was written; what was wrong, one line each.

    Everything is read once, page by page with its checksums, and forgotten again: about a second per gigabyte.
    """
    said = []
    for part in store.part_names(run):
        try:
            fault = fault_of(store, run, part, store.entry(run, part))
        except InputError as error:
            fault = str(error)
        if fault:
            store.drop(run, part)
            said.append(f"{part}: {fault}")
    return said


def fault_of(store: ArchiveStore, run: str, part: str, entry: Mapping[str, Any]) -> str:
    """What is wrong with a part; empty when nothing is."""
    parquet = pyarrow("parquet")
    rows = entry.get("rows")
    if not isinstance(rows, dict):
        return "its manifest is not what an archive writes"
    for name in TABLE_NAMES:
        path = store.path(name, run, part)
        promised = rows.get(name, 0)
        # Failed recordings that were forgotten leave fewer rows of these two than the part began with.
        may_shrink = name in ("files", "failures")
        if not path.exists():
            if promised and name != "failures":
                return f"{path.name} of {name} is missing"
            continue
        found = 0
        try:
            with contextlib.closing(parquet.ParquetFile(path, page_checksum_verification=True)) as file:
                for batch in file.iter_batches():
                    found += batch.num_rows
        except Exception as error:  # pyarrow raises many kinds for damaged files
            return f"{path.name} of {name} cannot be read ({type(error).__name__})"
        if found > promised or (found < promised and not may_shrink):
            return f"{path.name} of {name} has {found} rows, {promised} were written"
    return ""
