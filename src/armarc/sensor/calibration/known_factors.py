"""Scales that are off by a factor people get wrong: what it probably is."""

from __future__ import annotations

from typing import Final

from armarc.errors import InputError

NEAR: Final = 0.03
"""What a part's own tolerance adds to the factor."""

_BOTH: Final = (
    (2.0, "the range is twice what was assumed"),
    (0.5, "the range is half what was assumed"),
    (4.0, "the range is four times what was assumed"),
    (0.25, "the range is a quarter of what was assumed"),
)
ACCELEROMETER_FACTORS: Final = (
    *_BOTH,
    (1.4992, "0.732 mg in a count (from memory of datasheets), where ±16 g over 32768 was assumed"),
)
GYROSCOPE_FACTORS: Final = (
    *_BOTH,
    (
        1.14688,
        "35 mdps in a count at ±1000 °/s (from memory of datasheets: 8.75, 17.5, 70 at ±250, ±500, ±2000), where "
        "the range over 32768 was assumed",
    ),
    (1 / 1.14688, "range over 32768 in a count, where 35 mdps at ±1000 °/s was assumed"),
)


def known_factor(ratio: float, factors: tuple[tuple[float, str], ...]) -> str:
    """What a scale that must be multiplied by `ratio` probably is; empty for no factor that is known."""
    near = [(abs(ratio / factor - 1), words) for factor, words in factors]
    off, words = min(near)
    return words if off <= NEAR else ""


def with_factor(error: InputError, ratio: float, factors: tuple[tuple[float, str], ...]) -> InputError:
    """The same error, with what the factor probably is in front of its hint."""
    words = known_factor(ratio, factors)
    if not words:
        return error
    hint = (
        f"readings times {ratio:.3g} would fit, probably {words}: correct the scale where the data come from"
    )
    return InputError(error.message, f"{hint}; otherwise {error.hint}" if error.hint else hint)
