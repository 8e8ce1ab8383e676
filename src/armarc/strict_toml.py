"""Reads TOML that people edit by hand: a fault names the file, the key, what was expected and what came."""

from __future__ import annotations

import difflib
import re
import tomllib
from collections.abc import Callable, Iterable, Mapping
from pathlib import Path
from typing import Any

from armarc.errors import FormatError, InputError
from armarc.files import regular_size

_LARGEST_BYTES = 1 << 20
# Each part of a dotted key costs the parser a copy of all before it. Begins only at the beginning of a word.
_ENDLESS_KEY = re.compile(r"""(?<![\w"'-])(?:[\w"'-]++[ \t]*+\.[ \t]*+){40}""")

Check = Callable[[Any], Any]
"""Takes a raw TOML value, gives the checked one, raises `Unfit` otherwise."""


class Unfit(Exception):
    """A value that is not what its key wants; the argument says what was expected."""


def read_toml(path: Path) -> dict[str, object]:
    """Read a TOML file.

    Raises
    ------
    InputError
        The file cannot be opened.
    FormatError
        It is not UTF-8 or not TOML; with the line where known.
    """
    try:
        regular_size(path, _LARGEST_BYTES, "text written by hand")
        raw = path.read_bytes()
    except OSError as error:
        raise InputError(
            f"cannot be read: {error.strerror or error}", "check the path and its permissions", file=str(path)
        ) from error
    return parse_toml(raw, str(path))


def parse_toml(raw: bytes, file: str) -> dict[str, object]:
    """Parse the bytes of a TOML file; `file` is the name for error messages."""
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = raw[: error.start].count(b"\n") + 1
        raise FormatError("is not UTF-8 text", "save it as UTF-8", file=file, line=line) from error
    if len(raw) > _LARGEST_BYTES:
        raise FormatError("is larger than anything written by hand", "give the right file", file=file)
    if _ENDLESS_KEY.search(text):
        raise FormatError("holds a key of more than 40 parts", "write keys as  name = 5", file=file)
    try:
        return tomllib.loads(text)
    except (ValueError, RecursionError) as error:  # also numbers and nesting beyond what Python takes
        message = str(error)
        place = re.search(r"\(at line (\d+), column (\d+)\)", message)
        said = message.split(" (at ")[0].rstrip(".")
        raise FormatError(
            f"is not valid TOML: {said[:1].lower()}{said[1:]}",
            "each name stands once, and each thing has a file or table of its own"
            if said.endswith("twice") or "overwrite" in said
            else 'write keys as  name = "text"  or  name = 5  or  name = [45, 70]',
            file=file,
            line=int(place[1]) if place else None,
        ) from error


def suggestion(word: str, known: Iterable[str]) -> str:
    """Hint naming the closest known words, or all of them when none is close."""
    names = list(known)
    close = difflib.get_close_matches(word, names, n=3, cutoff=0.6)
    return f"did you mean {' or '.join(close)}?" if close else f"known: {', '.join(names)}"


def checked(
    table: Mapping[str, object], checks: Mapping[str, Check], *, file: str, name: str = ""
) -> dict[str, Any]:
    """Check every key and value of a table.

    Parameters
    ----------
    table : mapping
        As parsed.
    checks : mapping of str to callable
        Known keys and what their values must be.
    file, name : str
        File and table name for error messages.

    Raises
    ------
    FormatError
        An unknown key, or a value that is not what its key wants.
    """
    prefix = f"{name}." if name else ""
    out: dict[str, object] = {}
    for key, value in table.items():
        if key not in checks:
            raise FormatError("unknown key", suggestion(key, checks), file=file, column=prefix + key)
        try:
            out[key] = checks[key](value)
        except Unfit as fault:
            raise FormatError(
                f"expected {fault}, got {_shown(value)}", file=file, column=prefix + key
            ) from None
    return out


def number(low: float, high: float, unit: str = "") -> Check:
    """A finite number from `low` to `high`."""
    wanted = f"a number from {low:g} to {high:g}{' ' + unit if unit else ''}"

    def check(value: object) -> float:
        if isinstance(value, bool) or not isinstance(value, int | float) or not low <= value <= high:
            raise Unfit(wanted)
        return float(value)

    return check


def rising_pair(low: float, high: float, unit: str, example: str) -> Check:
    """Two rising finite numbers from `low` to `high`."""
    wanted = f"two rising numbers in {unit} from {low:g} to {high:g}, such as {example}"

    def check(value: object) -> tuple[float, float]:
        if not isinstance(value, list) or len(value) != 2:
            raise Unfit(wanted)
        if any(isinstance(v, bool) or not isinstance(v, int | float) for v in value):
            raise Unfit(wanted)
        if not low <= value[0] < value[1] <= high:
            raise Unfit(wanted)
        return float(value[0]), float(value[1])

    return check


def or_none(check: Check) -> Check:
    """Let the word ``"none"`` stand for no value at all (TOML has no null)."""

    def checker(value: Any) -> Any:
        if value == "none":
            return None
        try:
            return check(value)
        except Unfit as fault:
            raise Unfit(f'{fault} or "none"') from None

    return checker


def one_of(choices: Iterable[str]) -> Check:
    """One of a few words, in any case."""
    words = tuple(choices)

    def check(value: object) -> str:
        word = value.strip().casefold() if isinstance(value, str) else None
        if word not in words:
            raise Unfit("one of " + ", ".join(f'"{w}"' for w in words))
        return word

    return check


def text(*, empty: bool = False, longest: int = 600) -> Check:
    """A piece of text."""

    def check(value: object) -> str:
        if not isinstance(value, str) or len(value) > longest or not (empty or value.strip()):
            raise Unfit(f"a text of {0 if empty else 1} to {longest} characters in quotes")
        return " ".join(value.split())

    return check


def text_list() -> Check:
    """A list of texts."""
    one = text(longest=80)

    def check(value: object) -> tuple[str, ...]:
        if not isinstance(value, list):
            raise Unfit('a list of texts such as ["side raise"]')
        try:
            return tuple(one(v) for v in value)
        except Unfit:
            raise Unfit('a list of texts such as ["side raise"]') from None

    return check


def _shown(value: object) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, dict):
        return "a table"
    shown = f'"{value}"' if isinstance(value, str) else str(value)
    return shown if len(shown) <= 60 else shown[:57] + "..."


def quoted(text: str) -> str:
    """Text as a TOML string, or as a key that may hold anything."""
    return '"' + text.replace("\\", "\\\\").replace('"', '\\"') + '"'
