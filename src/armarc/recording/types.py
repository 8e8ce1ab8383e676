"""What comes with a raw stream (gaps, metadata, source), and the even pieces it is cut into."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, fields, is_dataclass
from typing import Any, TypedDict

import numpy as np
from numpy.typing import NDArray

_LONGEST = 60


class ArrayValue:
    """Base of frozen dataclasses with arrays in them, declared with ``eq=False, repr=False``.

    Arrays are read-only. Two values are equal when all of their fields are, number by number, NaN like NaN.
    """

    __slots__ = ()

    def __post_init__(self) -> None:
        for one in fields(self):  # type: ignore[arg-type]
            value = getattr(self, one.name)
            if isinstance(value, np.ndarray) and value.flags.writeable:
                view = value.view()
                view.flags.writeable = False
                object.__setattr__(self, one.name, view)

    def __eq__(self, other: object) -> bool:
        if type(other) is not type(self):
            return NotImplemented
        return all(
            _equal(getattr(self, one.name), getattr(other, one.name))
            for one in fields(self)  # type: ignore[arg-type]
        )

    def __hash__(self) -> int:
        return hash((type(self), *(_hashed(getattr(self, f.name)) for f in fields(self))))  # type: ignore[arg-type]

    def __repr__(self) -> str:
        shown = (
            f"{one.name}={shown_in_short(value)}"
            for one in fields(self)  # type: ignore[arg-type]
            if (value := getattr(self, one.name)) is not None
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


FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

STANDARD_GRAVITY_M_S2 = 9.80665
"""Standard acceleration of free fall (CGPM 1901, ISO 80000-3)."""


def frozen(array: Any, dtype: type = np.float64) -> NDArray[Any]:
    """The array as rows of a type in memory order, read-only; the caller's own stays writable."""
    out: NDArray[Any] = np.ascontiguousarray(array, dtype=dtype)
    if out is array:
        out = out.view()
    out.flags.writeable = False
    return out


def largest(values: FloatArray) -> float:
    """Largest size among numbers, NaN where one is none: both ends, without an array of sizes."""
    return float(np.maximum(values.max(), -values.min()))


@dataclass(frozen=True, slots=True, kw_only=True)
class Gap:
    """A stretch without samples, seconds from the recording's first sample."""

    start_s: float
    end_s: float
    missing_samples: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Metadata:
    """What is known about a recording besides its samples; everything is optional.

    ``strap`` is the place on the wrist (``"back"``, ``"inside"``, ``"thumb"``, ``"little-finger"``) and
    ``hand_axis`` the sensor axis that points to the hand (``"+x"`` … ``"-z"``). ``other`` keeps header keys
    armarc does not know, so that nothing is lost when a recording is written again.
    """

    exercise: str | None = None
    side: str | None = None
    load_kg: float | None = None
    sensor: str | None = None
    strap: str | None = None
    hand_axis: str | None = None
    started_at: str | None = None
    note: str | None = None
    accelerometer_range_m_s2: float | None = None
    gyroscope_range_rad_s: float | None = None
    other: dict[str, Any] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class Source:
    """Where a recording came from and what was found and inferred while reading it.

    ``columns`` maps ``time, ax … gz`` to the file's column names, ``units`` maps ``time, acceleration,
    angular_velocity`` to unit names; ``clock_start_s`` is what the file's own clock says where the recording's time
    is zero; ``inferences`` are sentences saying what was concluded from what.
    """

    file: str = ""
    columns: dict[str, str] = field(default_factory=dict)
    units: dict[str, str] = field(default_factory=dict)
    inferences: tuple[str, ...] = ()
    clock_start_s: float | None = None
    jitter_s: float = 0.0
    duplicate_samples: int = 0
    nan_samples: int = 0
    clipped_samples: int = 0
    sha256: str = ""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class Piece(ArrayValue):
    """An evenly sampled stretch of a recording: what orientation and reps are computed on.

    Parameters
    ----------
    start_s : float, s
        Time of the first sample, counted from the recording's first sample.
    rate_hz : float, Hz
    specific_force_m_s2, angular_velocity_rad_s : ndarray, shape (n, 3)
    missing : ndarray of bool, shape (n,)
        Samples that were filled in over a gap; everything that touches one is flagged.
    clipped : ndarray of bool, shape (n,)
    """

    start_s: float
    rate_hz: float
    specific_force_m_s2: FloatArray
    angular_velocity_rad_s: FloatArray
    missing: BoolArray
    clipped: BoolArray

    @property
    def time_s(self) -> FloatArray:
        """Shape (n,): sample times in s from the recording's first sample."""
        return self.start_s + np.arange(len(self.missing)) / self.rate_hz


class Fields(TypedDict):
    """What a `Recording` is made of."""

    time_s: FloatArray
    specific_force_m_s2: FloatArray
    angular_velocity_rad_s: FloatArray
    rate_hz: float
    gaps: tuple[Gap, ...]
    clipped: BoolArray
    temperature_c: FloatArray | None
    metadata: Metadata
    source: Source
    warnings: tuple[str, ...]
