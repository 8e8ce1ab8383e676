"""Pictures and tables of measured sets.

Names are loaded when first used, so that a table does not load the plotting library.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from armarc.report.session_figure import draw_session
    from armarc.report.set_figure import draw_set
    from armarc.report.sizes import save_figure
    from armarc.report.tables import plain_set, print_set, set_table, summary_block

_HOMES = {
    "draw_session": "session_figure",
    "draw_set": "set_figure",
    "plain_set": "tables",
    "print_set": "tables",
    "save_figure": "sizes",
    "set_table": "tables",
    "summary_block": "tables",
}

__all__ = ["draw_session", "draw_set", "plain_set", "print_set", "save_figure", "set_table", "summary_block"]


def __getattr__(name: str) -> Any:
    if name in _HOMES:
        return getattr(import_module(f"armarc.report.{_HOMES[name]}"), name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
