"""Dataclasses as JSON and back, by the names and types of their fields; in the units of the outside at this edge.

A field is published under its name with the published unit (`armarc.measures.UNITS`): ``uncertainty_rad`` as
``uncertainty_deg``. What is called or rounded otherwise says so with `as_published`.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import MISSING, Field, fields, is_dataclass
from datetime import date
from functools import cache
from types import UnionType
from typing import Any, TypeVar, get_args, get_origin, get_type_hints

from armarc.errors import InputError
from armarc.measures import Unit, key_of, unit_of

Row = TypeVar("Row")


def as_published(decimals: int | None = None, *, key: str = "") -> dict[str, object]:
    """Metadata of a field that is published with other decimals than its unit's, or under a key of its own.

    Parameters
    ----------
    decimals : int or None
        None for those of the unit.
    key : str
        With a key that ends as the field does, the value keeps its unit.
    """
    return {"decimals": decimals, "key": key}


def _edge(one: Field[object]) -> tuple[str, float, int]:
    """Key, factor to the outside and decimals of a field."""
    unit, key, decimals = unit_of(one.name), one.metadata.get("key"), one.metadata.get("decimals")
    if key and key.endswith(unit.si):
        unit = Unit(unit.si, unit.si, unit.sign, 1.0, unit.decimals)
    return key or key_of(one.name), unit.factor, unit.decimals if decimals is None else decimals


@cache
def _edges(kind: type) -> tuple[tuple[str, str, float, int], ...]:
    """Name of each field of a dataclass, and its `_edge`."""
    return tuple((one.name, *_edge(one)) for one in fields(kind))


def published(row: Any, decimals: int | None = None) -> dict[str, Any]:
    """A dataclass JSON-ready: lists for tuples, null for None and for what is not finite, ISO 8601 for dates.

    Parameters
    ----------
    row : dataclass instance
        Of numbers, texts, tuples, mappings from texts, dates and further dataclasses.
    decimals : int or None
        Of every number; None for those of each field.
    """
    kind: type = type(row)
    return {
        key: _outside(getattr(row, name), factor, usual if decimals is None else decimals)
        for name, key, factor, usual in _edges(kind)
    }


def _outside(value: Any, factor: float, decimals: int) -> Any:
    if isinstance(value, float):
        # Adding zero turns a minus zero into a plain one.
        return round(value * factor, decimals) + 0.0 if math.isfinite(value) else None
    if value is None or isinstance(value, str | int):
        return value
    if isinstance(value, list | tuple):
        return [_outside(part, factor, decimals) for part in value]
    if is_dataclass(value):
        return published(value)
    if isinstance(value, Mapping):
        return {name: _outside(part, factor, decimals) for name, part in value.items()}
    if isinstance(value, date):
        return value.isoformat()
    return value


def read_back(kind: type[Row], record: Any) -> Row:
    """A dataclass from its `published` record; keys that are none of its fields are passed over.

    Raises
    ------
    InputError
        A value is of another kind than its field, or one without a default is missing.
    """
    if not isinstance(record, Mapping):
        raise InputError(f"the result has {record!r:.60} for a {kind.__name__}", _AGAIN)
    hints, found = get_type_hints(kind), {}
    for one in fields(kind):  # type: ignore[arg-type]
        key, factor, _ = _edge(one)
        if record.get(key) is not None:
            found[one.name] = _inside(hints[one.name], record[key], factor, key)
        elif one.default is MISSING and one.default_factory is MISSING:
            raise InputError(f"the result has no {key}", _AGAIN)
    return kind(**found)


_AGAIN = "process the recording again"
_PLAIN_KINDS: Mapping[object, type | UnionType] = {float: int | float, int: int, str: str, bool: bool}


def _inside(hint: Any, value: Any, factor: float, key: str) -> Any:
    if get_origin(hint) is UnionType:
        hint = next(part for part in get_args(hint) if part is not type(None))
    if isinstance(hint, type) and is_dataclass(hint):
        return read_back(hint, value)
    parts = get_args(hint)
    if get_origin(hint) is tuple and isinstance(value, list):
        kinds = [parts[0]] * len(value) if parts[-1] is Ellipsis else list(parts)
        if len(kinds) == len(value):
            return tuple(_inside(each, part, factor, key) for each, part in zip(kinds, value, strict=True))
    elif isinstance(value, Mapping) and len(parts) == 2:
        return {str(name): _inside(parts[1], part, factor, key) for name, part in value.items()}
    elif isinstance(value, _PLAIN_KINDS.get(hint, ())) and isinstance(value, bool) == (hint is bool):
        return float(value) / factor if isinstance(value, float | int) and factor != 1.0 else value
    raise InputError(f"the result has {value!r:.60} for {key}", _AGAIN)
