"""The training log: every set with its raw recording, what people said of it, what changed since.

Names are loaded when first used, so that a command without the log does not load the database library.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from armarc.log.adding import Added, add_result, log_session
    from armarc.log.fatigue import Fatigue, fatigue_of
    from armarc.log.labels import Labels
    from armarc.log.reading import Filter, LoggedSet, choose_sets, list_sets, result_of
    from armarc.log.store import Store, open_log

_HOMES = {
    "Added": "adding",
    "Fatigue": "fatigue",
    "Filter": "reading",
    "Labels": "labels",
    "LoggedSet": "reading",
    "Store": "store",
    "add_result": "adding",
    "choose_sets": "reading",
    "fatigue_of": "fatigue",
    "list_sets": "reading",
    "log_session": "adding",
    "open_log": "store",
    "result_of": "reading",
}

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


def __getattr__(name: str) -> Any:
    if name in _HOMES:
        return getattr(import_module(f"armarc.log.{_HOMES[name]}"), name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
