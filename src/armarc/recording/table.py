"""The numbers of a text table, read in chunks."""

from __future__ import annotations

import csv
import io
import json
import mmap
import re
import sys
import warnings
from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from armarc.errors import FormatError
from armarc.recording.layout import COMMENT_MARKS, MISSING_CELLS, WHITESPACE, Layout, is_number, split_line
from armarc.recording.plain import LARGEST_BYTES, plain_numbers
from armarc.recording.text import SpanReader, TextFile
from armarc.recording.types import FloatArray

if TYPE_CHECKING:
    import pandas as pd

_CHUNK_ROWS = 1 << 14
"""Small enough that the parser's cells stay in the processor's cache."""
_SEEN_BYTES = 1 << 14
_KNOWN_TO_PARSER = {"NaN", "nan", "-nan", "NA", "N/A", "n/a", "NULL", "null", "None", "<NA>", "#N/A"}
_MISSING = sorted(
    {form for word in MISSING_CELLS if word for form in (word, word.upper(), word.title())} - _KNOWN_TO_PARSER
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """Columns of a table.

    Parameters
    ----------
    values : ndarray, shape (k, n)
        One row per asked column, NaN where a cell is empty; zeros for text columns.
    texts : dict of int to ndarray of object, shape (n,)
        Cells of the columns read as text, by position.
    comments : tuple of str
        Comment lines found among the rows.
    """

    values: FloatArray
    texts: dict[int, NDArray[Any]]
    comments: tuple[str, ...]
    warnings: tuple[str, ...]


def load_table(
    source: TextFile, layout: Layout, positions: tuple[int, ...], text_positions: tuple[int, ...] = ()
) -> Table:
    """Read columns by position.

    Raises
    ------
    FormatError
        A cell that should hold a number holds text, or a row has too many cells; the line is named.
    """
    notes: list[str] = []
    end = _end_of_whole_lines(source, layout, notes)
    spans, comments = _spans(source.data, layout, end, notes)
    if not text_positions and "pandas" not in sys.modules and end - layout.data_start < LARGEST_BYTES:
        plain = plain_numbers(source.data, spans, layout, positions)
        if plain is not None and not _has_spare_cells(source.data, spans, layout, plain.shape[1]):
            return Table(values=plain, texts={}, comments=tuple(comments), warnings=tuple(notes))
    if not text_positions and not _shows_blanks(source.data, layout):
        strict = _strict_numbers(source.data, spans, layout, positions, end)
        if strict is not None and not _has_spare_cells(source.data, spans, layout, strict.shape[1]):
            return Table(values=strict, texts={}, comments=tuple(comments), warnings=tuple(notes))
    capacity = _estimated_rows(source.data, layout.data_start, end)
    values = np.empty((len(positions), capacity))
    texts: dict[int, list[NDArray[Any]]] = {place: [] for place in text_positions}
    # The parser gives the columns in the order of the file.
    order = np.argsort(np.argsort(positions))
    n = 0
    try:
        for chunk in _chunks(source.data, spans, layout, positions, text_positions):
            m = len(chunk)
            values = _with_room(values, n, m)
            if not text_positions:
                values[:, n : n + m] = chunk.to_numpy().T[order]
            else:
                for row, place in enumerate(positions):
                    if place in texts:
                        values[row, n : n + m] = 0.0
                    else:
                        values[row, n : n + m] = chunk[place].to_numpy()
            for place, parts in texts.items():
                parts.append(chunk[place].astype(object).to_numpy())
            n += m
    except (ValueError, csv.Error, OverflowError) as error:
        found = _located(source, layout, positions, text_positions, end)
        unknown = FormatError(
            f"the table cannot be read: {error}", "export the recording again", file=source.file
        )
        raise found or unknown from None
    if _has_spare_cells(source.data, spans, layout, n):
        wide = _located(source, layout, positions, text_positions, end)
        if wide is not None:
            raise wide
    joined = {
        place: np.concatenate(parts) if parts else np.empty(0, object) for place, parts in texts.items()
    }
    return Table(values=values[:, :n], texts=joined, comments=tuple(comments), warnings=tuple(notes))


def _shows_blanks(data: bytes | mmap.mmap, layout: Layout) -> bool:
    """Whether the first rows have empty cells, so that asking for a number in every cell is a waste."""
    mark = layout.delimiter.encode()
    return (
        layout.delimiter != WHITESPACE
        and 2 * mark in data[layout.data_start : layout.data_start + _SEEN_BYTES]
    )


def _strict_numbers(
    data: bytes | mmap.mmap,
    spans: list[tuple[int, int]],
    layout: Layout,
    positions: tuple[int, ...],
    end: int,
) -> FloatArray | None:
    """Columns by position where every cell is a plain number, shape (k, n); None where one is not.

    The parser is nearly twice as fast when it need not look for words that mean a missing value, nor for blanks
    before a quotation mark. Blanks around a number do not disturb it.
    """
    values = np.empty((len(positions), _estimated_rows(data, layout.data_start, end)))
    n = 0
    try:
        for chunk in _chunks(data, spans, layout, positions, (), strict=True):
            m = len(chunk)
            values = _with_room(values, n, m)
            for row, place in zip(values, positions, strict=True):
                row[n : n + m] = chunk[place].to_numpy()
            n += m
    except (ValueError, csv.Error, OverflowError):
        return None
    return values[:, :n] if n and np.isfinite(values[:, :n]).all() else None


def _with_room(values: FloatArray, n: int, m: int) -> FloatArray:
    """Room for `m` more rows behind the first `n`."""
    if n + m <= values.shape[1]:
        return values
    return np.concatenate([values[:, :n], np.empty((len(values), max(m, n // 2)))], axis=1)


def _chunks(
    data: bytes | mmap.mmap,
    spans: list[tuple[int, int]],
    layout: Layout,
    positions: tuple[int, ...],
    text_positions: tuple[int, ...],
    *,
    strict: bool = False,
) -> Iterator[pd.DataFrame]:
    import pandas as pd  # heavy, and needed only here

    wanted = sorted({*positions, *text_positions})
    options: dict[str, Any] = {"sep": r"\s+" if layout.delimiter == WHITESPACE else layout.delimiter}
    if strict:
        options["na_filter"] = False
    else:
        options["na_values"] = _MISSING
        options["skipinitialspace"] = layout.delimiter not in (WHITESPACE, "\t")
    number, text = np.dtype(float), np.dtype(object)
    types: Any = number
    if text_positions:
        types = {place: text if place in text_positions else number for place in wanted}
    with SpanReader(data, spans) as raw, warnings.catch_warnings():
        warnings.simplefilter("ignore")
        source: Any = _AsItIs(raw)
        reader = pd.read_csv(
            source,
            header=None,
            names=list(range(layout.n_columns)),
            usecols=wanted,
            dtype=types,
            engine="c",
            decimal=layout.decimal,
            index_col=False,
            chunksize=_CHUNK_ROWS,
            encoding="utf-8",
            encoding_errors="replace",
            low_memory=False,  # chunks bound the memory already
            **options,
        )
        with reader:
            yield from reader


class _AsItIs:
    """Bytes for the parser, which would decode what a file of Python's gives it and encode it again."""

    def __init__(self, raw: SpanReader) -> None:
        self.read = raw.read

    def __iter__(self) -> Iterator[bytes]:
        return iter(self.read, b"")


def _has_spare_cells(
    data: bytes | mmap.mmap, spans: list[tuple[int, int]], layout: Layout, rows: int
) -> bool:
    """Whether there are more delimiters than the rows can use; the fast parser drops surplus cells silently."""
    if layout.delimiter == WHITESPACE:
        return False
    mark, count, block = ord(layout.delimiter), 0, 1 << 20
    for start, end in spans:
        for at in range(start, end, block):
            part = np.frombuffer(data, np.uint8, min(block, end - at), at)
            count += int(np.count_nonzero(part == mark))
    return count > rows * (layout.n_columns - 1)


def _estimated_rows(data: bytes | mmap.mmap, start: int, end: int) -> int:
    block = bytes(data[start : min(end, start + (1 << 16))])
    lines = max(block.count(b"\n"), block.count(b"\r"), 1)
    return int((end - start) / (len(block) / lines) * 1.05) + 16


def _end_of_whole_lines(source: TextFile, layout: Layout, notes: list[str]) -> int:
    """Where the whole lines end: a last line that was cut while being written is left out."""
    data = source.data
    end = len(data)
    tail_start = max(layout.data_start, end - (1 << 15))
    tail = bytes(data[tail_start:end])
    if tail.endswith((b"\n", b"\r")) or not tail.strip():
        return end
    lines = tail.splitlines(keepends=True)
    last = lines[-1].decode(errors="replace")
    if last.lstrip().startswith(COMMENT_MARKS):
        return end
    before = [
        split_line(line.decode(errors="replace").strip("\r\n"), layout.delimiter) for line in lines[-12:-1]
    ]
    before = [row for row in before if len(row) == layout.n_columns]
    if not before:
        return end
    cells = split_line(last, layout.delimiter)
    cut = len(cells) < len(before[-1]) or (layout.own and bool(before))
    if (
        not cut
        and cells[-1]
        and not is_number(cells[-1], layout.decimal)
        and is_number(before[-1][-1], layout.decimal)
    ):
        cut = True
    if not cut and before[-1][-1]:
        places = {_decimals(row[-1], layout.decimal) for row in before}
        cut = len(before) >= 5 and len(places) == 1 and _decimals(cells[-1], layout.decimal) < min(places)
    if cut:
        notes.append(f"the last line is cut off and was left out: {last.strip()[:80]!r}")
        return end - len(lines[-1])
    return end


def _decimals(cell: str, decimal: str) -> int:
    return len(cell.partition(decimal)[2]) if "e" not in cell.lower() else 99


def _spans(
    data: bytes | mmap.mmap, layout: Layout, end: int, notes: list[str]
) -> tuple[list[tuple[int, int]], list[str]]:
    """Byte ranges of the rows, leaving out comment lines and repeated headers among them."""
    cuts: list[tuple[int, int]] = []
    comments: list[str] = []
    marks = [mark.encode() for mark in COMMENT_MARKS]
    header = layout.header_text if layout.header_text.strip() else None
    repeats = 0
    for start, stop in _lines_beginning_with(
        data, [*marks, *([header] if header else [])], layout.data_start, end
    ):
        line = bytes(data[start:stop])
        cuts.append((start, stop))
        if header is not None and line.rstrip(b"\r\n") == header:
            repeats += 1
        elif line.startswith(tuple(marks)):
            comments.append(line.decode(errors="replace").strip())
        else:
            cuts.pop()
    if repeats:
        notes.append(f"the header is repeated {repeats} more time(s) inside the file; the rows were joined")
    spans: list[tuple[int, int]] = []
    start = layout.data_start
    for cut_start, cut_end in sorted(cuts):
        if cut_start > start:
            spans.append((start, cut_start))
        start = max(start, cut_end)
    spans.append((start, end))
    return spans, comments


def _lines_beginning_with(
    data: bytes | mmap.mmap, marks: list[bytes], start: int, end: int
) -> Iterator[tuple[int, int]]:
    """Byte ranges of the lines that begin with one of `marks`, in order, line end included."""
    newline = b"\n" if data.find(b"\n", start) >= 0 or data.find(b"\r", start) < 0 else b"\r"
    # A map is searched in blocks as bytes, which is several times faster; bytes need no copy.
    whole = isinstance(data, bytes)
    block_size, overlap = end if whole else 1 << 22, max(len(mark) for mark in marks)
    for at in range(start - 1, end, max(block_size, 1)):
        base = 0 if whole else max(at, 0)
        block = data if isinstance(data, bytes) else bytes(data[base : min(at + block_size + overlap, end)])
        first_place, last_place = max(at, 0) - base, at + block_size - base
        found: list[int] = []
        for mark in marks:
            if block.find(mark[:1], first_place, end - base) >= 0:
                place = block.find(newline + mark, first_place, end - base)
                while 0 <= place < last_place:
                    found.append(place)
                    place = block.find(newline + mark, place + 1, end - base)
        for place in sorted(set(found)):
            first = base + place + 1
            stop = data.find(newline, first, end)
            yield first, end if stop < 0 else stop + 1


def event_of(comment: str) -> dict[str, Any] | None:
    """The JSON object a comment line carries, if it does."""
    match = re.match(r"#\s*(\{.*\})\s*$", comment)
    if not match:
        return None
    try:
        found = json.loads(match[1])
    except (ValueError, RecursionError):
        return None
    return found if isinstance(found, dict) else None


def _located(
    source: TextFile,
    layout: Layout,
    positions: tuple[int, ...],
    text_positions: tuple[int, ...],
    end: int,
) -> FormatError | None:
    """Find the line and column that the fast parser stumbled over, reading line by line."""
    raw = io.BufferedReader(SpanReader(source.data, [(layout.data_start, end)]))
    text = io.TextIOWrapper(raw, "utf-8", errors="replace", newline=None)
    with text:
        for number, line in enumerate(text, layout.data_line):
            stripped = line.strip("\n")
            if not stripped.strip() or stripped.lstrip().startswith(COMMENT_MARKS):
                continue
            if stripped.encode() == layout.header_text:
                continue
            cells = split_line(stripped, layout.delimiter)
            while len(cells) > layout.n_columns and not cells[-1]:
                cells.pop()
            if len(cells) > layout.n_columns:
                return FormatError(
                    f"expected {layout.n_columns} cells in a row, found {len(cells)}",
                    "correct or delete this line",
                    file=source.file,
                    line=number,
                )
            for place in positions:
                if place in text_positions or place >= len(cells) or is_number(cells[place], layout.decimal):
                    continue
                name = layout.names[place] if layout.names else str(place + 1)
                return FormatError(
                    f"{cells[place][:40]!r} is not a number",
                    "correct or delete this line",
                    file=source.file,
                    line=number,
                    column=name,
                )
    return None
