"""Loads, pairs of numbers, dates and names as people type them."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable
from datetime import UTC, datetime, timedelta

from armarc.errors import UsageError

KG_PER_LB = 0.45359237
"""International avoirdupois pound, exact (NIST Special Publication 811, appendix B.8)."""

HEAVIEST_LOAD_KG = 500.0
LONGEST_NAME = 120
DEFAULT_LIFTER = "me"
"""How whoever is meant when nobody is named is called in the log."""

FIRST_YEAR, LAST_YEAR = 1900, 2200
"""A set outside of them was not done then; near the ends of the calendar, a time zone has no instant to lead to."""

_NUMBER = r"(\d++(?:[.,]\d++)?|[.,]\d++)"
_LOAD = re.compile(rf"\s*+{_NUMBER}\s*+(kg|kgs|kilo|kilos|lb|lbs|pound|pounds)?\.?\s*+", re.IGNORECASE)
_PAIR = re.compile(
    rf"\s*+{_NUMBER}\s*+(?:-|–|—|:|\.\.|…|to)\s*+{_NUMBER}\s*+(°/s|deg/s|°|deg)?\s*+", re.IGNORECASE
)


def counted(n: int, word: str) -> str:
    """``1 rep``, ``12 reps``."""
    return f"{n} {word}" if n == 1 else f"{n} {word}s"


def parse_load(text: str) -> float:
    """Turn ``"8kg"``, ``"17.5 lb"`` or ``"8"`` (kg) into kilograms.

    Raises
    ------
    UsageError
        Not a load, or heavier than `HEAVIEST_LOAD_KG`.
    """
    match = _LOAD.fullmatch(text)
    if not match:
        raise UsageError(f"expected a load, got {text!r}", "for example 8kg, 17.5lb or 8 (kg)")
    load_kg = _number(match[1])
    if (match[2] or "").lower()[:1] in ("l", "p"):
        load_kg *= KG_PER_LB
    if load_kg > HEAVIEST_LOAD_KG:
        raise UsageError(f"a load of {load_kg:g} kg cannot be right", "for example 8kg, 17.5lb or 8 (kg)")
    return load_kg


def parse_pair(text: str, of: str = "", example: str = "45-70") -> tuple[float, float]:
    """Turn ``"45-70"``, ``"45:70"`` or ``"45 to 70"`` into two rising numbers; `of` what they are, for the message.

    Raises
    ------
    UsageError
        Not a pair, or not rising.
    """
    match, named = _PAIR.fullmatch(text), f"{of}: " if of else ""
    if not match:
        raise UsageError(f"{named}expected two numbers, got {text!r}", f"for example {example}")
    low, high = _number(match[1]), _number(match[2])
    if not low < high:
        raise UsageError(
            f"{named}expected two rising numbers, got {text!r}", f"the lower one first, for example {example}"
        )
    return low, high


def clean_name(text: str, what: str, *, empty: bool = True) -> str:
    """One line of text: composed characters (Unicode NFC), single spaces, nothing invisible.

    Raises
    ------
    UsageError
        If it is too long, has control characters, or is empty and may not be.
    """
    line = " ".join(composed(text, what).split())
    if not line and not empty:
        raise UsageError(f"the {what} has no name", f"give the {what} at least one letter")
    if len(line) > LONGEST_NAME:
        raise UsageError(f"the {what} is {len(line)} characters long", f"use at most {LONGEST_NAME}")
    if any(unicodedata.category(c) in ("Cc", "Cs") for c in line):
        raise UsageError(f"the {what} has control characters in it", "use printable characters")
    return line


def spelled_as(name: str, known: Iterable[str]) -> str:
    """The name as it is known already where only capitals differ: "anna" typed in a hurry is Anna."""
    alike = [one for one in known if one.casefold() == name.casefold()]
    return name if name in alike or not alike else alike[0]


def composed(text: str, what: str) -> str:
    """Text with composed characters (Unicode NFC).

    Raises
    ------
    UsageError
        It is no valid text.
    """
    try:
        text.encode()
    except UnicodeEncodeError:
        raise UsageError(f"the {what} is not valid text", "use characters of UTF-8") from None
    return unicodedata.normalize("NFC", text)


def parse_tempo(text: str) -> tuple[float, float, float, float]:
    """Turn ``"2/0/1.5/0"`` or ``"2010"`` into seconds: eccentric, pause at the bottom, concentric, hold at the top.

    Raises
    ------
    UsageError
        Not four numbers.
    """
    parts = list(text) if text.isdigit() and len(text) == 4 else text.split("/")
    try:
        eccentric, pause, concentric, hold = (float(part) for part in parts)
    except ValueError:
        raise UsageError(
            f"expected a tempo of four numbers of seconds, got {text!r}",
            "eccentric / pause at the bottom / concentric / hold at the top, for example 2/0/1.5/0",
        ) from None
    return eccentric, pause, concentric, hold


def _number(text: str) -> float:
    return float(text.replace(",", "."))


def read_date_time(text: str) -> datetime | None:
    """Read a day with a time (ISO 8601), with its time zone; local time unless it says otherwise.

    Returns
    -------
    datetime or None
        None when the text is no time, or one in which nobody can have trained.
    """
    try:
        when = datetime.fromisoformat(text.strip())
    except ValueError:
        return None
    if not FIRST_YEAR <= when.year <= LAST_YEAR:
        return None
    return when if when.tzinfo else when.astimezone()


def check_past(when: datetime, text: str) -> None:
    """That something can have been done then; a day is left for clocks and time zones.

    Raises
    ------
    UsageError
        It lies in the future.
    """
    if when.astimezone(UTC) > datetime.now(UTC) + timedelta(days=1):
        raise UsageError(f"{text!r} lies in the future", "check the year, the month and the day")
