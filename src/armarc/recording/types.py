"""What comes with a raw stream (gaps, metadata, source), and the even pieces it is cut into."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any, TypedDict

import numpy as np
from numpy.typing import NDArray

from armarc.recording.values import ArrayValue

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
