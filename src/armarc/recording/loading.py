"""One file: its columns, still in their own units and with their blanks, and its time in seconds."""

from __future__ import annotations

import math
import os
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from armarc.errors import FormatError, TimingError
from armarc.recording.columns import Choice, choose_columns
from armarc.recording.layout import Layout, is_number, sniff
from armarc.recording.metadata import rate_from
from armarc.recording.names import reading_of
from armarc.recording.stamps import Stamps, from_numbers, from_rate, from_text
from armarc.recording.table import Table, event_of, load_table
from armarc.recording.text import TextFile, open_text
from armarc.recording.types import FloatArray, largest
from armarc.recording.units import LARGEST_READING, LARGEST_STAMP, SCALE
from armarc.recording.unnamed import choose_unnamed

_INCLUDED = 0.3
"""Without gravity an acceleration averages nothing along it, whatever the movement; with it, at least 0.4."""


def with_gravity(
    acceleration: FloatArray, gravity: FloatArray, names: tuple[str, str]
) -> tuple[FloatArray, str]:
    """The accelerometer's reading, and a sentence saying how it was had.

    Where the acceleration holds gravity already, whatever its columns are called, it stays as it is. Where it does
    not, the two are added: the open sensor interfaces (W3C Accelerometer, its LinearAccelerationSensor and
    GravitySensor) split the reading so, whichever way it points at rest.

    Parameters
    ----------
    acceleration, gravity : ndarray, shape (n, 3), one unit; NaN where blank
    names : pair of str
        What the first columns of acceleration and gravity are called.
    """
    sound = np.isfinite(acceleration).all(axis=1) & np.isfinite(gravity).all(axis=1)
    a, g = acceleration[sound], gravity[sound]
    lengths = math.sqrt(float((a**2).sum()) * float((g**2).sum()))
    along = float((a * g).sum()) / lengths if lengths > 0 else 0.0
    named, pull = names
    if abs(along) > _INCLUDED:
        return acceleration, f"{named} … hold gravity already; {pull} … were left aside"
    return acceleration + gravity, f"{named} … and {pull} … were added to give the accelerometer's reading"


BOTH = ("acceleration", "angular_velocity")
_OWN_VERSIONS = ("1",)


@dataclass(slots=True, kw_only=True)
class LoadedFile:
    """What one file holds.

    ``acceleration`` and ``angular_velocity`` have shape (n, 3), in the file's units, NaN where a cell is
    blank; None for a quantity that was not asked for. ``head`` is the metadata found above and among the
    rows; ``empty_rows`` counts rows of zeros, which are blanks by then, ``asleep_rows`` those before the first
    reading.
    """

    file: str
    sha256: str
    layout: Layout
    choice: Choice
    stamps: Stamps
    acceleration: FloatArray | None
    angular_velocity: FloatArray | None
    temperature: FloatArray | None
    head: dict[str, Any]
    empty_rows: int = 0
    asleep_rows: int = 0
    inferences: list[str] = field(default_factory=list)
    warnings: list[str] = field(default_factory=list)

    def column_name(self, place: int) -> str:
        """Name of a column, or its number from 1."""
        return self.choice.names.get(place) or str(place + 1)

    def column_names(self, quantity: str) -> list[str]:
        """Names of the three columns of ``acceleration``, ``gravity`` or ``angular_velocity``."""
        return [self.column_name(place) for place in getattr(self.choice, quantity) or ()]


def load_file(
    path: str | os.PathLike[str],
    needed: tuple[str, ...] = BOTH,
    *,
    columns: Mapping[str, str],
    units: Mapping[str, str],
    rate_hz: float | None,
) -> LoadedFile:
    """Read one file.

    Parameters
    ----------
    path : str or PathLike
    needed : tuple of str
        Quantities this file has to carry.
    columns, units : mapping
        What the user stated, checked.
    rate_hz : float or None, Hz

    Raises
    ------
    FormatError, TimingError
    """
    source = open_text(path)
    layout = sniff(source)
    if layout.own:
        _check_version(source)
    choice = _choose(layout, source.file, columns, needed)
    time_is_text = choice.time is not None and rate_hz is None and not _is_numeric(layout, choice.time)
    texts = [choice.label, choice.time if time_is_text else None]
    wanted = _wanted(choice, rate_hz)
    table = load_table(source, layout, wanted, tuple(place for place in texts if place is not None))
    if table.values.shape[1] < 2:
        raise FormatError(
            "there is only one row of numbers",
            "record for at least a second",
            file=source.file,
            line=layout.data_line,
        )
    column = {place: table.values[row] for row, place in enumerate(wanted)}
    damaged = without_damage(column, choice)
    head = dict(layout.metadata)
    events = [event for event in map(event_of, table.comments) if event is not None]
    if events:
        head["events"] = [*head.get("events", []), *events]
    stamps = _stamps(layout, choice, source.file, column, table, units, rate_hz, head)
    loaded = loaded_columns(
        column,
        choice,
        layout,
        stamps,
        file=source.file,
        sha256=source.sha256,
        head=head,
        warnings=[*source.warnings, *table.warnings, *damaged],
    )
    if choice.label is not None:
        _split_by_label(loaded, table, choice.label)
    without_zeros(loaded)
    return loaded


def loaded_columns(
    column: Mapping[int, FloatArray],
    choice: Choice,
    layout: Layout,
    stamps: Stamps,
    *,
    file: str,
    sha256: str = "",
    head: dict[str, Any],
    warnings: list[str],
) -> LoadedFile:
    """Columns by place, undamaged, as what a file holds; rows of zeros are still among them."""
    loaded = LoadedFile(
        file=file,
        sha256=sha256,
        layout=layout,
        choice=choice,
        stamps=stamps,
        acceleration=_stack(column, choice.acceleration),
        angular_velocity=_stack(column, choice.angular_velocity),
        temperature=None if choice.temperature is None else column[choice.temperature],
        head=head,
        inferences=[*choice.inferences, *stamps.inferences],
        warnings=[*warnings, *stamps.warnings],
    )
    _add_gravity(loaded, _stack(column, choice.gravity))
    return loaded


def _choose(layout: Layout, file: str, columns: Mapping[str, str], needed: tuple[str, ...]) -> Choice:
    if layout.names or columns:
        return choose_columns(layout, file, columns, needed)
    if needed == BOTH:
        return choose_unnamed(layout, file)
    raise FormatError(
        "there is no header to tell the columns by",
        "add a header line, or number the columns with --columns",
        file=file,
        line=layout.data_line,
    )


def _check_version(source: TextFile) -> None:
    first = source.head(200).splitlines()[0].decode(errors="replace").split()
    version = first[-1] if first else ""
    if version not in _OWN_VERSIONS:
        raise FormatError(
            f"this recording has format {version}, which this armarc does not know",
            "update armarc",
            file=source.file,
            line=1,
        )


def _is_numeric(layout: Layout, place: int) -> bool:
    return all(is_number(row[place], layout.decimal) for row in layout.sample[:50])


def _wanted(choice: Choice, rate_hz: float | None) -> tuple[int, ...]:
    places: list[int] = []
    for group in (choice.acceleration, choice.angular_velocity, choice.gravity):
        places.extend(group or ())
    by_count = choice.time is None or rate_hz is not None
    singles = (None if rate_hz else choice.time, choice.counter if by_count else None, choice.temperature)
    places.extend(place for place in singles if place is not None)
    return tuple(dict.fromkeys(places))


def _stack(column: Mapping[int, FloatArray], places: tuple[int, int, int] | None) -> FloatArray | None:
    return None if places is None else np.column_stack([column[place] for place in places])


def without_damage(column: Mapping[int, FloatArray], choice: Choice) -> list[str]:
    """Blank what no sensor and no clock can give, in place, and say how much."""
    readings = (*(choice.acceleration or ()), *(choice.angular_velocity or ()), *(choice.gravity or ()))
    limits = dict.fromkeys((*readings, choice.temperature), LARGEST_READING)
    limits |= dict.fromkeys((choice.time, choice.counter), LARGEST_STAMP)
    counts = dict.fromkeys((LARGEST_READING, LARGEST_STAMP), 0)
    for place, limit in limits.items():
        if place in column:
            if largest(column[place]) <= limit:
                continue
            wrong = np.abs(column[place]) > limit
            if wrong.any():
                column[place][wrong] = np.nan
                counts[limit] += int(wrong.sum())
    named = {
        LARGEST_READING: "reading(s) far beyond any sensor",
        LARGEST_STAMP: "time(s) far beyond any clock",
    }
    return [f"{count} {named[limit]} were taken as missing" for limit, count in counts.items() if count]


def _add_gravity(loaded: LoadedFile, gravity: FloatArray | None) -> None:
    if gravity is None or loaded.acceleration is None:
        return
    mine, its = loaded.choice.units.get("acceleration"), loaded.choice.units.get("gravity")
    if mine and its:
        gravity = gravity * (SCALE["acceleration"][its] / SCALE["acceleration"][mine])
    names = (loaded.column_names("acceleration")[0], loaded.column_names("gravity")[0])
    loaded.acceleration, why = with_gravity(loaded.acceleration, gravity, names)
    loaded.inferences.append(why)


def without_zeros(loaded: LoadedFile) -> None:
    """Blank the rows of zeros that loggers write before the sensor woke and where a packet was lost.

    An accelerometer that reads exactly nothing on three axes is in free fall without noise, which none is; a
    gyroscope may rest at zero, so alone it is believed.
    """
    force, rate = loaded.acceleration, loaded.angular_velocity
    if force is None:
        return
    empty = (force[:, 0] == 0) & (force[:, 1] == 0) & (force[:, 2] == 0)
    if not empty.any() or empty.all():
        return
    loaded.acceleration = np.where(empty[:, None], np.nan, force)
    if rate is not None:
        silent = empty & (rate[:, 0] == 0) & (rate[:, 1] == 0) & (rate[:, 2] == 0)
        loaded.angular_velocity = np.where(silent[:, None], np.nan, rate)
    count = int(empty.sum())
    first = int(np.argmin(empty))
    loaded.warnings.append(
        f"{count} row(s) of zeros were taken as missing: the sensor was not awake or its packet was lost"
    )
    loaded.empty_rows, loaded.asleep_rows = count, first


def _stamps(
    layout: Layout,
    choice: Choice,
    file: str,
    column: Mapping[int, FloatArray],
    table: Table,
    units: Mapping[str, str],
    rate_hz: float | None,
    head: dict[str, Any],
) -> Stamps:
    if choice.time is None or rate_hz is not None:
        rate = rate_hz or rate_from(head)
        if rate is None:
            raise TimingError(
                "there is no time column and no sampling rate",
                "give the rate, as in --rate 100, or name the column: --columns time=NAME",
                file=file,
                line=layout.header_line,
            )
        counter = None if choice.counter is None else column.get(choice.counter)
        return from_rate(table.values.shape[1], rate, counter)
    name = choice.names.get(choice.time) or str(choice.time + 1)
    if choice.time in table.texts:
        return from_text(table.texts[choice.time], file=file, column=name, line=layout.data_line)
    named, stated = choice.units.get("time"), units.get("time")
    return from_numbers(column[choice.time], named=named, stated=stated, file=file, column=name)


def _split_by_label(loaded: LoadedFile, table: Table, label: int) -> None:
    names, which = np.unique(table.texts[label].astype(str), return_inverse=True)
    said = np.array([reading_of(name) or "" for name in names])[which]
    is_acceleration, is_rate = said == "acceleration", said == "angular_velocity"
    values = loaded.acceleration
    assert values is not None
    loaded.acceleration = np.where(is_acceleration[:, None], values, np.nan)
    loaded.angular_velocity = np.where(is_rate[:, None], values, np.nan)
