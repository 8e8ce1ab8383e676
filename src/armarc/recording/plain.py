"""Small tables with a number in every cell, read without pandas: loading that takes longer than all the reading."""

from __future__ import annotations

import io
import mmap
import warnings

import numpy as np

from armarc.recording.layout import WHITESPACE, Layout
from armarc.recording.text import SpanReader
from armarc.recording.types import FloatArray

LARGEST_BYTES = 1 << 21
"""Beyond this the slower parser costs what loading the faster one does."""


def plain_numbers(
    data: bytes | mmap.mmap, spans: list[tuple[int, int]], layout: Layout, positions: tuple[int, ...]
) -> FloatArray | None:
    """Columns by position, shape (k, n); None where blanks, words or the table's form need the full parser."""
    if layout.decimal != "." or layout.delimiter == WHITESPACE:
        return None
    with SpanReader(data, spans) as raw, warnings.catch_warnings():
        warnings.simplefilter("ignore")  # of a table without rows
        try:
            rows = np.loadtxt(
                io.BufferedReader(raw, 1 << 20),
                delimiter=layout.delimiter,
                usecols=positions,
                comments=None,
                ndmin=2,
                encoding="utf-8",
            )
        except ValueError:
            return None
    return np.ascontiguousarray(rows.T) if rows.size and np.isfinite(rows).all() else None
