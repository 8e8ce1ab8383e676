"""Measure a kept recording with today's code and the settings it was logged with.

That of a chest sensor is a recording of its own that no measurement is of and that the wrist's settings name.
"""

from __future__ import annotations

import os
import tempfile
import time
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import sqlalchemy as sa

from armarc.errors import LogError
from armarc.load.lifter import Lifter
from armarc.log import schema
from armarc.log.location import author_of
from armarc.log.store import Store
from armarc.log.vault import is_kept_name, read_recording, safe_suffix, sha256_of
from armarc.log.writing import insert_once
from armarc.options import MeasuringOptions
from armarc.published import read_back

if TYPE_CHECKING:
    from armarc.pipeline import Session
    from armarc.recording import Recording


@dataclass(frozen=True, slots=True, kw_only=True)
class ChestFile:
    """A file to keep."""

    name: str
    content: bytes
    sha256: str
    suffix: str

    @classmethod
    def read(cls, path: str | os.PathLike[str]) -> ChestFile:
        """Read it.

        Raises
        ------
        InputError
            It cannot be read.
        """
        content, name = read_recording(Path(path)), Path(path).name
        return cls(name=name, content=content, sha256=sha256_of(content), suffix=safe_suffix(name))

    def keep(self, store: Store, connection: sa.Connection, begun: datetime) -> None:
        """Put it where the log's recordings are, once."""
        store.vault.put(self.sha256, self.suffix, self.content)
        row = {
            "sha256": self.sha256,
            "file_name": self.name.encode("utf-8", "backslashreplace").decode(),
            "suffix": self.suffix,
            "bytes": len(self.content),
            "kept": True,
            "started_at": begun.timestamp(),
            "added_at": time.time(),
            "added_by": author_of(connection),
        }
        insert_once(connection, schema.recording, ("sha256",), row)


def chest_of(store: Store, settings: Mapping[str, object]) -> bytes | None:
    """Raw bytes of the chest sensor's recording that sets with these settings were measured with; None without one.

    Raises
    ------
    LogError
        There was one, and it is not in the log.
    """
    trunk = settings.get("trunk")
    if not isinstance(trunk, dict):
        return None
    named = str(trunk.get("sha256", "")), str(trunk.get("suffix", ""))
    content = store.vault.get(*named) if is_kept_name(*named) else None
    if content is None:
        raise LogError(
            "the recording of the chest sensor is not in the log", "numbers as they were are still there"
        )
    return content


def chests_in_use(connection: sa.Connection) -> set[str]:
    """Hashes of the chest sensors' recordings that sets were measured with."""
    settings = schema.measurement.c.settings
    rows = connection.execute(sa.select(settings).where(sa.cast(settings, sa.Text).like('%"trunk"%')))
    trunks = (found.get("trunk") for found in rows.scalars() if isinstance(found, dict))
    return {str(one.get("sha256")) for one in trunks if isinstance(one, dict)}


READING_OPTIONS = ("rate_hz", "columns", "units", "axes", "gravity_sign")
"""Options of reading a file; kept in the log under ``settings["reading"]``."""


def measure_content(
    content: bytes,
    file_name: str,
    settings: dict[str, Any],
    document: dict[str, Any],
    lifter: Lifter,
    chest: bytes | None = None,
) -> dict[str, object]:
    """Result of measuring raw bytes again; `settings` are those of an earlier result, `document` its rest, `chest` the
    raw bytes of a second sensor on the chest.

    Raises
    ------
    InputError, UsageError
        If the recording or a setting can no longer be used.
    """
    out = measure_session(content, file_name, settings, lifter, chest).to_dict()
    out["source"] = {**out["source"], "file": document.get("source", {}).get("file", file_name)}
    kept = {key: settings[key] for key in ("reading", "lifter", "variant") if settings.get(key)}
    out["settings"] = {**kept, **out["settings"]}
    if "trunk" in out["settings"]:
        out["settings"]["trunk"] = {**settings["trunk"], **out["settings"]["trunk"]}
    return out


def measure_session(
    content: bytes,
    file_name: str,
    settings: Mapping[str, Any],
    lifter: Lifter,
    chest: bytes | None = None,
) -> Session:
    """Like `measure_content`, with the motion that the sets were measured on.

    The calibration and the mount are those kept of the sensor now; everything else is as it was.
    """
    from armarc.kept import Kept
    from armarc.known_sensor import open_shelf
    from armarc.pipeline import measure
    from armarc.results import LaidTrunk
    from armarc.trunk import Trunk, measure_with_trunk

    stated = replace(MeasuringOptions.of_record(settings), lifter=lifter)
    with recording_from(content, file_name, settings.get("reading") or {}) as recording:
        settled = Kept(sensors=open_shelf()).settle(recording, stated)
        if chest is None:
            return measure(*settled)
        laid = read_back(LaidTrunk, settings.get("trunk"))
        with recording_from(chest, f"chest{laid.suffix}", {}) as beside:
            trunk = Trunk(recording=beside, clock=laid.shift_s, forward=laid.forward)
            return measure_with_trunk(settled[0], trunk, settled[1])


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
    from armarc.recording import read_csv

    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / f"recording{safe_suffix(file_name)}"
        path.write_bytes(content)
        yield read_csv(path, **{name: reading[name] for name in READING_OPTIONS if reading.get(name)})
