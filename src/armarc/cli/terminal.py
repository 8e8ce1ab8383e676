"""Standard output and error: their encoding, the consoles drawn on them, and JSON for people to read.

What goes into a pipe or a file is UTF-8, whatever the locale: a program reads it. A terminal keeps its own encoding,
and what it cannot show is replaced by the nearest plain letters.
"""

from __future__ import annotations

import codecs
import json
import sys
import unicodedata
from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING, Any, TextIO

if TYPE_CHECKING:
    from rich.console import Console


PLAIN_ERRORS = "armarc-plain"
"""Name of the error handler that writes plain letters for what an encoding lacks."""

_PLAIN = {
    **{"–": "-", "—": "-", "−": "-", "…": "...", "°": "deg", "±": "+/-", "×": "x", "·": ".", "•": "*"},
    **{"→": "->", "≈": "~", "≤": "<=", "≥": ">=", "‘": "'", "’": "'", "“": '"', "”": '"', "α": "alpha"},
    **{"●": "o", "○": "o", "▲": "^", "△": "^", "▼": "v", "▽": "v", "━": "=", "─": "-", "╌": "-", "│": "|"},
}


@dataclass(slots=True)
class Manner:
    """How much is said on standard error: set once per run by the options before the command."""

    quiet: bool = False
    verbose: bool = False


MANNER = Manner()


def prepare_streams() -> None:
    """UTF-8 into pipes and files; on a terminal plain letters for what its encoding lacks."""
    codecs.register_error(PLAIN_ERRORS, _plain_letters)
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            encoding = None if stream.isatty() else "utf-8"
            stream.reconfigure(encoding=encoding, errors=PLAIN_ERRORS)


def out_console() -> Console:
    """Console for results (stdout): drawn only on a terminal, whatever FORCE_COLOR says."""
    from rich.console import Console

    return Console(highlight=False, force_terminal=_is_terminal(sys.stdout))


def error_console(*, always: bool = False) -> Console:
    """Console for talk (stderr); with ``--quiet`` only what is said `always` comes through."""
    from rich.console import Console

    return Console(
        stderr=True,
        highlight=False,
        force_terminal=_is_terminal(sys.stderr),
        quiet=MANNER.quiet and not always,
    )


def _is_terminal(stream: TextIO) -> bool:
    try:
        return stream.isatty()
    except ValueError:  # closed
        return False


def _plain_letters(error: UnicodeError) -> tuple[str, int]:
    if not isinstance(error, UnicodeEncodeError):
        raise error
    return "".join(map(_plain_letter, error.object[error.start : error.end])), error.end


def _plain_letter(letter: str) -> str:
    if letter in _PLAIN:
        return _PLAIN[letter]
    bare = "".join(c for c in unicodedata.normalize("NFKD", letter) if not unicodedata.combining(c))
    return bare if bare.isascii() and bare.isprintable() else "?"


_CONTAINERS = (dict, list, tuple)


def indented_json(value: Any, indent: int = 0) -> str:
    """What ``json.dumps`` makes of a value with an indent of 2, starting `indent` deep.

    The library writes indented text piece by piece in Python. Here its fast writer, which knows no indent, writes
    every run of plain values, with the line break in the separator.

    Raises
    ------
    ValueError
        If a number is not finite.
    """
    if not isinstance(value, _CONTAINERS) or not value:
        return _encoder(0).encode(value)
    pad = " " * (indent + 2)
    encode = _encoder(indent + 2).encode
    keys = list(value) if isinstance(value, dict) else None
    values = list(value.values() if isinstance(value, dict) else value)
    pieces: list[str] = []
    start = 0
    for place in [n for n, one in enumerate(values) if isinstance(one, _CONTAINERS)]:
        if place > start:
            run = values[start:place]
            plain = run if keys is None else dict(zip(keys[start:place], run, strict=True))
            pieces.append(encode(plain)[1:-1])
        name = "" if keys is None else _name(keys[place])
        pieces.append(name + indented_json(values[place], indent + 2))
        start = place + 1
    if start < len(values):
        rest = value
        if start:
            rest = values[start:] if keys is None else dict(zip(keys[start:], values[start:], strict=True))
        pieces.append(encode(rest)[1:-1])
    opening, closing = "[]" if keys is None else "{}"
    return f"{opening}\n{pad}" + f",\n{pad}".join(pieces) + f"\n{pad[2:]}{closing}"


@cache
def _name(key: str) -> str:
    return f"{_encoder(0).encode(key)}: "


@cache
def _encoder(indent: int) -> json.JSONEncoder:
    return json.JSONEncoder(ensure_ascii=False, allow_nan=False, separators=(",\n" + " " * indent, ": "))
