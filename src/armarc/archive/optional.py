"""Packages that only the archive needs."""

from __future__ import annotations

from importlib import import_module
from typing import Any

from armarc.computer import how_to_add
from armarc.errors import UsageError


def pyarrow(part: str = "") -> Any:
    """The package pyarrow, or one of its parts such as ``parquet``.

    Raises
    ------
    UsageError
        It is not installed; the hint says how to install it.
    """
    return _needed(
        "pyarrow" + (f".{part}" if part else ""), "an archive needs the package pyarrow", "archive"
    )


def distributed() -> Any:
    """The package distributed.

    Raises
    ------
    UsageError
        It is not installed; the hint says how to install it.
    """
    return _needed("distributed", "a cluster needs the package distributed", "cluster")


def _needed(module: str, message: str, extra: str) -> Any:
    try:
        return import_module(module)
    except ImportError as error:
        raise UsageError(message, how_to_add(extra)) from error
