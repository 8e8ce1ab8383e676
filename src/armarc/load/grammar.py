"""Reads resistances: a short form for the command line, a TOML file for more.

Short form: a mass alone is a dumbbell, anything else is ``kind:size,key=value,…``::

    8kg                                    dumbbell
    dumbbell:8kg,beyond=2cm                its centre 2 cm beyond the grip
    cable:20kg,pulley=-0.6/-0.9/0,ratio=2   stack, pulley out/up/forward of the shoulder in m
    cable:80N,pulley=-0.3/-1.2/0            force at the hand
    band:120N/m,anchor=0.1/-1.3/0,length=0.9
    machine:30Nm                           the same moment at every angle
    machine:60N,pad=0.3                    the same force across the arm, 0.3 m from the shoulder
    my-band.toml                           a file

Several at once are joined with ``+`` or given one by one.
"""

from __future__ import annotations

import math
import os
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

from armarc.errors import ArmarcError, FormatError, UsageError
from armarc.load.resistance import Cable, Dumbbell, ElasticBand, Machine, Resistance
from armarc.strict_toml import Check, Unfit, checked, number, one_of, read_toml, suggestion

EXAMPLES = '"8kg", "cable:20kg,pulley=-0.6/-0.9/0,ratio=2", "band:120N/m,anchor=0.1/-1.3/0,length=0.9" or "band.toml"'
KINDS = ("dumbbell", "cable", "band", "machine")
POUND_KG = 0.45359237
"""International avoirdupois pound (exact by definition, 1959)."""

_UNITS: dict[str, tuple[str, float]] = {
    "kg": ("mass", 1.0),
    "g": ("mass", 0.001),
    "lb": ("mass", POUND_KG),
    "lbs": ("mass", POUND_KG),
    "n": ("force", 1.0),
    "n/m": ("stiffness", 1.0),
    "nm": ("moment", 1.0),
    "n·m": ("moment", 1.0),
    "m": ("length", 1.0),
    "cm": ("length", 0.01),
    "mm": ("length", 0.001),
    "%": ("share", 0.01),
    "kgm2": ("inertia", 1.0),
}
_NUMBER = re.compile(r"\s*+([+-]?(?:\d++\.?\d*+|\.\d++)(?:e[+-]?\d++)?)\s*+(\S*+)\s*+$", re.IGNORECASE)


def parse_resistances(text: str) -> tuple[Resistance, ...]:
    """Read one or several resistances joined with ``+``.

    Parameters
    ----------
    text : str
        See the module's head.

    Raises
    ------
    UsageError
        Not understood; says which part and what was expected.
    InputError, FormatError
        A file that cannot be read.
    """
    # "+" also starts a number inside a place, so it joins only before a digit with a unit, a kind or a file.
    # os.path answers for names that are no path at all (a user nobody knows, too long), where pathlib raises.
    path = os.path.expanduser(text.strip())
    if path.casefold().endswith(".toml") and os.path.exists(path):
        return read_resistances(Path(path))
    parts = re.split(r"\+(?=\s*(?:[A-Za-z~./]|\d[\d.]*\s*(?:kg|g|lbs?)\b))", text)
    out: list[Resistance] = []
    for part in parts:
        out.extend(_one(part.strip()))
    return tuple(out)


def parse_all(texts: list[str]) -> tuple[Resistance, ...]:
    """Read several options, all of which pull at once."""
    return tuple(r for text in texts for r in parse_resistances(text))


def _one(text: str) -> tuple[Resistance, ...]:
    if not text:
        raise UsageError("an empty resistance", f"expected something like {EXAMPLES}")
    if text.casefold().endswith(".toml"):
        return read_resistances(Path(os.path.expanduser(text)))
    head, colon, rest = text.partition(":")
    if not colon:
        if head.strip().casefold() in KINDS:
            raise UsageError(f"the {head.strip().casefold()} has no size", f"expected {EXAMPLES}")
        rest, head = text, "dumbbell"
    kind = head.strip().casefold()
    if kind not in _SHORT:
        raise UsageError(f"there is no resistance {head.strip()!r}", suggestion(kind, KINDS))
    size, *pairs = [piece.strip() for piece in rest.split(",")]
    values: dict[str, str] = {}
    for pair in pairs:
        key, equals, value = pair.partition("=")
        if not equals or not key.strip() or not value.strip():
            raise UsageError(f"expected key=value after the size of the {kind}, got {pair!r}")
        if key.strip().casefold() in values:
            raise UsageError(f"{key.strip()} is given twice for the {kind}")
        values[key.strip().casefold()] = value.strip()
    known, build = _SHORT[kind]
    for key in values:
        if key not in known:
            raise UsageError(f"a {kind} has no {key!r}", suggestion(key, known))
    return (build(size, values),)


def _quantity(text: str, what: str, *kinds: str, bare: str | None = None) -> tuple[str, float]:
    """A number with a unit of one of `kinds`; `bare` is what a number alone means."""
    match = _NUMBER.match(text)
    names = [unit for unit, (kind, _) in _UNITS.items() if kind in kinds and unit not in ("g", "lbs", "n·m")]
    shown = {"n": "N", "n/m": "N/m", "nm": "Nm"}
    wanted = " or ".join(shown.get(name, name) for name in names)
    fault = UsageError(f"expected {what} as a number with {wanted}, got {text!r}", f"for example {EXAMPLES}")
    if not match:
        raise fault
    value, unit = float(match[1]), match[2].casefold()
    if not math.isfinite(value):
        raise fault
    if not unit:
        if bare is None:
            raise fault
        return bare, value
    kind, factor = _UNITS.get(unit, ("", 1.0))
    if kind not in kinds:
        raise fault
    return kind, value * factor


def _place(text: str, what: str) -> tuple[float, float, float]:
    parts = text.split("/")
    if len(parts) != 3:
        raise UsageError(
            f"expected {what} as out/up/forward of the shoulder in m, got {text!r}", "for example 0.6/-0.9/0"
        )
    values = [_quantity(part, what, "length", bare="length")[1] for part in parts]
    return values[0], values[1], values[2]


def _optional(values: dict[str, str], key: str, what: str, *kinds: str, bare: str | None) -> float | None:
    return _quantity(values[key], what, *kinds, bare=bare)[1] if key in values else None


def _dumbbell(size: str, values: dict[str, str]) -> Resistance:
    mass = _quantity(size, "the dumbbell's mass", "mass", bare=None)[1]
    beyond = _optional(values, "beyond", "the distance beyond the grip", "length", bare="length")
    return Dumbbell(mass_kg=mass, beyond_grip_m=beyond or 0.0)


def _cable(size: str, values: dict[str, str]) -> Resistance:
    kind, amount = _quantity(size, "the cable's stack or the force at the hand", "mass", "force")
    if "pulley" not in values:
        raise UsageError(
            "the cable does not say where its pulley is",
            "add pulley=out/up/forward of the shoulder in m, such as pulley=-0.3/-1.2/0 for a low pulley on "
            "the other side of the body",
        )
    ratio = _optional(values, "ratio", "the ratio", "number", bare="number")
    friction = _optional(values, "friction", "the friction", "share", bare="share")
    return Cable(
        stack_kg=amount if kind == "mass" else None,
        force_n=amount if kind == "force" else None,
        pulley_m=_place(values["pulley"], "the pulley"),
        ratio=1.0 if ratio is None else ratio,
        moving_mass_kg=_optional(values, "moving", "the moving mass", "mass", bare="mass"),
        friction=friction or 0.0,
    )


def _band(size: str, values: dict[str, str]) -> Resistance:
    stiffness = _quantity(size, "the band's stiffness", "stiffness")[1]
    if "length" not in values or "anchor" not in values:
        raise UsageError(
            "a band needs its unstretched length and its anchor",
            "for example band:120N/m,length=0.9,anchor=0.1/-1.3/0; measured forces go into a file",
        )
    return ElasticBand(
        anchor_m=_place(values["anchor"], "the anchor"),
        unstretched_m=_quantity(values["length"], "the unstretched length", "length", bare="length")[1],
        stiffness_n_m=stiffness,
    )


def _machine(size: str, values: dict[str, str]) -> Resistance:
    kind, amount = _quantity(size, "the machine's moment or force", "moment", "force")
    pad = _optional(values, "pad", "the pad's distance from the shoulder", "length", bare="length")
    inertia = _optional(values, "inertia", "the inertia in kg m²", "inertia", bare="inertia")
    rows = ((0.0, amount),)
    return Machine(
        moment_table=rows if kind == "moment" else (),
        force_table=rows if kind == "force" else (),
        pad_m=pad,
        inertia_kg_m2=inertia or 0.0,
    )


_SHORT: dict[str, tuple[tuple[str, ...], Callable[[str, dict[str, str]], Resistance]]] = {
    "dumbbell": (("beyond",), _dumbbell),
    "cable": (("pulley", "ratio", "moving", "friction"), _cable),
    "band": (("anchor", "length"), _band),
    "machine": (("pad", "inertia"), _machine),
}


# Files


def _place_list() -> Check:
    def check(value: Any) -> tuple[float, float, float]:
        good = isinstance(value, list) and len(value) == 3 and all(_is_number(v) for v in value)
        if not good:
            raise Unfit("three distances in m from the shoulder: [out, up, forward]")
        return float(value[0]), float(value[1]), float(value[2])

    return check


def _rows(first: str, second: str, factor: float = 1.0) -> Check:
    def check(value: Any) -> tuple[tuple[float, float], ...]:
        good = isinstance(value, list) and value and all(isinstance(r, list) and len(r) == 2 for r in value)
        if not good or not all(_is_number(v) for row in value for v in row):
            raise Unfit(f"rows of two numbers, [[{first}, {second}], …]")
        return tuple((float(a) * factor, float(b)) for a, b in value)

    return check


def _is_number(value: object) -> bool:
    # Compared, not converted: an integer may be too large for a float.
    return isinstance(value, int | float) and not isinstance(value, bool) and abs(value) < 1e300


_KIND: dict[str, Check] = {"kind": one_of(KINDS)}
_FILE_CHECKS: dict[str, dict[str, Check]] = {
    "dumbbell": {"mass_kg": number(0, 200, "kg"), "beyond_grip_m": number(-0.2, 0.5, "m")},
    "cable": {
        "stack_kg": number(0, 500, "kg"),
        "force_n": number(0, 5000, "N"),
        "pulley_m": _place_list(),
        "ratio": number(0.25, 8),
        "moving_mass_kg": number(0, 500, "kg"),
        "friction": number(0, 0.5),
    },
    "band": {
        "anchor_m": _place_list(),
        "unstretched_m": number(0, 5, "m"),
        "stiffness_n_m": number(0, 5000, "N/m"),
        "force_by_length": _rows("length in m", "force in N"),
    },
    "machine": {
        "moment_n_m": number(0, 1000, "N·m"),
        "moment_by_angle": _rows("angle in degrees", "moment in N·m", math.pi / 180),
        "force_by_angle": _rows("angle in degrees", "force in N", math.pi / 180),
        "pad_m": number(0.05, 1.2, "m"),
        "inertia_kg_m2": number(0, 100, "kg m²"),
    },
}
_NEEDED = {"dumbbell": ("mass_kg",), "cable": ("pulley_m",), "band": ("anchor_m",), "machine": ()}


def read_resistances(path: Path) -> tuple[Resistance, ...]:
    """Read a file with one resistance per table, each with a ``kind``; or one resistance at the top level.

    Raises
    ------
    InputError, FormatError
        Names the file, the key, what was expected and what was found.
    """
    document = read_toml(path)
    file = str(path)
    if "kind" in document:
        return (_from_table(document, file, ""),)
    out = []
    for name, table in document.items():
        if not isinstance(table, dict):
            raise FormatError(
                "stands outside a resistance",
                'start with  kind = "band"  or a name in brackets',
                file=file,
                column=name,
            )
        out.append(_from_table(table, file, name))
    if not out:
        raise FormatError("holds no resistance", 'start with  kind = "band"', file=file)
    return tuple(out)


def _from_table(table: dict[str, object], file: str, name: str) -> Resistance:
    dot = f"{name}." if name else ""
    if "kind" not in table:
        raise FormatError(
            "has no kind", f"add  kind = {' or '.join(repr(k) for k in KINDS)}", file=file, column=name
        )
    kind = checked({"kind": table["kind"]}, _KIND, file=file, name=name)["kind"]
    values = checked(table, _KIND | _FILE_CHECKS[kind], file=file, name=name)
    del values["kind"]
    for key in _NEEDED[kind]:
        if key not in values:
            raise FormatError(f"a {kind} needs {key}", f"add  {key} = …", file=file, column=dot + key)
    try:
        if kind == "dumbbell":
            return Dumbbell(**values)
        if kind == "cable":
            return Cable(**values)
        if kind == "band":
            return ElasticBand(table=values.pop("force_by_length", ()), **values)
        moment = values.pop("moment_n_m", None)
        by_angle = values.pop("moment_by_angle", ())
        if moment is not None and by_angle:
            raise UsageError("give either moment_n_m or moment_by_angle, not both")
        return Machine(
            moment_table=by_angle if moment is None else ((0.0, moment),),
            force_table=values.pop("force_by_angle", ()),
            **values,
        )
    except ArmarcError as error:
        raise FormatError(error.message, error.hint, file=file, column=name) from None
