"""How much was done, and with what, in the words of a trend's title."""

from __future__ import annotations

from collections.abc import Collection


def weeks_words(sets: int, weeks: int) -> str:
    """How much was done; weeks without any count, so that a long break would read as none a week."""
    return (
        f"{sets / weeks:.0f} sets a week over {weeks} weeks"
        if sets >= weeks
        else f"{sets} sets in {weeks} weeks"
    )


def load_words(loads: Collection[float | None]) -> str:
    """Of the loads of some sets: the one they have, or that there are several."""
    (one, *others) = loads
    if others:
        return "all loads"
    return "no load stated" if one is None else f"{one:.4g} kg"
