"""The raw stream: what a sensor delivered, cleaned of nothing and hiding nothing."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from armarc.errors import FormatError, TimingError
from armarc.recording.values import ArrayValue

if TYPE_CHECKING:
    import pandas as pd

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

STANDARD_GRAVITY_M_S2 = 9.80665
"""Standard acceleration of free fall (CGPM 1901, ISO 80000-3)."""


def _frozen(array: Any, dtype: type = np.float64) -> NDArray[Any]:
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
class Recording(ArrayValue):
    """One stream of accelerometer and gyroscope samples.

    Whoever makes one vouches for the units; `Recording.from_arrays` and `Recording.from_frame` check them.

    Parameters
    ----------
    time_s : ndarray, shape (n,), s
        Strictly rising, 0 at the first sample, or at the start of a file that began before its sensor woke. May be
        uneven and may have gaps.
    specific_force_m_s2 : ndarray, shape (n, 3), m/s²
        Sensor axes; at rest it reads +g upward.
    angular_velocity_rad_s : ndarray, shape (n, 3), rad/s
        Sensor axes, right-handed, bias not removed.
    rate_hz : float, Hz
        Nominal sampling rate.
    gaps : tuple of Gap
        Stretches longer than 50 ms (and longer than 1.5 sample periods) without samples.
    clipped : ndarray of bool, shape (n,)
        Samples where an axis sits at the end of its range.
    temperature_c : ndarray, shape (n,), °C, or None

    Raises
    ------
    TimingError
        Time does not rise strictly.
    FormatError
        Arrays of other shapes, a number that is none, or no sampling rate.
    """

    time_s: FloatArray
    specific_force_m_s2: FloatArray
    angular_velocity_rad_s: FloatArray
    rate_hz: float
    gaps: tuple[Gap, ...] = ()
    clipped: BoolArray | None = None
    temperature_c: FloatArray | None = None
    metadata: Metadata = field(default_factory=Metadata)
    source: Source = field(default_factory=Source)
    warnings: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        set_ = object.__setattr__
        set_(self, "time_s", _frozen(self.time_s))
        if self.time_s.ndim != 1:
            raise FormatError(f"expected time_s to have one axis, got the shape {self.time_s.shape}")
        n = len(self.time_s)
        clipped = np.zeros(n, bool) if self.clipped is None else self.clipped
        set_(self, "clipped", _frozen(clipped, np.bool_))
        shapes = {"specific_force_m_s2": (n, 3), "angular_velocity_rad_s": (n, 3), "clipped": (n,)}
        if self.temperature_c is not None:
            shapes["temperature_c"] = (n,)
        for name, shape in shapes.items():
            value = getattr(self, name)
            if value.dtype != np.bool_:
                value = _frozen(value)
                set_(self, name, value)
            if value.shape != shape:
                raise FormatError(f"expected {name} to have the shape {shape}, got {value.shape}")
        _check_numbers(self)

    @classmethod
    def from_arrays(
        cls,
        time: Any,
        acceleration: Any,
        angular_velocity: Any,
        *,
        units: Mapping[str, str] | str | None = None,
        temperature_c: Any = None,
        metadata: Metadata | None = None,
        axes: str | None = None,
        gravity_sign: str | None = None,
    ) -> Recording:
        """A recording from arrays, looked at as closely as a file is.

        Parameters
        ----------
        time : array, shape (n,)
            Numbers, or instants (``datetime64``).
        acceleration, angular_velocity : array, shape (n, 3)
            Sensor axes. Rows with NaN are left out, which `warnings` says.
        units : mapping or str
            Such as ``"gyroscope=deg/s"`` or ``{"acceleration": "g", "gyroscope": "deg/s"}``; what is not stated is
            told by gravity and by the steps of time, and `source` says how.
        temperature_c : array, shape (n,), °C, or None
        metadata : Metadata or None
        axes, gravity_sign : str or None
            See `armarc.recording.read_csv`.

        Raises
        ------
        FormatError, UnitError, TimingError
            The arrays cannot be used; the message says why and what to do.
        UsageError
            An option that makes no sense.

        Examples
        --------
        >>> import numpy as np
        >>> from armarc import Recording
        >>> t = np.arange(300) / 100
        >>> force = np.column_stack([0 * t, np.sin(t), np.cos(t)])  # in g, turning about x
        >>> rate = np.column_stack([np.full(300, 57.3), 0 * t, 0.01 * np.sin(t)])
        >>> Recording.from_arrays(t, force, rate, units="gyroscope=deg/s").source.units["acceleration"]
        'g'
        """
        from armarc.recording.arrays import recording_from_arrays

        return recording_from_arrays(
            time,
            acceleration,
            angular_velocity,
            units=units,
            temperature_c=temperature_c,
            metadata=metadata,
            axes=axes,
            gravity_sign=gravity_sign,
        )

    @classmethod
    def from_frame(
        cls,
        frame: pd.DataFrame,
        *,
        columns: Mapping[str, str] | str | None = None,
        units: Mapping[str, str] | str | None = None,
        metadata: Metadata | None = None,
        axes: str | None = None,
        gravity_sign: str | None = None,
    ) -> Recording:
        """A recording from a pandas frame, its columns recognised as those of a file are.

        Parameters
        ----------
        frame : pandas.DataFrame
            An index of instants (``DatetimeIndex``) stands for a time column.
        columns, units, axes, gravity_sign
            See `armarc.recording.read_csv`.
        metadata : Metadata or None

        Raises
        ------
        FormatError, UnitError, TimingError
            The frame cannot be used; the message names the column and says what to do.
        UsageError
            An option that makes no sense.
        """
        from armarc.recording.arrays import recording_from_frame

        return recording_from_frame(
            frame, columns=columns, units=units, metadata=metadata, axes=axes, gravity_sign=gravity_sign
        )

    @property
    def duration_s(self) -> float:
        """Time from the first to the last sample, s."""
        return float(self.time_s[-1] - self.time_s[0]) if len(self.time_s) else 0.0

    @property
    def is_clipped(self) -> BoolArray:
        """Shape (n,): samples where an axis sits at the end of its range."""
        assert self.clipped is not None
        return self.clipped


def _check_numbers(recording: Recording) -> None:
    if not (math.isfinite(recording.rate_hz) and recording.rate_hz > 0):
        raise FormatError(f"expected a positive rate_hz, got {recording.rate_hz}")
    time_s = recording.time_s
    for name in ("time_s", "specific_force_m_s2", "angular_velocity_rad_s"):
        value = getattr(recording, name)
        if not np.isfinite(value).all():
            first = int(np.argmin(np.isfinite(value).reshape(len(value), -1).all(axis=1)))
            raise FormatError(
                f"{name} holds a number that is none at sample {first}",
                "leave such samples out: a stretch without samples is a gap",
            )
    rising = time_s[1:] > time_s[:-1]
    if not rising.all():
        at = int(np.argmin(rising))
        raise TimingError(
            f"time does not rise: {time_s[at]:.9g} s is followed by {time_s[at + 1]:.9g} s at sample {at + 1}",
            "sort the samples and drop what is there twice; Recording.from_arrays does",
        )


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
