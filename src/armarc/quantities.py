"""Loads and pairs of numbers as people type them."""

from __future__ import annotations

import re

from armarc.errors import UsageError

KG_PER_LB = 0.45359237
"""International avoirdupois pound, exact (NIST Special Publication 811, appendix B.8)."""

HEAVIEST_LOAD_KG = 500.0

_NUMBER = r"(\d++(?:[.,]\d++)?|[.,]\d++)"
_LOAD = re.compile(rf"\s*+{_NUMBER}\s*+(kg|kgs|kilo|kilos|lb|lbs|pound|pounds)?\.?\s*+", re.IGNORECASE)
_PAIR = re.compile(
    rf"\s*+{_NUMBER}\s*+(?:-|–|—|:|\.\.|…|to)\s*+{_NUMBER}\s*+(°/s|deg/s|°|deg)?\s*+", re.IGNORECASE
)


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


def parse_pair(text: str) -> tuple[float, float]:
    """Turn ``"45-70"``, ``"45:70"`` or ``"45 to 70"`` into two rising numbers.

    Raises
    ------
    UsageError
        Not a pair, or not rising.
    """
    match = _PAIR.fullmatch(text)
    if not match:
        raise UsageError(f"expected two numbers, got {text!r}", "for example 45-70")
    low, high = _number(match[1]), _number(match[2])
    if not low < high:
        raise UsageError(
            f"expected two rising numbers, got {text!r}", "the lower one first, for example 45-70"
        )
    return low, high


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
