"""What a CSV file says, whatever its dialect, columns and units, as the fields of a recording."""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from armarc.errors import FormatError, TimingError, UsageError
from armarc.recording.clipping import find_clipped
from armarc.recording.evidence import gravity_evidence
from armarc.recording.inference import acceleration_unit, angular_velocity_unit, check_not_exchanged
from armarc.recording.loading import LoadedFile, load_file
from armarc.recording.merge import merge_streams
from armarc.recording.metadata import ROUNDING_KEYS, metadata_from, rate_from
from armarc.recording.rests import gravity_at_rest
from armarc.recording.sensor_axes import axes_warning, axis_matrix, order_of_greek, reported_sign
from armarc.recording.stamps import HIGHEST_RATE_HZ, LOWEST_RATE_HZ, Stamps
from armarc.recording.timing import SampleTimes, clean_time, find_gaps
from armarc.recording.types import BoolArray, Fields, FloatArray, Metadata, Source
from armarc.recording.units import as_pairs, scale_of, stated_units

Words = Mapping[str, str] | str | None
SHORTEST_RECORDING_S = 0.9


@dataclass(frozen=True, slots=True, kw_only=True)
class Stated:
    """What the user stated, checked."""

    columns: dict[str, str]
    units: dict[str, str]
    rate_hz: float | None
    matrix: FloatArray
    gravity_sign: str | None

    @classmethod
    def checked(
        cls,
        *,
        columns: Words = None,
        units: Words = None,
        rate_hz: float | None = None,
        axes: str | None = None,
        gravity_sign: str | None = None,
    ) -> Stated:
        """From the words of the user (see `armarc.recording.read_csv`).

        Raises
        ------
        UsageError
            One that makes no sense.
        """
        if gravity_sign not in (None, "reaction", "gravity"):
            raise UsageError(f"there is no gravity sign {gravity_sign!r}", "use reaction or gravity")
        return cls(
            columns=as_pairs(columns, "columns"),
            units=stated_units(units),
            rate_hz=rate_hz,
            matrix=axis_matrix(axes),
            gravity_sign=gravity_sign,
        )


@dataclass(slots=True, kw_only=True)
class _Samples:
    """Both quantities on one timeline, in the file's units."""

    timeline: SampleTimes
    acceleration: FloatArray
    angular_velocity: FloatArray
    temperature: FloatArray | None
    incomplete_rows: int


def fields_of_file(path: str | os.PathLike[str], stated: Stated) -> Fields:
    """Both quantities from one file."""
    loaded = load_file(path, columns=stated.columns, units=stated.units, rate_hz=stated.rate_hz)
    return fields_of(loaded, loaded, one_file(loaded), stated)


def fields_of_two_files(
    path: str | os.PathLike[str], gyroscope_path: str | os.PathLike[str], stated: Stated
) -> Fields:
    """The accelerometer from one file, the gyroscope from another."""
    mine = {role: name for role, name in stated.columns.items() if not role.startswith("g")}
    theirs = {role: name for role, name in stated.columns.items() if role.startswith("g")}
    units, rate_hz = stated.units, stated.rate_hz
    first = load_file(path, ("acceleration",), columns=mine, units=units, rate_hz=rate_hz)
    second = load_file(gyroscope_path, ("angular_velocity",), columns=theirs, units=units, rate_hz=rate_hz)
    return fields_of(first, second, _two_files(first, second), stated)


def one_file(loaded: LoadedFile) -> _Samples:
    """Both quantities of one file on one timeline.

    Raises
    ------
    FormatError, TimingError
        A quantity has no complete row, or the stamps are none.
    """
    acceleration, angular_velocity = loaded.acceleration, loaded.angular_velocity
    assert acceleration is not None
    assert angular_velocity is not None
    timed = np.isfinite(loaded.stamps.seconds)
    has_force = _complete(acceleration) & timed
    has_rate = _complete(angular_velocity) & timed
    both = has_force & has_rate
    if not (has_force.any() and has_rate.any()):
        sensor = "gyroscope" if has_force.any() else "accelerometer"
        raise FormatError(
            f"the {sensor} has not one complete row",
            "check the recording, or name the columns with --columns",
            file=loaded.file,
            line=loaded.layout.data_line,
        )
    forces, rates, pairs = int(has_force.sum()), int(has_rate.sum()), int(both.sum())
    # Blanks here and there are lost rows; whole rows of one sensor only are two sensors at their own rates.
    if loaded.choice.label is not None or forces + rates - 2 * pairs > 0.05 * max(forces, rates):
        return _merged(loaded, has_force, loaded, has_rate, 0.0)
    stamps, seconds = loaded.stamps, loaded.stamps.seconds
    if pairs < len(both):
        acceleration, angular_velocity, seconds = acceleration[both], angular_velocity[both], seconds[both]
    timeline = clean_time(seconds, stamps.quantum_s, acceleration, angular_velocity, file=loaded.file)
    temperature = None if loaded.temperature is None else timeline.select(loaded.temperature[both])
    return _Samples(
        timeline=timeline,
        acceleration=timeline.select(acceleration),
        angular_velocity=timeline.select(angular_velocity),
        temperature=temperature,
        incomplete_rows=len(both) - pairs,
    )


def _two_files(first: LoadedFile, second: LoadedFile) -> _Samples:
    assert first.acceleration is not None
    assert second.angular_velocity is not None
    has_force = _complete(first.acceleration) & np.isfinite(first.stamps.seconds)
    has_rate = _complete(second.angular_velocity) & np.isfinite(second.stamps.seconds)
    if "samples" in (first.stamps.unit, second.stamps.unit):
        first.inferences.append("the two files were taken to start at the same instant")
        shift = 0.0
    else:
        first.inferences.append("the two files were taken to share one clock")
        shift = second.stamps.origin_s - first.stamps.origin_s
    samples = _merged(first, has_force, second, has_rate, shift)
    samples.incomplete_rows = int((~has_force).sum() + (~has_rate).sum())
    return samples


def _complete(values: FloatArray) -> BoolArray:
    """Rows without a blank; column by column, which is many times faster than across rows of three."""
    x, y, z = values.T
    return np.asarray(np.isfinite(x) & np.isfinite(y) & np.isfinite(z))


def _merged(
    first: LoadedFile, has_force: BoolArray, second: LoadedFile, has_rate: BoolArray, shift_s: float
) -> _Samples:
    assert first.acceleration is not None
    assert second.angular_velocity is not None
    force_line, acceleration = _stream(first.stamps, has_force, first.acceleration, first.file, 0.0)
    rate_line, rates = _stream(second.stamps, has_rate, second.angular_velocity, second.file, shift_s)
    timeline, acceleration, rates = merge_streams(force_line, acceleration, rate_line, rates, file=first.file)
    return _Samples(
        timeline=timeline,
        acceleration=acceleration,
        angular_velocity=rates,
        temperature=None,
        incomplete_rows=0,
    )


def _stream(
    stamps: Stamps, present: BoolArray, values: FloatArray, file: str, shift_s: float
) -> tuple[SampleTimes, FloatArray]:
    values = values[present]
    timeline = clean_time(stamps.seconds[present] + shift_s, stamps.quantum_s, values, file=file)
    return timeline, timeline.select(values)


def fields_of(first: LoadedFile, second: LoadedFile, samples: _Samples, stated: Stated) -> Fields:
    """Units, signs, axes, clipping and checks on top of timed samples."""
    both = (first,) if second is first else (first, second)
    timeline = samples.timeline
    inferences = [sentence for part in (*both, timeline) for sentence in part.inferences]
    warnings = [sentence for part in (*both, timeline) for sentence in part.warnings]
    rate = float(f"{1.0 / timeline.period_s:.10g}")
    beginning_s = _beginning(first, second, timeline)
    time_s = timeline.time_s - beginning_s
    _check_extent(rate, time_s, first.file)
    # What is rounded coarsely may well rest on one value.
    if not set(ROUNDING_KEYS) & set(first.head):
        _check_alive(samples.acceleration, "accelerometer", first.file)
        _check_alive(samples.angular_velocity, "gyroscope", second.file)
    blank = samples.incomplete_rows - sum(part.empty_rows for part in both)
    if blank > 0:
        warnings.append(f"{blank} row(s) with missing cells were left out")

    names_a, names_g = first.column_names("acceleration"), second.column_names("angular_velocity")
    rotation = samples.angular_velocity
    named_g = stated.units.get("angular_velocity") or second.choice.units.get("angular_velocity")
    if second.choice.turned:
        order, why = order_of_greek(
            time_s,
            samples.acceleration,
            rotation,
            named_g,
            names_g,
            second.file,
            own=second.layout.own,
        )
        rotation, names_g = rotation[:, order], [names_g[i] for i in order]
        inferences += why
    check_not_exchanged(samples.acceleration, rotation, first.file, names_a[0])
    evidence = gravity_evidence(time_s, samples.acceleration, rotation)
    unit_a, why = acceleration_unit(
        samples.acceleration,
        evidence,
        stated=stated.units.get("acceleration"),
        named=first.choice.units.get("acceleration"),
        gyroscope=named_g,
        file=first.file,
        column=names_a[0],
    )
    inferences += why
    force = _scaled(samples.acceleration, scale_of(unit_a, "acceleration"))
    unit_g, why, doubts = angular_velocity_unit(
        time_s,
        force,
        rotation,
        evidence,
        stated=stated.units.get("angular_velocity"),
        named=second.choice.units.get("angular_velocity"),
        file=second.file,
        column=names_g[0],
    )
    inferences += why
    rotation = _scaled(rotation, scale_of(unit_g, "angular_velocity"))
    mixed = doubts or axes_warning(evidence, unit_a, unit_g)
    rests = gravity_at_rest(time_s, force, rotation) if mixed else None
    # A damaged accelerometer fits no gyroscope either: measuring says what is wrong with it, once.
    warnings += [] if rests is not None and rests.warning() else mixed

    metadata = _metadata(first, second)
    clipped, said = find_clipped(force, rotation, metadata)
    warnings += said
    nominal = rate_from(first.head)
    if nominal and first.stamps.unit != "samples" and abs(nominal / rate - 1.0) > 0.02:
        warnings.append(
            f"the file says {nominal:g} Hz, its stamps say {rate:.4g} Hz; the stamps were believed"
        )
    sign, why = reported_sign(stated.gravity_sign, first.choice.gravity_negated, first.layout.own)
    inferences += why
    if sign < 0 or not (stated.matrix == np.eye(3)).all():
        force, rotation = force @ (sign * stated.matrix.T), rotation @ stated.matrix.T
    columns = dict(zip(("ax", "ay", "az", "gx", "gy", "gz"), (*names_a, *names_g), strict=True))
    if first.choice.time is not None and first.stamps.unit != "samples":
        columns = {"time": first.column_name(first.choice.time)} | columns
    return Fields(
        time_s=time_s,
        specific_force_m_s2=force,
        angular_velocity_rad_s=rotation,
        rate_hz=rate,
        gaps=find_gaps(time_s, timeline.period_s),
        clipped=clipped,
        temperature_c=samples.temperature,
        metadata=metadata,
        source=Source(
            file=" + ".join(part.file for part in both),
            columns=columns,
            units={"time": first.stamps.unit, "acceleration": unit_a, "angular_velocity": unit_g},
            inferences=tuple(dict.fromkeys(inferences)),
            clock_start_s=first.stamps.origin_s + beginning_s,
            jitter_s=timeline.jitter_s,
            duplicate_samples=timeline.duplicates,
            nan_samples=samples.incomplete_rows,
            clipped_samples=int(clipped.sum()),
            sha256="+".join(part.sha256 for part in both),
        ),
        warnings=tuple(dict.fromkeys(warnings)),
    )


def _scaled(values: FloatArray, scale: float) -> FloatArray:
    return values if scale == 1 else values * scale


def _beginning(first: LoadedFile, second: LoadedFile, timeline: SampleTimes) -> float:
    """Where time starts: with the first sample, or with the file if that began before the sensor woke."""
    stamps = first.stamps.seconds
    if first is second and first.asleep_rows and stamps[0] <= timeline.time_s[0]:
        return float(stamps[0])
    return float(timeline.time_s[0])


def _check_extent(rate_hz: float, time_s: FloatArray, file: str) -> None:
    if not LOWEST_RATE_HZ * 0.97 <= rate_hz <= HIGHEST_RATE_HZ * 1.03:
        raise TimingError(
            f"the sampling rate is {rate_hz:.4g} Hz; a recording needs {LOWEST_RATE_HZ:.0f} to "
            f"{HIGHEST_RATE_HZ:.0f} Hz",
            "check the unit of time (--units time=…) or record faster; if the rows were sorted by another column than "
            "time, sort them by time",
            file=file,
        )
    lasting = float(time_s[-1] - time_s[0])
    if lasting < SHORTEST_RECORDING_S:
        raise TimingError(
            f"the recording lasts only {lasting:.2g} s", "record for at least a second", file=file
        )


def _check_alive(values: FloatArray, sensor: str, file: str) -> None:
    if all(bool((values[:, axis] == values[0, axis]).all()) for axis in range(3)):
        raise FormatError(f"the {sensor} never changes", "check that it is switched on", file=file)


def _metadata(first: LoadedFile, second: LoadedFile) -> Metadata:
    head: dict[str, Any] = second.head | first.head
    if first.layout.own:
        head.pop("rate_hz", None)
    metadata = metadata_from(head)
    if metadata.started_at is None and first.stamps.started_at:
        metadata = replace(metadata, started_at=first.stamps.started_at)
    return metadata
