"""Values that hold arrays: they never change, equal ones are equal, and they are shown in a line."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from typing import Any

import numpy as np

_LONGEST = 60


class ArrayValue:
    """Base of frozen dataclasses with arrays in them, declared with ``eq=False, repr=False``.

    Arrays are read-only. Two values are equal when all of their fields are, number by number, NaN like NaN.
    """

    __slots__ = ()

    def __post_init__(self) -> None:
        for field in fields(self):  # type: ignore[arg-type]
            value = getattr(self, field.name)
            if isinstance(value, np.ndarray) and value.flags.writeable:
                view = value.view()
                view.flags.writeable = False
                object.__setattr__(self, field.name, view)

    def __eq__(self, other: object) -> bool:
        if type(other) is not type(self):
            return NotImplemented
        return all(
            _equal(getattr(self, field.name), getattr(other, field.name))
            for field in fields(self)  # type: ignore[arg-type]
        )

    def __hash__(self) -> int:
        return hash((type(self), *(_hashed(getattr(self, f.name)) for f in fields(self))))  # type: ignore[arg-type]

    def __repr__(self) -> str:
        shown = (
            f"{field.name}={shown_in_short(value)}"
            for field in fields(self)  # type: ignore[arg-type]
            if (value := getattr(self, field.name)) is not None
        )
        return f"{type(self).__name__}({', '.join(shown)})"


def shown_in_short(value: object) -> str:
    """A value in a few words: the shape of an array, how many of what are in a long tuple."""
    if isinstance(value, np.ndarray):
        return f"<{' × '.join(map(str, value.shape))} {value.dtype}>"
    if isinstance(value, tuple) and value and is_dataclass(value[0]):
        return f"<{len(value)} {type(value[0]).__name__}>"
    if is_dataclass(value):
        return f"<{type(value).__name__}>"
    text = repr(value)
    return text if len(text) <= _LONGEST else f"{text[: _LONGEST - 1]}…"


def _equal(one: Any, other: Any) -> bool:
    if isinstance(one, np.ndarray) or isinstance(other, np.ndarray):
        if not (isinstance(one, np.ndarray) and isinstance(other, np.ndarray)):
            return False
        return np.array_equal(one, other, equal_nan=one.dtype.kind == other.dtype.kind == "f")
    if isinstance(one, tuple) and isinstance(other, tuple):
        return len(one) == len(other) and all(map(_equal, one, other))
    if isinstance(one, Mapping) and isinstance(other, Mapping):
        return one.keys() == other.keys() and all(_equal(one[key], other[key]) for key in one)
    return bool(one == other)


def _hashed(value: Any) -> Any:
    """Something that can be hashed and is the same for equal values; it need not tell all others apart."""
    if isinstance(value, np.ndarray):
        total = float(np.nansum(value))
        return value.shape, total if np.isfinite(total) else 0.0
    if isinstance(value, tuple | list):
        return tuple(map(_hashed, value))
    if isinstance(value, Mapping):
        return tuple(sorted(map(str, value)))
    if is_dataclass(value) and not isinstance(value, ArrayValue):
        return tuple(_hashed(getattr(value, field.name)) for field in fields(value))
    return value
