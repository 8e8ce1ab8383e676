"""Which encoding a text has that is no valid UTF-8 and begins with no mark."""

from __future__ import annotations

from armarc.recording.names import words_of_other_scripts

_OF_SPREADSHEETS = ("cp932", "gb18030", "cp949", "cp950", "cp1251")
"""What spreadsheets save as "CSV" where they run in Japanese, Chinese, Korean, traditional Chinese and Russian."""
_ONE_BYTE = "latin-1"
"""Western programs; keeps "°/s" and "m/s²", and any byte is a character of it."""


def likely_encoding(head: bytes) -> str:
    """The encoding whose reading of the first lines shows words that name columns; one byte a character without any.

    Damaged UTF-8 is told by its other lines: what is not ASCII hardly ever is valid UTF-8 by chance.
    """
    lines = [line for line in head.splitlines() if not line.isascii()]
    valid = sum(_is_valid(line, "utf-8") for line in lines)
    if valid and 2 * valid >= len(lines):
        return "utf-8"
    names = b"\n".join(lines[:100])  # names of columns and comments; numbers are ASCII in all of them
    found = {
        encoding: len(words_of_other_scripts(names.decode(encoding)))
        for encoding in _OF_SPREADSHEETS
        if _is_valid(names, encoding)
    }
    best = max(found, key=found.__getitem__, default=_ONE_BYTE)
    return best if found.get(best) else _ONE_BYTE


def _is_valid(text: bytes, encoding: str) -> bool:
    try:
        text.decode(encoding)
    except UnicodeDecodeError:
        return False
    return True
