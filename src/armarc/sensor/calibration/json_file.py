"""Small JSON files in the configuration folder: read with a plain message, written in one step."""

from __future__ import annotations

import json
import os
from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar

import numpy as np

from armarc.errors import InputError
from armarc.recording import FloatArray

T = TypeVar("T")


def read_entries(path: Path, schema: str, make: Callable[[dict[str, Any]], T], what: str) -> tuple[T, ...]:
    """Read the entries of a file; none when there is no file.

    Raises
    ------
    InputError
        The file cannot be read, is damaged, or is of a later version.
    """
    try:
        text = path.read_text("utf-8")
    except FileNotFoundError:
        return ()
    except (OSError, UnicodeDecodeError) as error:
        raise InputError(f"cannot be read: {error}", "check its permissions", file=str(path)) from error
    try:
        document = json.loads(text)
        if document["schema"] != schema:
            raise ValueError(f"expected {schema}, got {document['schema']!r}")
        return tuple(make(entry) for entry in document["entries"])
    except (ValueError, KeyError, TypeError, AttributeError, IndexError, RecursionError) as error:
        raise InputError(
            f"is damaged or of another version: {type(error).__name__} {error}",
            f"move the file away and {what} again",
            file=str(path),
        ) from error


def write_entries(path: Path, schema: str, entries: list[dict[str, Any]]) -> Path:
    """Write a file in one step, so that a crash leaves the old or the new one.

    Raises
    ------
    InputError
        The folder cannot be written.
    """
    fresh = path.with_name(f".{path.name}.{os.getpid()}")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with fresh.open("w", encoding="utf-8") as out:
            json.dump(
                {"schema": schema, "entries": entries}, out, indent=1, ensure_ascii=False, allow_nan=False
            )
            out.write("\n")
            out.flush()
            os.fsync(out.fileno())
        fresh.replace(path)
    except OSError as error:
        fresh.unlink(missing_ok=True)
        raise InputError(
            f"cannot be written: {error.strerror or error}",
            "check the folder's permissions, or set ARMARC_CONFIG_DIR",
            file=str(path),
        ) from error
    return path


def vector(value: Any, shape: tuple[int, ...] = (3,)) -> FloatArray:
    """A finite array of a given shape.

    Raises
    ------
    ValueError
        Anything else.
    """
    array = np.asarray(value, dtype=float)
    if array.shape != shape or not np.isfinite(array).all():
        raise ValueError(f"expected {shape} finite numbers")
    return array


def listed(array: FloatArray) -> Any:
    """Plain lists of numbers with nine significant digits."""
    return json.loads(json.dumps(np.vectorize(lambda one: float(f"{one:.9g}"))(array).tolist()))
