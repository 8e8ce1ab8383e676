"""Units: their names in column headers, and their size in SI."""

from __future__ import annotations

import math
import re

from armarc.errors import UsageError
from armarc.recording.types import STANDARD_GRAVITY_M_S2

LARGEST_READING = 1e12
"""Beyond any sensor, in whatever unit or counts; its square is still a number."""
LARGEST_STAMP = 1e20
"""Beyond any clock: nanoseconds since 1970 stay below 2^63 until 2262."""

QUANTITIES = ("time", "acceleration", "angular_velocity")

SCALE: dict[str, dict[str, float]] = {
    "time": {"s": 1.0, "ms": 1e-3, "us": 1e-6, "ns": 1e-9},
    "acceleration": {
        "m/s2": 1.0,
        "g": STANDARD_GRAVITY_M_S2,
        "mg": STANDARD_GRAVITY_M_S2 / 1000.0,
        "cm/s2": 0.01,
    },
    "angular_velocity": {
        "rad/s": 1.0,
        "deg/s": math.pi / 180.0,
        "mdeg/s": math.pi / 180_000.0,
        "mrad/s": 1e-3,
    },
}
"""SI value of one of each unit the reader knows."""

_SPELLINGS: dict[str, dict[str, str]] = {
    "time": {
        **dict.fromkeys(("s", "sec", "secs", "second", "seconds"), "s"),
        **dict.fromkeys(("ms", "msec", "msecs", "millis", "milli", "millisecond", "milliseconds"), "ms"),
        **dict.fromkeys(("us", "usec", "usecs", "micros", "micro", "microsecond", "microseconds"), "us"),
        **dict.fromkeys(("ns", "nsec", "nsecs", "nanos", "nano", "nanosecond", "nanoseconds"), "ns"),
    },
    "acceleration": {
        **dict.fromkeys(
            (
                "ms2",
                "mss",
                "mps2",
                "mpss",
                "msec2",
                "msecsec",
                "msq",
                "mpersec2",
                "mpers2",
                "meterspersecond2",
            ),
            "m/s2",
        ),
        **dict.fromkeys(("metrespersecondsquared", "meterspersecondsquared", "mssquared"), "m/s2"),
        **dict.fromkeys(("g", "gs", "gn", "g0", "gunits", "gforce", "standardgravity"), "g"),
        **dict.fromkeys(("mg", "millig", "milligs", "mgs"), "mg"),
        **dict.fromkeys(("cms2", "cmss", "gal"), "cm/s2"),
    },
    "angular_velocity": {
        **dict.fromkeys(("rads", "radsec", "radsecond", "radianss", "radianspersecond", "radpers"), "rad/s"),
        **dict.fromkeys(("radpersec", "rads1", "radianssec", "radiansecond", "rps1rad"), "rad/s"),
        **dict.fromkeys(("degs", "degsec", "dps", "degpers", "degpersec", "degreess", "degs1"), "deg/s"),
        **dict.fromkeys(
            ("degreesec", "degreessec", "degreespersecond", "degreepersecond", "degsecond"), "deg/s"
        ),
        **dict.fromkeys(("mdps", "mdegs", "mdegsec", "millidps", "millidegreespersecond"), "mdeg/s"),
        **dict.fromkeys(("mrads", "mradsec", "milliradianspersecond"), "mrad/s"),
    },
}

_QUANTITY_NAMES = {
    "time": "time",
    "acceleration": "acceleration",
    "accelerometer": "acceleration",
    "acc": "acceleration",
    "gyroscope": "angular_velocity",
    "gyro": "angular_velocity",
    "angular_velocity": "angular_velocity",
}
OPTION_NAME = {"time": "time", "acceleration": "acceleration", "angular_velocity": "gyroscope"}
"""What a quantity is called on the command line."""


def compact_unit(text: str) -> str:
    """Reduce a unit's spelling to letters and digits: ``"m·s⁻²"`` and ``"m/s^2"`` both give ``"ms2"``."""
    text = text.strip().lower().replace("°", "deg").replace("º", "deg")
    text = (
        text.replace("²", "2")
        .replace("⁻¹", "1")
        .replace("⁻", "")
        .replace("\u00b5", "u")
        .replace("\u03bc", "u")
    )
    return re.sub(r"[^a-z0-9]", "", text.replace("**", ""))


def unit_in(text: str, quantity: str) -> str | None:
    """Name of the unit `text` spells for `quantity`, or None."""
    return _SPELLINGS[quantity].get(compact_unit(text))


def any_unit(text: str) -> tuple[str, str] | None:
    """Quantity and unit that `text` spells, or None."""
    for quantity in QUANTITIES:
        unit = unit_in(text, quantity)
        if unit:
            return quantity, unit
    return None


def scale_of(unit: str, quantity: str) -> float:
    """SI value of one `unit`, which may be divided by a number of counts (``"g/4096"``).

    Raises
    ------
    UsageError
        The unit is not one of `quantity`.
    """
    head, _, tail = unit.strip().rpartition("/")
    divided = head and re.fullmatch(r"\s*+(?:[0-9]++\.?[0-9]*+|\.[0-9]++)", tail)
    base, counts = (head.rstrip(), float(tail)) if divided else (unit, 1.0)
    name = unit_in(base, quantity)
    if name is None or not 0 < counts < math.inf:
        known = ", ".join(SCALE[quantity])
        option = OPTION_NAME[quantity]
        raise UsageError(
            f"{unit!r} is not a unit of {option} that armarc knows",
            f"use one of {known}; raw counts as for example {next(iter(SCALE[quantity]))}/4096",
        )
    return SCALE[quantity][name] / counts


def stated_units(units: object) -> dict[str, str]:
    """Check a mapping such as ``{"gyroscope": "deg/s"}`` or the text ``"gyroscope=deg/s,time=ms"``.

    Raises
    ------
    UsageError
        An unknown quantity or unit.
    """
    stated: dict[str, str] = {}
    for key, unit in as_pairs(units, "units").items():
        quantity = _QUANTITY_NAMES.get(key.strip().lower())
        if quantity is None:
            raise UsageError(
                f"units cannot be stated for {key!r}",
                "use time, acceleration or gyroscope, as in gyroscope=deg/s",
            )
        scale_of(unit, quantity)
        stated[quantity] = unit_in(unit, quantity) or unit.strip()
    return stated


def as_pairs(value: object, what: str) -> dict[str, str]:
    """Turn None, a mapping, or text like ``"a=b,c=d"`` into a dict.

    Raises
    ------
    UsageError
        Text without an equals sign.
    """
    if value is None:
        return {}
    if isinstance(value, str):
        pairs: dict[str, str] = {}
        for part in filter(None, (piece.strip() for piece in value.split(","))):
            key, equals, name = part.partition("=")
            if not equals or not key.strip() or not name.strip():
                raise UsageError(
                    f"{what} {part!r} is not of the form key=value", f"write {what} as key=value,key=value"
                )
            pairs[key.strip()] = name.strip()
        return pairs
    if isinstance(value, dict) or hasattr(value, "items"):
        return {str(key): str(name) for key, name in value.items()}
    raise UsageError(f"{what} must be a mapping or text like key=value, not {type(value).__name__}")
