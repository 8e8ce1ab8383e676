"""Reading a recording from a CSV file, whatever its dialect, columns and units."""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from armarc.errors import FormatError, TimingError, UsageError
from armarc.recording.clipping import ACCELEROMETER_RANGES_M_S2, GYROSCOPE_RANGES_RAD_S, clipped_samples
from armarc.recording.columns import AXES, Choice, choose_columns
from armarc.recording.consistency import gravity_agreement
from armarc.recording.inference import acceleration_unit, angular_velocity_unit
from armarc.recording.layout import Layout, is_number, sniff
from armarc.recording.merge import merge_streams
from armarc.recording.metadata import metadata_from, rate_from
from armarc.recording.sensor_axes import axis_matrix, reported_sign
from armarc.recording.stamps import (
    HIGHEST_RATE_HZ,
    LOWEST_RATE_HZ,
    Stamps,
    from_numbers,
    from_rate,
    from_text,
)
from armarc.recording.table import event_of, load_table
from armarc.recording.text import TextFile, open_text
from armarc.recording.timing import Timeline, clean_time, find_gaps
from armarc.recording.types import FloatArray, Metadata, Recording, Source
from armarc.recording.units import as_pairs, scale_of, stated_units
from armarc.recording.unnamed import choose_unnamed

SHORTEST_RECORDING_S = 0.9
_BOTH = ("acceleration", "angular_velocity")
_OWN_VERSIONS = ("1",)


@dataclass(slots=True, kw_only=True)
class _Loaded:
    """Columns of one file, still in their own units and with their blanks."""

    file: str
    sha256: str
    layout: Layout
    choice: Choice
    stamps: Stamps
    acceleration: FloatArray | None
    angular_velocity: FloatArray | None
    temperature: FloatArray | None
    head: dict[str, Any]
    inferences: list[str] = field(default_factory=list)
    warnings: list[str] = field(default_factory=list)


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
    """Read one recording; what was recognised and assumed is in `Recording.source` and `Recording.warnings`.

    Parameters
    ----------
    path : str or PathLike
        Text table, packed with gzip or not.
    rate_hz : float, Hz
        Sampling rate of a file without time stamps.
    gyroscope_path : str or PathLike
        Second file with the gyroscope, when `path` holds only the accelerometer.
    columns : mapping or str
        Column names or numbers (from 1) by role (time, ax, ay, az, gx, gy, gz, temperature), as a mapping or as
        ``"ax=acc_x,ay=acc_y"``.
    units : mapping or str
        Units of time, acceleration and gyroscope, as in ``"gyroscope=deg/s"``.
    axes : str
        Which file axes become x, y and z, as in ``"+y,-x,+z"``; a rotation.
    gravity_sign : {"reaction", "gravity"}
        What the accelerometer reads at rest: +g upward (default), or gravity itself.

    Returns
    -------
    Recording

    Raises
    ------
    FormatError, UnitError, TimingError
        The file cannot be used; the message names the place and what to do.
    UsageError
        An option that makes no sense.
    """
    stated = stated_units(units)
    roles = as_pairs(columns, "columns")
    matrix = axis_matrix(axes)
    if gravity_sign not in (None, "reaction", "gravity"):
        raise UsageError(f"there is no gravity sign {gravity_sign!r}", "use reaction or gravity")
    if gyroscope_path is None:
        first = _load(path, _BOTH, roles, stated, rate_hz)
        second = first
    else:
        first = _load(
            path, ("acceleration",), {k: v for k, v in roles.items() if k[0] != "g"}, stated, rate_hz
        )
        gyro_roles = {k: v for k, v in roles.items() if k[:1] == "g"}
        second = _load(gyroscope_path, ("angular_velocity",), gyro_roles, stated, rate_hz)
    return _assemble(first, second, stated, matrix, gravity_sign)


def _load(
    path: str | os.PathLike[str],
    needed: tuple[str, ...],
    roles: Mapping[str, str],
    stated: Mapping[str, str],
    rate_hz: float | None,
) -> _Loaded:
    source = open_text(path)
    layout = sniff(source)
    if layout.own:
        _check_version(source)
    if layout.names or roles:
        choice = choose_columns(layout, source.file, roles, needed)
    elif needed == _BOTH:
        choice = choose_unnamed(layout, source.file)
    else:
        raise FormatError(
            "there is no header to tell the columns by",
            "add a header line, or number the columns with --columns",
            file=source.file,
            line=layout.data_line,
        )
    time_is_text = choice.time is not None and not _column_is_number(layout, choice.time)
    texts = tuple(
        place for place in (choice.label, choice.time if time_is_text else None) if place is not None
    )
    wanted = _wanted(choice, rate_hz)
    table = load_table(source, layout, wanted, texts)
    column = {place: table.values[row] for row, place in enumerate(wanted)}
    if table.values.shape[1] < 2:
        raise FormatError(
            "there is only one row of numbers",
            "record for at least a second",
            file=source.file,
            line=layout.data_line,
        )
    head = dict(layout.metadata)
    events = [event for event in map(event_of, table.comments) if event is not None]
    if events:
        head["events"] = [*head.get("events", []), *events]
    stamps = _stamps(layout, choice, source.file, column, table.texts, stated, rate_hz, head)
    loaded = _Loaded(
        file=source.file,
        sha256=source.sha256,
        layout=layout,
        choice=choice,
        stamps=stamps,
        acceleration=_stack(column, choice.acceleration),
        angular_velocity=_stack(column, choice.angular_velocity),
        temperature=None if choice.temperature is None else column[choice.temperature],
        head=head,
        inferences=[*choice.inferences, *stamps.inferences],
        warnings=[*source.warnings, *table.warnings, *stamps.warnings],
    )
    if choice.gravity is not None and loaded.acceleration is not None:
        pull = _stack(column, choice.gravity)
        assert pull is not None
        loaded.acceleration = loaded.acceleration + pull
    if choice.label is not None:
        labels = np.char.lower(table.texts[choice.label].astype(str))
        is_acceleration = np.char.startswith(labels, "acc")
        is_rate = np.char.startswith(labels, "gyr") | np.char.startswith(labels, "angular")
        values = loaded.acceleration
        assert values is not None
        loaded.acceleration = np.where(is_acceleration[:, None], values, np.nan)
        loaded.angular_velocity = np.where(is_rate[:, None], values, np.nan)
    return loaded


def _check_version(source: TextFile) -> None:
    version = source.head(200).split(b"\n", 1)[0].decode(errors="replace").split()[-1]
    if version not in _OWN_VERSIONS:
        raise FormatError(
            f"this recording has format {version}, which this armarc does not know",
            "update armarc",
            file=source.file,
            line=1,
        )


def _column_is_number(layout: Layout, place: int) -> bool:
    return all(is_number(row[place], layout.decimal) for row in layout.sample[:50])


def _wanted(choice: Choice, rate_hz: float | None) -> tuple[int, ...]:
    places: list[int] = []
    singles = (choice.time, choice.counter if choice.time is None or rate_hz else None, choice.temperature)
    for group in (choice.acceleration, choice.angular_velocity, choice.gravity):
        places.extend(group or ())
    places.extend(place for place in singles if place is not None)
    return tuple(dict.fromkeys(places))


def _stack(column: Mapping[int, FloatArray], places: tuple[int, int, int] | None) -> FloatArray | None:
    return None if places is None else np.column_stack([column[place] for place in places])


def _stamps(
    layout: Layout,
    choice: Choice,
    file: str,
    column: Mapping[int, FloatArray],
    texts: Mapping[int, Any],
    stated: Mapping[str, str],
    rate_hz: float | None,
    head: Mapping[str, Any],
) -> Stamps:
    rate = rate_hz or (rate_from(dict(head)) if choice.time is None else None)
    if choice.time is None or rate_hz is not None:
        if rate is None:
            raise TimingError(
                "there is no time column and no sampling rate",
                "give the rate, as in --rate 100, or name the column: --columns time=NAME",
                file=file,
                line=layout.header_line,
            )
        count = len(next(iter(column.values())))
        return from_rate(count, rate, column.get(choice.counter) if choice.counter is not None else None)
    name = choice.names.get(choice.time) or str(choice.time + 1)
    if choice.time in texts:
        return from_text(texts[choice.time], file=file, column=name, line=layout.data_line)
    return from_numbers(
        column[choice.time], named=choice.units.get("time"), stated=stated.get("time"), file=file, column=name
    )


def _assemble(
    first: _Loaded, second: _Loaded, stated: Mapping[str, str], matrix: FloatArray, gravity_sign: str | None
) -> Recording:
    file = first.file
    missing = 0
    temperature: FloatArray | None = None
    acceleration, angular_velocity = first.acceleration, second.angular_velocity
    assert acceleration is not None
    assert angular_velocity is not None
    timed = np.isfinite(first.stamps.seconds)
    if first is second:
        has_force = np.isfinite(acceleration).all(axis=1) & timed
        has_rate = np.isfinite(angular_velocity).all(axis=1) & timed
        both = has_force & has_rate
        apart = min(has_force.sum(), has_rate.sum()) - both.sum()
        uneven = abs(int(has_force.sum()) - int(has_rate.sum()))
        two_streams = first.choice.label is not None or apart + uneven > 0.05 * max(both.sum(), 1)
        if not (has_force.any() and has_rate.any()):
            raise FormatError(
                "one of the two sensors has no complete row",
                "check the recording",
                file=file,
                line=first.layout.data_line,
            )
    else:
        has_force = np.isfinite(acceleration).all(axis=1) & timed
        has_rate = np.isfinite(angular_velocity).all(axis=1) & np.isfinite(second.stamps.seconds)
        missing = int((~has_force).sum() + (~has_rate).sum())
        two_streams = True
    if two_streams:
        shift = _clock_shift(first, second)
        force_line, acceleration = _stream(first.stamps, has_force, acceleration, file, 0.0)
        rate_line, angular_velocity = _stream(second.stamps, has_rate, angular_velocity, second.file, shift)
        timeline, acceleration, angular_velocity = merge_streams(
            force_line, acceleration, rate_line, angular_velocity, file=file
        )
    else:
        missing = int((~both).sum())
        joined = np.column_stack([acceleration, angular_velocity])[both]
        kept = np.flatnonzero(both)
        timeline = clean_time(first.stamps.seconds[both], first.stamps.quantum_s, joined, file=file)
        acceleration, angular_velocity = joined[timeline.rows, :3], joined[timeline.rows, 3:]
        if first.temperature is not None:
            temperature = first.temperature[kept][timeline.rows]
    return _finish(
        first,
        second,
        timeline,
        acceleration,
        angular_velocity,
        temperature,
        missing,
        stated,
        matrix,
        gravity_sign,
    )


def _stream(
    stamps: Stamps, present: Any, values: FloatArray, file: str, shift_s: float
) -> tuple[Timeline, FloatArray]:
    values = values[present]
    timeline = clean_time(stamps.seconds[present] + shift_s, stamps.quantum_s, values, file=file)
    return timeline, values[timeline.rows]


def _clock_shift(first: _Loaded, second: _Loaded) -> float:
    """What to add to the second file's seconds to count from the first's zero."""
    if first is second:
        return 0.0
    shift = second.stamps.origin_s - first.stamps.origin_s
    if second.stamps.unit == "samples" or first.stamps.unit == "samples":
        first.inferences.append("the two files were taken to start at the same instant")
        return 0.0
    first.inferences.append("the two files were taken to share one clock")
    return shift


def _finish(
    first: _Loaded,
    second: _Loaded,
    timeline: Timeline,
    acceleration: FloatArray,
    angular_velocity: FloatArray,
    temperature: FloatArray | None,
    missing: int,
    stated: Mapping[str, str],
    matrix: FloatArray,
    gravity_sign: str | None,
) -> Recording:
    file = first.file
    inferences = [
        *first.inferences,
        *(second.inferences if second is not first else ()),
        *timeline.inferences,
    ]
    warnings = [*first.warnings, *(second.warnings if second is not first else ()), *timeline.warnings]
    rate = 1.0 / timeline.period_s
    time_s = timeline.time_s - timeline.time_s[0]
    _check_extent(rate, time_s, file)
    _check_alive(acceleration, "accelerometer", file)
    _check_alive(angular_velocity, "gyroscope", second.file)
    if missing:
        warnings.append(f"{missing} row(s) with missing cells were left out")

    names_a, names_g = _names(first, "acceleration"), _names(second, "angular_velocity")
    unit_a, why = acceleration_unit(
        acceleration,
        stated=stated.get("acceleration"),
        named=first.choice.units.get("acceleration"),
        file=file,
        column=names_a[0],
    )
    inferences += why
    if second.choice.turned:
        angular_velocity, names_g, why = _order_of_greek(
            time_s, acceleration, angular_velocity, names_g, second.file
        )
        inferences += why
    force = acceleration * scale_of(unit_a, "acceleration")
    unit_g, why, doubts = angular_velocity_unit(
        time_s,
        force,
        angular_velocity,
        stated=stated.get("angular_velocity"),
        named=second.choice.units.get("angular_velocity"),
        file=second.file,
        column=names_g[0],
    )
    inferences += why
    warnings += doubts
    rotation = angular_velocity * scale_of(unit_g, "angular_velocity")

    sign, why = reported_sign(gravity_sign, first.choice.gravity_negated, first.layout.own)
    inferences += why
    metadata = metadata_from(_known_head(first, second))
    if metadata.started_at is None and first.stamps.started_at:
        metadata = _with_start(metadata, first.stamps.started_at)
    clipped = clipped_samples(force, ACCELEROMETER_RANGES_M_S2, 18.0, metadata.accelerometer_range_m_s2)
    clipped |= clipped_samples(rotation, GYROSCOPE_RANGES_RAD_S, 2.0, metadata.gyroscope_range_rad_s)
    n_clipped = int(clipped.sum())
    if n_clipped:
        warnings.append(
            f"{n_clipped} sample(s) sit at the end of the sensor's range; set a larger range on the sensor"
        )
    nominal = rate_from(first.head)
    if nominal and abs(nominal / rate - 1.0) > 0.02 and first.choice.time is not None:
        warnings.append(
            f"the file says {nominal:g} Hz, its time stamps say {rate:.4g} Hz; the stamps were believed"
        )
    columns = dict(zip(("ax", "ay", "az"), names_a, strict=True)) | dict(
        zip(("gx", "gy", "gz"), names_g, strict=True)
    )
    if first.choice.time is not None and first.stamps.unit != "samples":
        columns = {"time": _name(first, first.choice.time)} | columns
    return Recording(
        time_s=time_s,
        specific_force_m_s2=force @ (sign * matrix.T) if sign < 0 or not _is_identity(matrix) else force,
        angular_velocity_rad_s=rotation if _is_identity(matrix) else rotation @ matrix.T,
        rate_hz=rate,
        gaps=find_gaps(time_s, timeline.period_s),
        clipped=clipped,
        temperature_c=temperature,
        metadata=metadata,
        source=Source(
            file=file if second is first else f"{file} + {second.file}",
            columns=columns,
            units={"time": first.stamps.unit, "acceleration": unit_a, "angular_velocity": unit_g},
            inferences=tuple(dict.fromkeys(inferences)),
            jitter_s=timeline.jitter_s,
            duplicate_samples=timeline.duplicates,
            nan_samples=missing,
            clipped_samples=n_clipped,
            sha256=first.sha256 if second is first else f"{first.sha256}+{second.sha256}",
        ),
        warnings=tuple(dict.fromkeys(warnings)),
    )


def _check_extent(rate_hz: float, time_s: FloatArray, file: str) -> None:
    if not LOWEST_RATE_HZ * 0.97 <= rate_hz <= HIGHEST_RATE_HZ * 1.03:
        raise TimingError(
            f"the sampling rate is {rate_hz:.4g} Hz; a recording needs {LOWEST_RATE_HZ:.0f} to {HIGHEST_RATE_HZ:.0f} Hz",
            "check the unit of time (--units time=…) or record faster",
            file=file,
        )
    if float(time_s[-1]) < SHORTEST_RECORDING_S:
        raise TimingError(
            f"the recording lasts only {float(time_s[-1]):.2g} s", "record for at least a second", file=file
        )


def _check_alive(values: FloatArray, sensor: str, file: str) -> None:
    if (values == values[0]).all():
        raise FormatError(f"the {sensor} never changes", "check that it is switched on", file=file)


def _names(loaded: _Loaded, quantity: str) -> list[str]:
    places = loaded.choice.acceleration if quantity == "acceleration" else loaded.choice.angular_velocity
    return [_name(loaded, place) for place in places or ()]


def _name(loaded: _Loaded, place: int) -> str:
    return loaded.choice.names.get(place) or str(place + 1)


def _order_of_greek(
    time_s: FloatArray, acceleration: FloatArray, angular_velocity: FloatArray, names: list[str], file: str
) -> tuple[FloatArray, list[str], list[str]]:
    """Angular velocities named alpha, beta, gamma are about x, y, z in some sources and about z, x, y in others."""
    orders = {"x, y, z": [0, 1, 2], "z, x, y": [1, 2, 0]}
    agreements = {
        name: gravity_agreement(time_s, acceleration, angular_velocity[:, order])
        for name, order in orders.items()
    }
    best = max(agreements, key=lambda name: agreements[name].correlation)
    worst = min(agreements, key=lambda name: agreements[name].correlation)
    if not agreements[best].usable or agreements[best].correlation - agreements[worst].correlation < 0.2:
        raise FormatError(
            f"the columns {', '.join(names)} may be about x, y, z or about z, x, y, and the movement does not tell which",
            f"name them: --columns gx={names[0]},gy={names[1]},gz={names[2]}",
            file=file,
        )
    order = orders[best]
    why = f"{', '.join(names)} are the angular velocities about {best}: so gravity turns as the accelerometer shows"
    return angular_velocity[:, order], [names[i] for i in order], [why]


def _known_head(first: _Loaded, second: _Loaded) -> dict[str, Any]:
    head = (second.head if second is not first else {}) | first.head
    if first.layout.own:
        head.pop("rate_hz", None)
    return head


def _with_start(metadata: Metadata, started_at: str) -> Metadata:
    from dataclasses import replace

    return replace(metadata, started_at=started_at)


def _is_identity(matrix: FloatArray) -> bool:
    return bool((matrix == np.eye(len(AXES))).all())
