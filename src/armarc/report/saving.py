"""Writing pictures to files."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import matplotlib as mpl

from armarc.errors import UsageError
from armarc.report.style import DOTS_PER_INCH

if TYPE_CHECKING:
    from matplotlib.figure import Figure

_METADATA: dict[str, dict[str, Any]] = {
    ".png": {},
    ".svg": {"Date": None},
    ".pdf": {"CreationDate": None},
}


def save_figure(figure: Figure, path: str | Path) -> None:
    """Write a picture; the ending of the name says which kind. The same picture gives the same bytes.

    Raises
    ------
    UsageError
        Another ending, or a place that cannot be written to.
    """
    path = Path(path)
    suffix = path.suffix.lower()
    if suffix not in _METADATA:
        raise UsageError(
            f"cannot write a picture named {path.name!r}", f"end the name in {', '.join(_METADATA)}"
        )
    try:
        with mpl.rc_context({"svg.hashsalt": "armarc", "pdf.compression": 6}):
            figure.savefig(
                path,
                format=suffix[1:],
                dpi=DOTS_PER_INCH,
                facecolor=figure.get_facecolor(),
                metadata=_METADATA[suffix],
            )
    except OSError as error:
        raise UsageError(
            f"cannot write {path}: {error.strerror or error}",
            "choose a folder that exists and may be written",
        ) from error
