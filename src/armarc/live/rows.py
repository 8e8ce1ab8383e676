"""The last stretch of the stream, bounded: what the engine looks back on at the end of a rep."""

from __future__ import annotations

from array import array

import numpy as np

from armarc.recording import FloatArray

TIME, FORCE, RATE, QUATERNION, ANGLE, ANGLE_RATE, MISSING = 0, 1, 4, 7, 11, 12, 13
"""First column of each field: t, f (3), ω as measured (3), q (4), θ, θ̇, and whether somebody measured it."""
MEASURED, FILLED, GUESSED = 0.0, 1.0, 2.0
"""Filled in between two samples, or over a gap so long that what happened in it is a guess."""
COLUMNS = 14


class Rows:
    """Rows of floats with absolute numbers; old ones are forgotten.

    Appending costs well under a microsecond; forgetting is done in large bites, so that it costs nothing per row.
    """

    def __init__(self) -> None:
        self._cells = array("d")
        self.first = 0
        self.stop = 0

    def __len__(self) -> int:
        return self.stop - self.first

    def append(self, row: tuple[float, ...]) -> None:
        """Add one row of `COLUMNS` values."""
        self._cells.extend(row)
        self.stop += 1

    def cell(self, number: int, column: int) -> float:
        """One value by absolute row number."""
        return self._cells[(number - self.first) * COLUMNS + column]

    def table(self, first: int, stop: int | None = None) -> FloatArray:
        """Copy of the rows ``first`` … ``stop`` (absolute, clipped to what is still there), shape (m, 14)."""
        low = max(first, self.first) - self.first
        high = (self.stop if stop is None else min(stop, self.stop)) - self.first
        part = self._cells[low * COLUMNS : max(high, low) * COLUMNS]
        return np.frombuffer(part, dtype=float).reshape(-1, COLUMNS).copy()

    def rewrite(self, first: int, column: int, values: FloatArray) -> None:
        """Replace some columns of the rows from absolute number ``first`` on; `values` has shape (m, columns)."""
        view = np.frombuffer(self._cells, dtype=float).reshape(-1, COLUMNS)
        low = first - self.first
        view[low : low + len(values), column : column + values.shape[1]] = values
        del view

    def forget_before(self, number: int) -> None:
        """Drop rows before an absolute number, at least a thousand at a time."""
        if number - self.first >= 1000:
            del self._cells[: (number - self.first) * COLUMNS]
            self.first = number

    def clear(self) -> None:
        """Forget everything; numbers go on."""
        self._cells = array("d")
        self.first = self.stop
