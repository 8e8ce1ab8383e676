"""The raw stream: what a sensor delivered, cleaned of nothing and hiding nothing; and the ways to get one."""

from __future__ import annotations

import math
import os
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np

from armarc.errors import FormatError, TimingError
from armarc.recording.arrays import fields_of_arrays, fields_of_frame, with_metadata
from armarc.recording.clipping import find_clipped
from armarc.recording.csv_reader import Stated, fields_of_file, fields_of_two_files
from armarc.recording.evidence import gravity_evidence
from armarc.recording.inference import acceleration_unit, angular_velocity_unit
from armarc.recording.types import ArrayValue, BoolArray, FloatArray, Gap, Metadata, Source, frozen
from armarc.recording.units import as_pairs

if TYPE_CHECKING:
    import pandas as pd


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
    clipped : ndarray of bool, shape (n,), or None
        Samples where an axis sits at the end of its range; None has them looked for.
    temperature_c : ndarray, shape (n,), °C, or None
    metadata : Metadata
    source : Source
    warnings : tuple of str
        What was doubtful.

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
        set_(self, "time_s", frozen(self.time_s))
        if self.time_s.ndim != 1:
            raise FormatError(f"expected time_s to have one axis, got the shape {self.time_s.shape}")
        n = len(self.time_s)
        shapes: dict[str, tuple[int, ...]] = {"specific_force_m_s2": (n, 3), "angular_velocity_rad_s": (n, 3)}
        if self.clipped is not None:
            set_(self, "clipped", frozen(self.clipped, np.bool_))
            shapes["clipped"] = (n,)
        if self.temperature_c is not None:
            shapes["temperature_c"] = (n,)
        for name, shape in shapes.items():
            value = getattr(self, name)
            if value.dtype != np.bool_:
                value = frozen(value)
                set_(self, name, value)
            if value.shape != shape:
                raise FormatError(f"expected {name} to have the shape {shape}, got {value.shape}")
        _check_numbers(self)
        if self.clipped is None:
            clipped, said = find_clipped(self.specific_force_m_s2, self.angular_velocity_rad_s, self.metadata)
            set_(self, "clipped", frozen(clipped, np.bool_))
            set_(self, "warnings", (*self.warnings, *said))

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
        stated = Stated.checked(units=units, axes=axes, gravity_sign=gravity_sign)
        fields = fields_of_arrays(time, acceleration, angular_velocity, temperature_c, stated)
        return cls(**with_metadata(fields, metadata))

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
        stated = Stated.checked(units=units, axes=axes, gravity_sign=gravity_sign)
        fields = fields_of_frame(frame, as_pairs(columns, "columns"), stated)
        return cls(**with_metadata(fields, metadata))

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


def read_csv(
    path: str | os.PathLike[str],
    *,
    rate_hz: float | None = None,
    gyroscope_path: str | os.PathLike[str] | None = None,
    columns: Mapping[str, str] | str | None = None,
    units: Mapping[str, str] | str | None = None,
    axes: str | None = None,
    gravity_sign: str | None = None,
) -> Recording:
    """Read one recording.

    What was recognised and assumed is in `Recording.source`, what was repaired or left out in
    `Recording.warnings`.

    Parameters
    ----------
    path : str or PathLike
        Text table, packed with gzip or not.
    rate_hz : float, Hz
        Sampling rate of a file without (usable) time stamps.
    gyroscope_path : str or PathLike
        Second file with the gyroscope, when `path` holds only the accelerometer.
    columns : mapping or str
        Column names or numbers (from 1) by role (time, ax, ay, az, gx, gy, gz, temperature), as a mapping or
        as ``"ax=acc_x,ay=acc_y"``.
    units : mapping or str
        Units of time, acceleration and gyroscope, as in ``"gyroscope=deg/s"``.
    axes : str
        Which file axes become x, y and z, as in ``"+y,-x,+z"``; a rotation.
    gravity_sign : {"reaction", "gravity"}
        What the accelerometer reads at rest: +g upward (default), or gravity itself.

    Raises
    ------
    FormatError, UnitError, TimingError
        The file cannot be used; the message names the place and what to do.
    UsageError
        An option that makes no sense.
    """
    stated = Stated.checked(
        columns=columns, units=units, rate_hz=rate_hz, axes=axes, gravity_sign=gravity_sign
    )
    if gyroscope_path is None:
        return Recording(**fields_of_file(path, stated))
    return Recording(**fields_of_two_files(path, gyroscope_path, stated))


def check_units(recording: Recording) -> None:
    """Refuse a recording whose maker did not keep to m/s² and rad/s; one that was read or checked passes at once.

    Raises
    ------
    UnitError, FormatError
        Gravity contradicts the units, or is missing.
    """
    if recording.source.units or len(recording.time_s) < 3:
        return
    time_s, force, rate = (
        recording.time_s,
        recording.specific_force_m_s2,
        recording.angular_velocity_rad_s,
    )
    evidence = gravity_evidence(time_s, force, rate)
    what = "the recording"
    acceleration_unit(
        force, evidence, stated=None, named="m/s2", gyroscope="rad/s", file=what, column="specific_force_m_s2"
    )
    angular_velocity_unit(
        time_s, force, rate, evidence, stated=None, named="rad/s", file=what, column="angular_velocity_rad_s"
    )
