"""Standard output and error: their encoding, the consoles drawn on them, and JSON for people to read.

What goes into a pipe or a file is UTF-8, whatever the locale: a program reads it. A terminal keeps its own encoding,
and what it cannot show is replaced by the nearest plain letters.
"""

from __future__ import annotations

import codecs
import io
import json
import math
import os
import sys
import unicodedata
from collections.abc import Callable, Iterable
from dataclasses import dataclass
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
    """UTF-8 into pipes and files; on a terminal plain letters for what its encoding lacks.

    A stream that was closed (``>&-``, a program without a console) takes what is said and keeps nothing of it.
    """
    codecs.register_error(PLAIN_ERRORS, _plain_letters)
    for name in ("stdin", "stdout", "stderr"):
        if getattr(sys, name) is None:
            mode = "r" if name == "stdin" else "w"
            # Its number is free and would be that of the next file opened: what prints to it would write there.
            setattr(sys, name, open(os.open(os.devnull, os.O_RDWR), mode, encoding="utf-8"))  # noqa: SIM115
    sys.stdout = _whole(sys.stdout)
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            encoding = None if stream.isatty() else "utf-8"
            stream.reconfigure(encoding=encoding, errors=PLAIN_ERRORS)


def _whole(stream: TextIO) -> TextIO:
    """Unbuffered (``PYTHONUNBUFFERED``), Python drops what a disk that fills took no more of: a buffer tries again."""
    if stream is not sys.__stdout__ or not isinstance(getattr(stream, "buffer", None), io.FileIO):
        return stream
    return open(stream.fileno(), "w", buffering=1, encoding=stream.encoding, closefd=False)


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


def indented_json(value: object, indent: int = 0) -> str:
    """What ``json.dumps`` makes of a value with an indent of 2, starting `indent` deep; keys are strings.

    The library writes indented text piece by piece; one text a container is half the time.

    Raises
    ------
    ValueError
        If a number is not finite.
    TypeError
        If JSON has nothing of its kind.
    """
    if (write := _plain(type(value))) is not None:
        return write(value)
    if not isinstance(value, dict | list | tuple) or not value:
        return json.dumps(value, ensure_ascii=False, allow_nan=False)
    pad, deep = "\n" + " " * (indent + 2), indent + 2
    # Most of what is written are plain values: no call for each of them.
    if isinstance(value, dict):
        parts = [
            f"{_text(key)}: {write(one) if (write := _plain(type(one))) else indented_json(one, deep)}"
            for key, one in value.items()
        ]
    else:
        parts = [write(one) if (write := _plain(type(one))) else indented_json(one, deep) for one in value]
    opening, closing = "{}" if isinstance(value, dict) else "[]"
    return f"{opening}{pad}{f',{pad}'.join(parts)}{pad[:-2]}{closing}"


def _finite(number: float) -> str:
    if not math.isfinite(number):
        raise ValueError(f"{number} is not JSON compliant")
    return float.__repr__(number)


_text = json.encoder.encode_basestring
_PLAIN_JSON: dict[type, Callable[[Any], str]] = {
    str: _text,
    int: int.__repr__,
    float: _finite,
    bool: ("false", "true").__getitem__,
    type(None): lambda _: "null",
}
_plain = _PLAIN_JSON.get


def with_progress(things: list[Any]) -> Iterable[Any]:
    """The same things; a terminal shows how many have been measured, unless there are few."""
    from rich.progress import track

    console = error_console()
    if len(things) < 4 or not console.is_terminal:
        return things
    return track(things, description="Measuring", console=console, transient=True)
