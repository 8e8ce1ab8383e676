"""A laboratory's archive: thousands of recordings measured into one Parquet dataset, schema ``armarc.archive/1``.

Names are loaded when first used, so that a command without the archive does not load what it needs.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from armarc.archive.process import Progress, RunResult, process_archive
    from armarc.archive.schema import SCHEMA, TABLES
    from armarc.archive.setup import Setup, make_setup
    from armarc.archive.status import archive_status, list_failures
    from armarc.archive.store import ArchiveStore

_HOMES = {
    "SCHEMA": "schema",
    "TABLES": "schema",
    "ArchiveStore": "store",
    "Progress": "process",
    "RunResult": "process",
    "Setup": "setup",
    "archive_status": "status",
    "list_failures": "status",
    "make_setup": "setup",
    "process_archive": "process",
}

__all__ = [
    "SCHEMA",
    "TABLES",
    "ArchiveStore",
    "Progress",
    "RunResult",
    "Setup",
    "archive_status",
    "list_failures",
    "make_setup",
    "process_archive",
]


def __getattr__(name: str) -> Any:
    if name in _HOMES:
        return getattr(import_module(f"armarc.archive.{_HOMES[name]}"), name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
