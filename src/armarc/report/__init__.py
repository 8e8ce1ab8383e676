"""Pictures and tables of measured sets.

Names are loaded when first used, so that a table does not load the plotting library.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from armarc.lazy import on_first_use

if TYPE_CHECKING:
    from armarc.report.session_figure import draw_session
    from armarc.report.set_figure import draw_set
    from armarc.report.sizes import save_figure
    from armarc.report.tables import plain_set, print_set, set_table, summary_block

__all__ = ["draw_session", "draw_set", "plain_set", "print_set", "save_figure", "set_table", "summary_block"]

__getattr__ = on_first_use(
    __name__,
    {
        "session_figure": "draw_session",
        "set_figure": "draw_set",
        "sizes": "save_figure",
        "tables": "plain_set print_set set_table summary_block",
    },
)
