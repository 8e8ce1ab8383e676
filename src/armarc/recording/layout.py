"""How a text table is laid out: delimiter, decimal mark, preamble, header, first row of numbers."""

from __future__ import annotations

import csv
import json
import re
import string
from collections import Counter
from dataclasses import dataclass, field
from typing import Any

from armarc.errors import FormatError
from armarc.recording.text import TextFile
from armarc.recording.units import any_unit

OWN_MARK = "# armarc recording"
COMMENT_MARKS = ("#", "%", "//")
WHITESPACE = " "
_HEAD_BYTES = 1 << 16
_JUDGED_LINES = 100
"""The last so many lines of the head tell delimiter and decimal mark: a preamble is behind them."""
_SAMPLE_ROWS = 500
_DELIMITERS = (",", ";", "\t", "|", WHITESPACE)
# Possessive, so that a cell of a hundred thousand digits that is no number after all costs one walk, not its square.
_DOT_NUMBER = re.compile(r"[+-]?(?:\d++\.?\d*+|\.\d++)(?:[eE][+-]?\d++)?")
_COMMA_NUMBER = re.compile(r"[+-]?(?:\d++,\d*+|,\d++)(?:[eE][+-]?\d++)?")
_EITHER_NUMBER = re.compile(r"[+-]?(?:\d++[.,]?\d*+|[.,]\d++)(?:[eE][+-]?\d++)?")
MISSING_CELLS = frozenset(
    {
        "",
        "nan",
        "-nan",
        "na",
        "n/a",
        "null",
        "none",
        "inf",
        "-inf",
        "+inf",
        "infinity",
        "-infinity",
        "<na>",
        "#n/a",
    }
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Layout:
    """Where the numbers of a text table are.

    ``names`` has one entry per column, empty for a column without a name; it is empty altogether
    when the table has no header. ``unit_row`` holds the cells of a second header row of units.
    """

    delimiter: str
    decimal: str
    names: tuple[str, ...]
    unit_row: tuple[str, ...]
    n_columns: int
    header_line: int | None
    header_text: bytes
    data_start: int
    data_line: int
    sample: tuple[tuple[str, ...], ...]
    own: bool
    metadata: dict[str, Any] = field(default_factory=dict)
    words_above: int = 0
    """Cells of the line above the first row of numbers where it holds words and is no header."""


@dataclass(slots=True)
class _Line:
    number: int
    start: int
    text: str


def is_number(cell: str, decimal: str = ".") -> bool:
    """Whether a cell holds a number (or one of the usual words for a missing one)."""
    cell = cell.strip()
    if _DOT_NUMBER.fullmatch(cell):
        return decimal == "." or "." not in cell
    if decimal == "," and _COMMA_NUMBER.fullmatch(cell):
        return True
    return cell.lower() in MISSING_CELLS


def split_line(text: str, delimiter: str) -> list[str]:
    """Cells of one line, quotes and surrounding blanks removed."""
    if delimiter == WHITESPACE:
        return [cell.strip('"') for cell in text.split()]
    if '"' not in text:
        return [cell.strip() for cell in text.split(delimiter)]
    try:
        return [cell.strip() for cell in next(csv.reader([text], delimiter=delimiter, skipinitialspace=True))]
    except (csv.Error, StopIteration):
        return [cell.strip() for cell in text.split(delimiter)]


def sniff(source: TextFile) -> Layout:
    """Find the layout of a text table.

    Raises
    ------
    FormatError
        No delimiter splits the text into at least three columns of numbers.
    """
    lines = _lines(source)
    own = bool(lines) and lines[0].text.startswith(OWN_MARK)
    comments = [line for line in lines if line.text.lstrip().startswith(COMMENT_MARKS)]
    plain = [line for line in lines if line.text.strip() and not line.text.lstrip().startswith(COMMENT_MARKS)]
    if not plain:
        raise FormatError("there are only comments in this file, no samples", file=source.file)
    delimiter, width, numbers = _best_delimiter([line.text for line in plain[-_JUDGED_LINES:]])
    if width < 3 or (not numbers and len(plain) > 1):
        raise FormatError(
            "no columns of numbers were found",
            "a recording is a table with time, three accelerations and three angular velocities per row",
            file=source.file,
            line=plain[0].number,
        )
    decimal = _decimal_mark([split_line(line.text, delimiter) for line in plain[-_JUDGED_LINES:]])
    rows: list[list[str]] = []
    first: int | None = None
    for i, line in enumerate(plain):
        rows.append(split_line(line.text, delimiter))
        if first is None and _is_data(rows[-1], width, decimal):
            first = i
        if first is not None and i + 1 >= first + _SAMPLE_ROWS:
            break
    if first is None:
        raise FormatError(
            "there is a header but not one row of numbers",
            "record or export it again",
            file=source.file,
            line=plain[-1].number,
        )
    names, unit_row, header_line, header_index = _header(rows, plain, first, width, decimal)
    if not names:
        names = _header_in_comment(comments, plain[first].number, width, delimiter)
    preamble = [line for line in plain[:first] if header_line is None or line.number < header_line]
    metadata: dict[str, Any] = {}
    for line in (*preamble, *comments):
        if line.number < plain[first].number:
            found = _metadata_of(line.text, delimiter)
            if own and metadata and found:
                # The second line carries the metadata; any JSON line after it is an event.
                metadata["events"] = [*metadata.get("events", []), found]
            else:
                metadata |= found
    header_text = b"" if header_index is None else plain[header_index].text.encode()
    return Layout(
        delimiter=delimiter,
        decimal=decimal,
        names=names,
        unit_row=unit_row,
        n_columns=width,
        header_line=header_line,
        header_text=header_text,
        data_start=plain[first].start,
        data_line=plain[first].number,
        # A header that is repeated further down is no row of the sample.
        sample=tuple(row for row in map(tuple, rows[first:]) if len(row) == width and row != names),
        own=own,
        metadata=metadata,
        words_above=0 if names or not first else _words_in(rows[first - 1]),
    )


def _words_in(row: list[str]) -> int:
    return len(row) if row and not any(is_number(cell, ",") for cell in row) else 0


def _lines(source: TextFile) -> list[_Line]:
    lines: list[_Line] = []
    start = source.start
    for number, block in enumerate(source.head(_HEAD_BYTES).splitlines(keepends=True), 1):
        lines.append(_Line(number, start, block.decode(errors="replace").rstrip("\r\n")))
        start += len(block)
    return lines


def _best_delimiter(lines: list[str]) -> tuple[str, int, int]:
    """The delimiter that gives the most numbers in rows of one width; that width, that many numbers."""
    best: tuple[int, str, int] = (-1, ",", 0)
    for delimiter in _DELIMITERS:
        if delimiter != WHITESPACE and not any(delimiter in line for line in lines):
            continue
        rows = [split_line(line, delimiter) for line in lines]
        width = Counter(map(len, rows[len(rows) // 3 :])).most_common(1)[0][0]
        if width < 3:
            continue
        cells = [cell for row in rows if len(row) == width for cell in row if cell]
        matches = map(_EITHER_NUMBER.fullmatch, cells)
        score = sum(
            1 for cell, match in zip(cells, matches, strict=True) if match or cell.lower() in MISSING_CELLS
        )
        if score > best[0]:
            best = (score, delimiter, width)
    return best[1], best[2], best[0]


def _decimal_mark(rows: list[list[str]]) -> str:
    with_comma = [cell for row in rows for cell in row if "," in cell]
    with_dot = [cell for row in rows for cell in row if "." in cell]
    commas = sum(map(bool, map(_COMMA_NUMBER.fullmatch, with_comma)))
    dots = sum(map(bool, map(_DOT_NUMBER.fullmatch, with_dot)))
    return "," if commas > dots else "."


def _is_data(row: list[str], width: int, decimal: str) -> bool:
    if len(row) not in (width, width - 1):
        return False
    numbers = sum(1 for cell in row if cell and is_number(cell, decimal))
    texts = sum(1 for cell in row if cell and not is_number(cell, decimal))
    return numbers >= 3 and numbers > texts


def _header(
    rows: list[list[str]], plain: list[_Line], first: int, width: int, decimal: str
) -> tuple[tuple[str, ...], tuple[str, ...], int | None, int | None]:
    """Names, unit row, line number of the header and its place among the plain lines."""
    candidates: list[tuple[int, tuple[str, ...]]] = []
    for i in range(first - 1, max(first - 4, -1), -1):
        row = list(rows[i])
        while len(row) > width and not row[-1]:
            row.pop()
        if len(row) == width - 1:
            # A row-number column or a trailing delimiter that the header does not mention.
            row = [*row, ""] if not rows[first][-1] else ["", *row]
        words = sum(1 for cell in row if cell and not is_number(cell, decimal))
        if len(row) != width or words < 2:
            break
        candidates.append((i, tuple(row)))
    if not candidates:
        return (), (), None, None
    unit_row: tuple[str, ...] = ()
    place, names = candidates[0]
    if len(candidates) > 1:
        cells = [cell for cell in names if cell]
        if sum(1 for cell in cells if any_unit(cell.strip("[](){}")) or cell in ("-", "–")) >= 0.6 * len(
            cells
        ):
            unit_row, (place, names) = names, candidates[1]
        elif sum(cell.lower() in ("x", "y", "z") for cell in names) >= 6:
            names = _joined(candidates[1][1], names)
    return names, unit_row, plain[place].number, place


def _joined(sensors: tuple[str, ...], axes: tuple[str, ...]) -> tuple[str, ...]:
    """Names of a header in two rows, a sensor's name standing over the first of its axes."""
    names, above = [], ""
    for sensor, axis in zip(sensors, axes, strict=True):
        above = sensor or above
        names.append(f"{above} {axis}".strip())
    return tuple(names)


def _header_in_comment(comments: list[_Line], before: int, width: int, delimiter: str) -> tuple[str, ...]:
    """Names from the last comment line above the numbers, as numerical programs write them."""
    above = [line for line in comments if line.number < before]
    if not above:
        return ()
    text = above[-1].text.lstrip().lstrip("#%/").strip()
    names = split_line(text, delimiter)
    if len(names) != width or any(is_number(name) for name in names):
        return ()
    return tuple(names)


def _metadata_of(text: str, delimiter: str) -> dict[str, Any]:
    """Key and value of one preamble or comment line; keys in lower case with underscores."""
    body = text.lstrip()
    for mark in COMMENT_MARKS:
        if body.startswith(mark):
            body = body[len(mark) :].lstrip(mark[0]).strip()
    if body.startswith("{"):
        try:
            found = json.loads(body)
        except (ValueError, RecursionError):
            return {}
        return found if isinstance(found, dict) else {}
    match = re.match(r"\s*+\"?([A-Za-z][\w .()/°²µ\[\]-]*+)\"?\s*+[:=](.*)$", body)
    if match and (value := match[2].lstrip().rstrip(f",;{string.whitespace}")):
        return {_key(match[1]): value.strip('"')}
    cells = [cell for cell in split_line(body, delimiter) if cell]
    if len(cells) == 2 and cells[0][:1].isalpha():
        return {_key(cells[0]): cells[1]}
    return {}


def _key(text: str) -> str:
    return re.sub(r"\W+", "_", text.strip().lower()).strip("_")
