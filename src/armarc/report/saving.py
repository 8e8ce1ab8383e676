"""Writing pictures to files."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import matplotlib as mpl

from armarc.errors import UsageError
from armarc.outputs import CAREFUL, PICTURE, Guard
from armarc.report.style import DOTS_PER_INCH

if TYPE_CHECKING:
    from matplotlib.figure import Figure

_METADATA: dict[str, dict[str, Any]] = {
    ".png": {"Software": "armarc"},
    ".svg": {"Date": None, "Creator": "armarc"},
    ".pdf": {"CreationDate": None, "Creator": "armarc"},
}


def save_figure(figure: Figure, path: str | Path, guard: Guard = CAREFUL) -> None:
    """Write a picture; the ending of the name says which kind. The same picture gives the same bytes.

    Raises
    ------
    UsageError
        Another ending, a place that cannot be written to, or a file there that `guard` keeps.
    """
    path = Path(path)
    suffix = path.suffix.lower()
    if suffix not in _METADATA:
        raise UsageError(
            f"cannot write a picture named {path.name!r}", f"end the name in {', '.join(_METADATA)}"
        )
    with (
        guard.open(path, PICTURE) as stream,
        mpl.rc_context({"svg.hashsalt": "armarc", "pdf.compression": 6}),
    ):
        figure.savefig(
            stream,
            format=suffix[1:],
            dpi=DOTS_PER_INCH,
            facecolor=figure.get_facecolor(),
            metadata=_METADATA[suffix],
        )
