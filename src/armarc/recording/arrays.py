"""Arrays and frames in memory as the fields of a recording, looked at as closely as files are."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np

from armarc.errors import FormatError, TimingError
from armarc.recording.columns import Choice, choose_columns
from armarc.recording.csv_reader import Stated, fields_of, one_file
from armarc.recording.layout import Layout
from armarc.recording.loading import loaded_columns, without_damage, without_zeros
from armarc.recording.stamps import TURNED, Stamps, from_numbers, from_text, without_turned_clock
from armarc.recording.types import Fields, FloatArray, Metadata

if TYPE_CHECKING:
    import pandas as pd

_LOOKED_AT = 200


def fields_of_arrays(
    time: Any, acceleration: Any, angular_velocity: Any, temperature_c: Any, stated: Stated
) -> Fields:
    """See `armarc.recording.Recording.from_arrays`."""
    stamps = _plain(time)
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
        for row in table.reshape(n, math.prod(shape[1:])).T:
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
    return _fields(stamps, column, choice, layout, "the arrays", stated)


def fields_of_frame(frame: pd.DataFrame, columns: dict[str, str], stated: Stated) -> Fields:
    """See `armarc.recording.Recording.from_frame`."""
    if not (hasattr(frame, "columns") and hasattr(frame, "iloc")):
        raise FormatError(
            f"expected a table of pandas, got {type(frame).__name__}",
            "pandas.DataFrame(…) makes one; Recording.from_arrays takes arrays",
        )
    if frame.index.dtype.kind in "mM":
        frame = frame.reset_index(names="time")
    names = tuple(map(str, frame.columns))
    sample = tuple(tuple(map(str, row)) for row in frame.head(_LOOKED_AT).itertuples(index=False))
    layout = _layout(names, sample)
    choice = choose_columns(layout, "the frame", columns)
    if choice.label is not None:
        raise FormatError(
            f"the rows of the frame belong to one sensor or the other, as {names[choice.label]!r} says",
            "give each quantity columns of its own",
        )
    if choice.time is None:
        instants = [place for place, kind in enumerate(frame.dtypes) if kind.kind in "mM"]
        if len(instants) == 1:  # a column of dates is a time, whatever its name
            named = {**choice.names, instants[0]: names[instants[0]]}
            choice = replace(choice, time=instants[0], names=named)
    if choice.time is None:
        hint = "name it: columns='time=…'; one in the index becomes a column by frame.reset_index()"
        raise TimingError("no column of the frame is a time", hint)
    places = [*(choice.acceleration or ()), *(choice.angular_velocity or ()), *(choice.gravity or ())]
    places += [] if choice.temperature is None else [choice.temperature]
    column = {place: _numbers(frame.iloc[:, place], names[place]).copy() for place in places}
    time = frame.iloc[:, choice.time]
    if getattr(time.dtype, "tz", None) is not None:
        time = time.astype(str)  # as a file would say it, with its zone
    return _fields(time.to_numpy(), column, choice, layout, "the frame", stated)


def _fields(
    time: Any,
    column: dict[int, FloatArray],
    choice: Choice,
    layout: Layout,
    what: str,
    stated: Stated,
) -> Fields:
    if len(time) < 3:
        raise TimingError("fewer than three samples", "record for longer", file=what)
    assert choice.time is not None
    named = choice.names.get(choice.time) or "time"
    stamps = _stamps(time, choice.units.get("time"), stated.units.get("time"), what, named)
    damaged = without_damage(column, choice)
    loaded = loaded_columns(column, choice, layout, stamps, file=what, head={}, warnings=damaged)
    without_zeros(loaded)
    return fields_of(loaded, loaded, one_file(loaded), stated)


def with_metadata(fields: Fields, stated: Metadata | None) -> Fields:
    """The fields with the metadata somebody stated, if they did; when it began may be known from the time alone."""
    if stated is not None:
        begun = stated.started_at or fields["metadata"].started_at
        fields["metadata"] = replace(stated, started_at=begun)
    return fields


def _stamps(time: Any, named: str | None, stated: str | None, what: str, column: str) -> Stamps:
    if time.dtype.kind in "OUST" and not _counts(time):
        return from_text(time, file=what, column=column, line=1)
    if time.dtype.kind in "mM":
        if np.isnat(time).any():
            raise TimingError("a time is missing", "leave such samples out", file=what, column=column)
        seconds, began = (time - time[0]) / np.timedelta64(1, "s"), None
        warnings: tuple[str, ...] = ()
        if time.dtype.kind == "M":
            began = str(np.datetime_as_string(time[0], unit="ms"))
            past_hour = (time[0] - time[0].astype("datetime64[h]")) / np.timedelta64(1, "s")
            seconds, turned = without_turned_clock(seconds + past_hour)
            seconds, warnings = seconds - past_hour, (TURNED,) * (turned > 0)
        stamps = from_numbers(seconds, named=None, stated="s", file=what, column=column)
        return replace(stamps, unit="instants", started_at=began, warnings=(*warnings, *stamps.warnings))
    return from_numbers(_numbers(time, column), named=named, stated=stated, file=what, column=column)


def _counts(time: Any) -> bool:
    """Whether objects or texts are plain numbers all along."""
    try:
        return bool(np.isfinite(time.astype(np.float64)).any())
    except (TypeError, ValueError):
        return False


def _plain(values: Any) -> Any:
    """An array; what a mask hides is missing, whatever stands there."""
    if not isinstance(values, np.ma.MaskedArray):
        return np.asarray(values)
    if values.dtype.kind == "M":
        return np.ma.filled(values, np.datetime64("NaT"))
    return np.ma.filled(values.astype(np.float64), np.nan)


def _numbers(values: Any, name: str) -> FloatArray:
    if np.iscomplexobj(values):
        raise FormatError(f"{name} holds complex numbers", "give real ones")
    if np.asarray(values).dtype.kind == "b":
        raise FormatError(f"{name} holds true and false", "give the readings")
    try:
        return np.asarray(_plain(values), dtype=np.float64)
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
