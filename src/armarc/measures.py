"""The table of measures: how a measure is declared once, and everything that is derived from the declaration.

A measure is a field of a dataclass whose type carries a `Measure`::

    rom_rad: Annotated[float, Measure("Range of motion", "top minus bottom", digits=1, average="mean")]
    rom_se_rad: float | None = None

The unit in the field's name says the unit of the value (SI) and of the published key (`UNITS`): ``rom_rad`` is
published as ``rom_deg``. A field of the same name with ``_se`` before the unit is its standard error, published as
``rom_deg_se``. JSON, tables, tab-separated lines, the archive's columns, what the log offers to trends, and the list
of ``armarc measures`` are all read from here; formulas stand where they are computed.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping
from dataclasses import dataclass, fields, is_dataclass, replace
from functools import cache
from operator import attrgetter
from types import UnionType
from typing import Annotated, Any, Literal, TypeVar, Union, get_args, get_origin, get_type_hints

from armarc.errors import InputError

Kind = Literal["number", "whole", "text", "texts", "yes/no"]
Row = TypeVar("Row")
_types_of = cache(get_type_hints)  # annotations are texts, which take a millisecond to evaluate
LARGEST = 1e9
"""No measure is larger when it is read back (working limit: three years are 1e8 s)."""
_KINDS: Mapping[type, Kind] = {float: "number", int: "whole", str: "text", tuple: "texts", bool: "yes/no"}


@dataclass(frozen=True, slots=True)
class Measure:
    """What everybody who shows a measure needs to know about it.

    Parameters
    ----------
    title : str
        As a heading, without the unit.
    meaning : str
        One line of definition.
    digits : int
        Decimals worth showing to a person.
    average : {"mean", "direction"} or None
        How a set averages it; directions are averaged as such. None where a mean says nothing.
    spread : bool
        Whether a coefficient of variation says something: not where zero is arbitrary or common.
    total : bool
        Adds up: over a set, over a week.
    better : {"higher"} or None
        What a lifter trains for; None where it has no best.
    head : str
        Short heading; tables of reps on pages show every measure that has one.
    rank : int
        Place in the table on a terminal, from the left; when it is narrow, columns of the largest rank go first.
        0 is not a column there (or one of its own kind).
    needs : tuple of str
        Which of a rep's instants a recording has to hold for it (``"start"``, ``"top_start"``, ``"top_end"``,
        ``"end"``); None otherwise, see `without_unseen`.
    """

    title: str
    meaning: str
    digits: int = 0
    average: Literal["mean", "direction"] | None = None
    spread: bool = True
    total: bool = False
    better: Literal["higher"] | None = None
    head: str = ""
    rank: int = 0
    needs: tuple[str, ...] = ()

    def is_seen(self, unseen: Collection[str]) -> bool:
        """Whether a recording that lacks these instants of a rep holds what the measure needs."""
        return not any(name in unseen for name in self.needs)


@dataclass(frozen=True, slots=True)
class Unit:
    """A unit as fields carry it and as it is published.

    Parameters
    ----------
    si, published : str
        Ending of the field's name and of the key.
    sign : str
        As people write it.
    factor : float
        Published value over SI value.
    decimals : int
        Kept in published records.
    """

    si: str
    published: str
    sign: str
    factor: float
    decimals: int


UNITS = (
    Unit("_n_m_s", "_n_m_s", "N·m·s", 1.0, 3),
    Unit("_n_m", "_n_m", "N·m", 1.0, 3),
    Unit("_rad_s", "_deg_s", "°/s", math.degrees(1), 3),
    Unit("_rad", "_deg", "°", math.degrees(1), 3),
    Unit("_share", "_pct", "%", 100.0, 2),
    Unit("_kg", "_kg", "kg", 1.0, 3),
    Unit("_m", "_cm", "cm", 100.0, 3),
    Unit("_s", "_s", "s", 1.0, 4),
    Unit("_j", "_j", "J", 1.0, 3),
    Unit("_w", "_w", "W", 1.0, 3),
)
"""Longer endings first: a name has the first unit it ends with."""
PLAIN = Unit("", "", "", 1.0, 4)


@dataclass(frozen=True, slots=True, kw_only=True)
class Column:
    """A published value of a table: where it comes from and what it is called.

    Parameters
    ----------
    key : str
        As published.
    field : str
        Attribute it is read from, dotted for nested dataclasses.
    kind : str
        ``"number"``, ``"whole"``, ``"text"``, ``"texts"`` or ``"yes/no"``.
    unit : Unit
    measure : Measure
    is_error : bool
        The standard error of the column before it.
    optional : bool
        Whether its field may be None.
    """

    key: str
    field: str
    kind: Kind
    unit: Unit
    measure: Measure
    is_error: bool = False
    optional: bool = True

    @property
    def label(self) -> str:
        """Title with unit, for an axis or a heading."""
        return f"{self.measure.title} ({self.unit.sign})" if self.unit.sign else self.measure.title

    @property
    def meaning(self) -> str:
        """One line of definition."""
        return "standard error" if self.is_error else self.measure.meaning

    def value(self, row: Any) -> Any:
        """The value as it is kept in a row of the table, SI."""
        return attrgetter(self.field)(row)

    def published(self, row: Any) -> Any:
        """The value in its published unit, rounded; lists instead of tuples."""
        value = self.value(row)
        if isinstance(value, tuple):
            return list(value)
        return self.in_published_unit(value) if self.kind == "number" else value

    def in_published_unit(self, value: float | None, decimals: int | None = None) -> float | None:
        """An SI value of this column in its published unit, rounded."""
        if value is None or not math.isfinite(value):
            return None
        # Adding zero turns a minus zero into a plain one.
        return round(value * self.unit.factor, self.unit.decimals if decimals is None else decimals) + 0.0

    def fits(self, value: object) -> bool:
        """Whether a published value is of this column's kind."""
        plain = {"number": int | float, "whole": int, "text": str, "texts": list, "yes/no": bool}[self.kind]
        if not isinstance(value, plain) or (isinstance(value, bool) and self.kind != "yes/no"):
            return False
        if isinstance(value, list):
            return all(isinstance(word, str) for word in value)
        return not isinstance(value, int | float) or abs(value) <= LARGEST

    def read(self, value: Any) -> Any:
        """A published value as a field holds it; the other way round than `published`.

        Raises
        ------
        InputError
            It is of another kind.
        """
        if not self.fits(value):
            raise InputError(
                f"the result has {value!r} for {self.key}, expected {self.kind}",
                "process the recording again",
            )
        if self.kind == "number":
            return value / self.unit.factor
        return tuple(value) if self.kind == "texts" else value


def unit_of(field: str) -> Unit:
    """Unit a field's name ends with; `PLAIN` without one."""
    return next((unit for unit in UNITS if field.endswith(unit.si)), PLAIN)


def key_of(field: str) -> str:
    """Published key of a field: its name with the published unit."""
    unit = unit_of(field)
    return field.removesuffix(unit.si) + unit.published


def field_of(key: str) -> tuple[str, Unit]:
    """Name of the field a key is published from, and the unit."""
    unit = next((unit for unit in UNITS if key.endswith(unit.published)), PLAIN)
    return key.removesuffix(unit.published) + unit.si, unit


@cache
def columns(table: type) -> tuple[Column, ...]:
    """Published columns of a dataclass, in the order of its fields; each standard error after its value.

    Parameters
    ----------
    table : type
        Dataclass with fields of type ``Annotated[..., Measure(...)]``. Fields that are dataclasses themselves
        are taken in with theirs; fields without a `Measure` are not published.
    """
    return tuple(_columns(table))


def _columns(table: type, prefix: str = "") -> list[Column]:
    hints = get_type_hints(table, include_extras=True)
    found: list[Column] = []
    for field in fields(table):
        hint = hints[field.name]
        if isinstance(hint, type) and is_dataclass(hint):
            found += _columns(hint, f"{prefix}{field.name}.")
            continue
        if get_origin(hint) is not Annotated:
            continue
        measure = next((part for part in get_args(hint)[1:] if isinstance(part, Measure)), None)
        if measure is None:
            continue
        unit, key = unit_of(field.name), key_of(field.name)
        found.append(
            Column(
                key=key,
                field=prefix + field.name,
                kind=_kind(get_args(hint)[0]),
                unit=unit,
                measure=measure,
                optional=type(None) in get_args(get_args(hint)[0]),
            )
        )
        error = f"{field.name.removesuffix(unit.si)}_se{unit.si}"
        if error in hints:
            found.append(
                Column(
                    key=f"{key}_se",
                    field=prefix + error,
                    kind="number",
                    unit=unit,
                    measure=measure,
                    is_error=True,
                )
            )
    return found


def _kind(hint: object) -> Kind:
    parts = get_args(hint) if get_origin(hint) in (Union, UnionType) else (hint,)
    plain = next(part for part in parts if part is not type(None))
    return _KINDS[get_origin(plain) or plain]


@cache
def column(table: type, key: str) -> Column:
    """The column published under a key.

    Raises
    ------
    KeyError
        If the table publishes none under it.
    """
    for each in columns(table):
        if each.key == key:
            return each
    raise KeyError(key)


def number_of(row: Any, key: str) -> float:
    """A number of a row as it is published, NaN where it was not measured.

    What rounds it further starts from here, so that table, picture, JSON and log round to the same digit.
    """
    table: type = type(row)
    value = column(table, key).published(row)
    return math.nan if value is None else float(value)


def record_of(row: Any) -> dict[str, Any]:
    """A row of a table as it is published: every column of its class by key."""
    table: type = type(row)
    return {each.key: each.published(row) for each in columns(table)}


def without_unseen(row: Row, unseen: Collection[str]) -> Row:
    """A row without the measures, and their standard errors, that need an instant the recording does not hold: None,
    NaN where the field has to be a number (published as null).

    Parameters
    ----------
    row : dataclass of a table
    unseen : collection of str
        Names of instants, see `Measure.needs`.
    """
    table: type = type(row)
    blank = {
        each.field: None if each.optional else math.nan
        for each in (columns(table) if unseen else ())
        if not each.measure.is_seen(unseen)
    }
    return replace(row, **blank) if blank else row  # type: ignore[type-var]


def row_of(table: type[Row], record: Mapping[str, object], **other: object) -> Row:
    """A row read back from its published record, the other way round than `record_of`.

    Parameters
    ----------
    table : type
    record : mapping
        Keys that are no column are passed over. A number that an older version did not give is NaN where the field
        has to be one, and published as null again.
    **other
        Fields that are not published.

    Raises
    ------
    InputError
        A value is of another kind than its column, or a text or whole number is missing.
    """
    found: dict[str, dict[str, object]] = {}
    known: type = table
    for each in columns(known):
        part, _, name = each.field.rpartition(".")
        value = record.get(each.key)
        if value is not None:
            found.setdefault(part, {})[name] = each.read(value)
        elif each.optional or each.kind == "number":
            found.setdefault(part, {})[name] = None if each.optional else math.nan
    parts = _types_of(known)
    own = found.pop("", {})
    try:
        return table(**own, **{name: parts[name](**values) for name, values in found.items()}, **other)
    except TypeError as error:
        raise InputError(f"the result is not whole: {error}", "process the recording again") from None
