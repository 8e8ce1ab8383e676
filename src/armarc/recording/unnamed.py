"""Tables without a header: which columns they must be."""

from __future__ import annotations

import numpy as np

from armarc.errors import FormatError
from armarc.recording.columns import Choice
from armarc.recording.layout import MISSING_CELLS, Layout
from armarc.recording.types import FloatArray
from armarc.recording.units import LARGEST_READING

_HINT = "add a header line, or number the columns: --columns time=1,ax=2,ay=3,az=4,gx=5,gy=6,gz=7"
_GRAVITIES = (1.0, 9.80665, 1000.0)


def choose_unnamed(layout: Layout, file: str) -> Choice:
    """Tell the columns of a header-less table of six or seven numbers by their values.

    A row number in front is left aside. With seven, the first or the last must rise like time. The accelerometer is
    the triple whose magnitude stays near gravity.

    Raises
    ------
    FormatError
        Another number of columns, or both or neither triple look like an accelerometer.
    """
    table = _numbers(layout)
    counted = layout.n_columns == 8 and bool((np.diff(table[:, 0]) == 1).all())
    before = 1 if counted else 0
    table = table[:, before:]
    width = layout.n_columns - before
    where = {"file": file, "line": layout.data_line}
    names = layout.words_above
    if width not in (6, 7) and layout.delimiter == "," and names > 3 and 2 * names - 1 <= width <= 2 * names:
        raise FormatError(
            f"the header names {names} columns and the rows have {layout.n_columns}: commas stand between the columns "
            "and in the numbers",
            "export it with ; or a tab between the columns, or with points in the numbers",
            **where,  # type: ignore[arg-type]
        )
    if width not in (6, 7):
        raise FormatError(
            f"there is no header, and {layout.n_columns} columns instead of 6 or 7",
            _HINT,
            file=file,
            line=layout.data_line,
        )
    choice = Choice(names={i: str(i + 1) for i in range(layout.n_columns)})
    if counted:
        choice.counter = 0
    first = 0
    if width == 7:
        rising = [place for place in (0, 6) if _rises(table[:, place])]
        if len(rising) != 1:
            which = "both the first and the last" if rising else "neither the first nor the last"
            raise FormatError(f"there is no header, and {which} column rises like time", _HINT, **where)  # type: ignore[arg-type]
        choice.time = before + rising[0]
        first = 1 if rising[0] == 0 else 0
    triples = (first, first + 3)
    near = [start for start in triples if _near_gravity(table[:, start : start + 3])]
    if len(near) != 1:
        which = "both halves" if near else "neither half"
        raise FormatError(
            f"there is no header, and {which} of the columns looks like an accelerometer at gravity",
            _HINT,
            **where,  # type: ignore[arg-type]
        )
    a, g = near[0], triples[0] if near[0] == triples[1] else triples[1]
    a, g = a + before, g + before
    choice.acceleration, choice.angular_velocity = (a, a + 1, a + 2), (g, g + 1, g + 2)
    said = f"columns {a + 1} to {a + 3} were taken as the accelerometer (their magnitude stays near gravity)"
    time = f"column {choice.time + 1} as time, " if choice.time is not None else ""
    choice.inferences.append(f"no header: {time}{said}, columns {g + 1} to {g + 3} as the gyroscope")
    return choice


def _numbers(layout: Layout) -> FloatArray:
    def number(cell: str) -> float:
        cell = cell.replace(",", ".") if layout.decimal == "," else cell
        try:
            return float("nan") if cell.lower() in MISSING_CELLS else float(cell)
        except ValueError:
            return float("nan")

    return np.array([[number(cell) for cell in row] for row in layout.sample]).reshape(-1, layout.n_columns)


def _rises(column: FloatArray) -> bool:
    steps = np.diff(column[np.isfinite(column)])
    return bool(len(steps) and (steps >= 0).mean() > 0.98 and (steps > 0).any())


def _near_gravity(triple: FloatArray) -> bool:
    norm = np.linalg.norm(triple[(np.abs(triple) < LARGEST_READING).all(axis=1)], axis=1)
    norm = norm[norm > 0]  # rows of zeros are no readings
    if not len(norm):
        return False
    median = float(np.median(norm))
    spread = float(np.quantile(norm, 0.75) - np.quantile(norm, 0.25))
    return any(abs(median / gravity - 1.0) < 0.2 for gravity in _GRAVITIES) and spread < 0.35 * median
