"""The training log: every set with its raw recording, what people said of it, what changed since.

Names are loaded when first used, so that a command without the log does not load the database library.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from armarc.lazy import on_first_use

if TYPE_CHECKING:
    from armarc.log.adding import Added, add_result, log_session
    from armarc.log.fatigue import Fatigue, fatigue_of
    from armarc.log.labels import Labels
    from armarc.log.reading import Filter, LoggedSet, choose_sets, list_sets, result_of
    from armarc.log.store import Store, open_log

__all__ = [
    "Added",
    "Fatigue",
    "Filter",
    "Labels",
    "LoggedSet",
    "Store",
    "add_result",
    "choose_sets",
    "fatigue_of",
    "list_sets",
    "log_session",
    "open_log",
    "result_of",
]

__getattr__ = on_first_use(
    __name__,
    {
        "adding": "Added add_result log_session",
        "fatigue": "Fatigue fatigue_of",
        "labels": "Labels",
        "reading": "Filter LoggedSet choose_sets list_sets result_of",
        "store": "Store open_log",
    },
)
