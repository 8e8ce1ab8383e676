"""Measure a kept recording with today's code and the settings it was logged with."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

from armarc.log.vault import safe_suffix
from armarc.settings import Settings

if TYPE_CHECKING:
    from armarc.pipeline import Session
    from armarc.recording import Recording

READING_OPTIONS = ("rate_hz", "columns", "units", "axes", "gravity_sign")
"""Options of reading a file; kept in the log under ``settings["reading"]``."""

_DIRECT = ("exercise", "side", "rest_s", "load_kg", "fusion", "mounting", "strap", "hand_axis", "reach_cm")
_PAIRS = ("band_deg_s", "gate_deg", "loaded_range_deg")


def measure_content(
    content: bytes, file_name: str, settings: dict[str, Any], document: dict[str, Any]
) -> dict[str, Any]:
    """Result of measuring raw bytes again; `settings` are those of an earlier result, `document` its rest.

    Raises
    ------
    InputError, UsageError
        If the recording or a setting can no longer be used.
    """
    session = measure_session(content, file_name, settings)
    out: dict[str, Any] = dict(session.to_dict())
    add_known_loads(session, out, settings.get("resistance"))
    out["source"] = {**out["source"], "file": document.get("source", {}).get("file", file_name)}
    for key in ("reading", "lifter", "variant", "resistance"):
        if settings.get(key):
            out["settings"] = {**out["settings"], key: settings[key]}
    return out


def measure_session(content: bytes, file_name: str, settings: Mapping[str, Any]) -> Session:
    """Like `measure_content`, with the motion that the sets were measured on."""
    from armarc.known_sensor import open_shelf
    from armarc.pipeline import process

    with recording_from(content, file_name, settings.get("reading") or {}) as recording:
        options = process_options(settings)
        sensor = open_shelf().look_up(
            recording.metadata, options.get("side") or recording.metadata.side or "right"
        )
        return process(sensor.corrected(recording), **sensor.options(), **options)


def add_known_loads(
    session: Session, result: dict[str, Any], resistances: Sequence[str] | None = None
) -> None:
    """Put the shoulder's load into a result where it can be worked out, as ``armarc process`` does."""
    if not session.sets or not (resistances or session.choices.load_kg is not None):
        return
    from armarc.load import load_lifter, parse_all
    from armarc.session_load import add_loads, measured_loads

    parsed = parse_all(list(resistances)) if resistances else None
    loads, why_not = measured_loads(session, load_lifter(), parsed)
    if loads:
        add_loads(result, loads)
    elif why_not:
        result["warnings"] = [*result["warnings"], why_not]


def merged_content(path: str | os.PathLike[str], reading: Mapping[str, Any]) -> bytes:
    """An accelerometer and a gyroscope file as one recording in armarc's own form.

    Parameters
    ----------
    path : path
        The accelerometer's file.
    reading : mapping
        Options of `read_csv`, ``gyroscope_path`` among them.
    """
    from armarc.recording import read_csv, write_csv

    options = {name: reading[name] for name in READING_OPTIONS if reading.get(name)}
    recording = read_csv(path, gyroscope_path=reading["gyroscope_path"], **options)
    with tempfile.TemporaryDirectory() as folder:
        merged = Path(folder) / "merged.csv"
        write_csv(recording, merged)
        return merged.read_bytes()


@contextmanager
def recording_from(content: bytes, file_name: str, reading: Mapping[str, Any]) -> Iterator[Recording]:
    """Read raw bytes as the file they once were."""
    from armarc.recording.csv_reader import read_csv

    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / f"recording{safe_suffix(file_name)}"
        path.write_bytes(content)
        yield read_csv(path, **{name: reading[name] for name in READING_OPTIONS if reading.get(name)})


def process_options(settings: Mapping[str, Any]) -> dict[str, Any]:
    """Options of `armarc.pipeline.process` that give these settings of a result again."""
    options: dict[str, Any] = {name: settings.get(name) for name in _DIRECT}
    options |= {name: _pair(settings.get(name)) for name in _PAIRS}
    options["sensor_height_cm"] = settings.get("sensor_height_cm")
    options["reference"] = settings.get("reference")
    limits = {
        name: settings[name]
        for name in ("smallest_rom_deg", "swung_cm", "dropped_pct")
        if settings.get(name) is not None
    }
    options["settings"] = Settings(**limits) if limits else None
    return {name: value for name, value in options.items() if value is not None}


def _pair(value: Any) -> tuple[float, float] | None:
    return None if value is None else (float(value[0]), float(value[1]))
