"""Recordings from arrays and frames in memory, looked at as closely as files are."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np

from armarc.errors import FormatError, TimingError
from armarc.recording.columns import Choice, choose_columns
from armarc.recording.csv_reader import Stated, one_file, recording_of
from armarc.recording.evidence import gravity_evidence
from armarc.recording.inference import acceleration_unit, angular_velocity_unit
from armarc.recording.layout import Layout
from armarc.recording.loading import loaded_columns, without_damage, without_zeros
from armarc.recording.sensor_axes import axis_matrix
from armarc.recording.stamps import Stamps, from_numbers, from_text
from armarc.recording.types import FloatArray, Metadata, Recording
from armarc.recording.units import as_pairs, stated_units

if TYPE_CHECKING:
    import pandas as pd

Words = Mapping[str, str] | str | None
_LOOKED_AT = 200


def recording_from_arrays(
    time: Any,
    acceleration: Any,
    angular_velocity: Any,
    *,
    units: Words,
    temperature_c: Any,
    metadata: Metadata | None,
    axes: str | None,
    gravity_sign: str | None,
) -> Recording:
    """See `Recording.from_arrays`."""
    stamps = np.asarray(time)
    if stamps.ndim != 1:
        raise FormatError(f"expected time to have one axis, got the shape {stamps.shape}")
    n = len(stamps)
    readings: dict[str, tuple[Any, tuple[int, ...]]] = {
        "acceleration": (acceleration, (n, 3)),
        "angular_velocity": (angular_velocity, (n, 3)),
    }
    if temperature_c is not None:
        readings["temperature_c"] = temperature_c, (n,)
    column: dict[int, FloatArray] = {}
    for name, (values, shape) in readings.items():
        table = _numbers(values, name)
        if table.shape != shape:
            raise FormatError(f"expected {name} to have the shape {shape}, got {table.shape}")
        for row in table.reshape(n, -1).T:
            column[1 + len(column)] = row.copy()
    names = ("time", "ax", "ay", "az", "gx", "gy", "gz", "temperature")
    choice = Choice(
        time=0,
        acceleration=(1, 2, 3),
        angular_velocity=(4, 5, 6),
        temperature=None if temperature_c is None else 7,
        names=dict(enumerate(names)),
    )
    layout = _layout(names[: 1 + len(column)], ())
    return _recording(
        stamps, column, choice, layout, "the arrays", metadata, _stated(units, axes, gravity_sign)
    )


def recording_from_frame(
    frame: pd.DataFrame,
    *,
    columns: Words,
    units: Words,
    metadata: Metadata | None,
    axes: str | None,
    gravity_sign: str | None,
) -> Recording:
    """See `Recording.from_frame`."""
    if frame.index.dtype.kind == "M":
        frame = frame.reset_index(names="time")
    names = tuple(map(str, frame.columns))
    sample = tuple(tuple(map(str, row)) for row in frame.head(_LOOKED_AT).itertuples(index=False))
    layout = _layout(names, sample)
    stated = _stated(units, axes, gravity_sign)
    choice = choose_columns(layout, "the frame", as_pairs(columns, "columns"))
    if choice.label is not None:
        raise FormatError(
            f"the rows of the frame belong to one sensor or the other, as {names[choice.label]!r} says",
            "give each quantity columns of its own",
        )
    if choice.time is None:
        raise TimingError("no column of the frame is a time", "name it: columns='time=…'")
    places = [*(choice.acceleration or ()), *(choice.angular_velocity or ()), *(choice.gravity or ())]
    places += [] if choice.temperature is None else [choice.temperature]
    column = {place: _numbers(frame.iloc[:, place], names[place]).copy() for place in places}
    time = frame.iloc[:, choice.time]
    if getattr(time.dtype, "tz", None) is not None:
        time = time.astype(str)  # as a file would say it, with its zone
    return _recording(time.to_numpy(), column, choice, layout, "the frame", metadata, stated)


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


def _recording(
    time: Any,
    column: dict[int, FloatArray],
    choice: Choice,
    layout: Layout,
    what: str,
    metadata: Metadata | None,
    stated: Stated,
) -> Recording:
    if len(time) < 3:
        raise TimingError("fewer than three samples", "record for longer", file=what)
    assert choice.time is not None
    named = choice.names.get(choice.time) or "time"
    stamps = _stamps(time, choice.units.get("time"), stated.units.get("time"), what, named)
    damaged = without_damage(column, choice)
    loaded = loaded_columns(column, choice, layout, stamps, file=what, head={}, warnings=damaged)
    without_zeros(loaded)
    made = recording_of(loaded, loaded, one_file(loaded), stated)
    if metadata is None:
        return made
    return replace(
        made, metadata=replace(metadata, started_at=metadata.started_at or made.metadata.started_at)
    )


def _stamps(time: Any, named: str | None, stated: str | None, what: str, column: str) -> Stamps:
    if time.dtype.kind in "OUST":
        return from_text(time, file=what, column=column, line=1)
    if time.dtype.kind in "mM":
        if np.isnat(time).any():
            raise TimingError("a time is missing", "leave such samples out", file=what, column=column)
        seconds = (time - time[0]) / np.timedelta64(1, "s")
        stamps = from_numbers(seconds, named=None, stated="s", file=what, column=column)
        began = None if time.dtype.kind == "m" else str(np.datetime_as_string(time[0], unit="ms"))
        return replace(stamps, unit="instants", started_at=began)
    return from_numbers(_numbers(time, column), named=named, stated=stated, file=what, column=column)


def _numbers(values: Any, name: str) -> FloatArray:
    try:
        return np.asarray(values, dtype=np.float64)
    except (TypeError, ValueError):
        raise FormatError(f"{name} does not hold numbers") from None


def _layout(names: tuple[str, ...], sample: tuple[tuple[str, ...], ...]) -> Layout:
    return Layout(
        delimiter=",",
        decimal=".",
        names=names,
        unit_row=(),
        n_columns=len(names),
        header_line=None,
        header_text=b"",
        data_start=0,
        data_line=1,
        sample=sample,
        own=False,
    )


def _stated(units: Words, axes: str | None, gravity_sign: str | None) -> Stated:
    return Stated(
        columns={},
        units=stated_units(units),
        rate_hz=None,
        matrix=axis_matrix(axes),
        gravity_sign=gravity_sign,
    )
