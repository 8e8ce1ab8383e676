"""Writing recordings: all at once, or row by row while a sensor streams."""

from __future__ import annotations

import json
import os
from collections.abc import Mapping
from pathlib import Path
from types import TracebackType
from typing import Any, Self

import numpy as np
from numpy.typing import ArrayLike

from armarc.errors import FormatError
from armarc.files import appearing
from armarc.recording.layout import OWN_MARK
from armarc.recording.metadata import metadata_keys
from armarc.recording.recording import Recording
from armarc.recording.types import Metadata

FORMAT_VERSION = 1
COLUMNS = ("time_s", "ax_m_s2", "ay_m_s2", "az_m_s2", "gx_rad_s", "gy_rad_s", "gz_rad_s")
TEMPERATURE_COLUMN = "temperature_c"
_CHUNK_ROWS = 1 << 15


def write_csv(recording: Recording, path: str | os.PathLike[str]) -> None:
    """Write a recording in armarc's own format; the file appears whole or not at all.

    Times have 6 decimals, values 5: a hundredth of the noise of one sample of a wrist sensor.

    Parameters
    ----------
    recording : Recording
    path : str or path-like

    Raises
    ------
    FormatError
        The file cannot be written.

    Examples
    --------
    >>> import armarc
    >>> recording = armarc.read_csv("recordings/strict-raise.csv", kept=armarc.NOTHING_KEPT)
    >>> armarc.write_csv(recording, "copy.csv")
    >>> len(armarc.read_csv("copy.csv").time_s) == len(recording.time_s)
    True
    """
    target = Path(path)
    keys = metadata_keys(recording.metadata)
    events = keys.pop("events", [])
    keys["rate_hz"] = round(recording.rate_hz, 6)
    try:
        with appearing(target) as out:
            out.write(_head(keys, recording.temperature_c is not None).encode())
            for event in events if isinstance(events, list) else []:
                out.write(_event_line(event).encode())
            for start in range(0, len(recording.time_s), _CHUNK_ROWS):
                part = slice(start, start + _CHUNK_ROWS)
                temperature = None if recording.temperature_c is None else recording.temperature_c[part]
                rows = _rows(
                    recording.time_s[part],
                    recording.specific_force_m_s2[part],
                    recording.angular_velocity_rad_s[part],
                    temperature,
                )
                out.write(rows.encode())
    except OSError as error:
        raise _unwritable(target, error) from error


class RecordingWriter:
    """Appends samples to a recording while they arrive.

    Every line is written whole; a file cut anywhere by a crash stays readable up to its last whole line. An
    existing file is never overwritten.

    Parameters
    ----------
    path : str or PathLike
    metadata : Metadata or mapping
        Goes into the second line.
    rate_hz : float, Hz
        Nominal rate.
    temperature : bool
        Whether every append comes with temperatures.

    Raises
    ------
    FormatError
        The file exists already or cannot be written.
    """

    def __init__(
        self,
        path: str | os.PathLike[str],
        metadata: Metadata | Mapping[str, Any] | None = None,
        rate_hz: float | None = None,
        *,
        temperature: bool = False,
    ) -> None:
        keys = metadata_keys(metadata) if isinstance(metadata, Metadata) else dict(metadata or {})
        if rate_hz is not None:
            keys["rate_hz"] = rate_hz
        self.path = Path(path)
        self.samples = 0
        self._temperature = temperature
        try:
            self._out = open(self.path, "x", encoding="utf-8", newline="\n")  # noqa: SIM115 - closed by close()
            self._out.write(_head(keys, temperature))
            self._out.flush()
        except FileExistsError:
            raise FormatError(
                "there is a file of this name already, and recordings are never overwritten",
                "choose another name",
                file=os.fspath(path),
            ) from None
        except OSError as error:
            raise _unwritable(self.path, error) from error

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, value: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def append(
        self,
        time_s: ArrayLike,
        specific_force_m_s2: ArrayLike,
        angular_velocity_rad_s: ArrayLike,
        temperature_c: ArrayLike | None = None,
    ) -> None:
        """Append m samples: times (m,), specific force (m, 3) and angular velocity (m, 3).

        Raises
        ------
        ValueError
            Shapes that do not fit, or temperatures missing from or alien to this file.
        FormatError
            The disk is full or gone.
        """
        t = np.atleast_1d(np.asarray(time_s, float))
        force = np.asarray(specific_force_m_s2, float).reshape(-1, 3)
        rate = np.asarray(angular_velocity_rad_s, float).reshape(-1, 3)
        temperature = None if temperature_c is None else np.atleast_1d(np.asarray(temperature_c, float))
        if not len(t) == len(force) == len(rate) or (temperature is not None and len(temperature) != len(t)):
            raise ValueError("expected as many times as samples")
        if (temperature is not None) != self._temperature:
            raise ValueError("expected temperatures with every append or with none")
        self._write(_rows(t, force, rate, temperature))
        self.samples += len(t)

    def event(self, event: Mapping[str, Any]) -> None:
        """Append an event line, for example ``{"event": "link lost", "time_s": 12.3}``."""
        self._write(_event_line(event))

    def flush(self, *, fsync: bool = False) -> None:
        """Hand what was appended to the system, with `fsync` down to the disk."""
        try:
            self._out.flush()
            if fsync:
                os.fsync(self._out.fileno())
        except OSError as error:
            raise _unwritable(self.path, error) from error

    def close(self) -> None:
        """Flush to the disk and close; harmless when done twice."""
        if self._out.closed:
            return
        try:
            self.flush(fsync=True)
        finally:
            self._out.close()

    def _write(self, text: str) -> None:
        try:
            self._out.write(text)
        except OSError as error:
            raise _unwritable(self.path, error) from error


def _head(keys: Mapping[str, Any], temperature: bool) -> str:
    columns = (*COLUMNS, TEMPERATURE_COLUMN) if temperature else COLUMNS
    return f"{OWN_MARK} {FORMAT_VERSION}\n# {_json(keys)}\n{','.join(columns)}\n"


def _event_line(event: Mapping[str, Any]) -> str:
    return f"# {_json(event)}\n"


def _json(value: Mapping[str, Any]) -> str:
    return json.dumps(value, ensure_ascii=False, default=str)


def _rows(t: Any, force: Any, rate: Any, temperature: Any) -> str:
    columns = [t[:, None], force, rate]
    row = "%.6f" + ",%.5f" * 6
    if temperature is not None:
        columns.append(temperature[:, None])
        row += ",%.2f"
    table = np.concatenate(columns, axis=1)
    return ((row + "\n") * len(table)) % tuple(table.ravel().tolist())


def _unwritable(path: Path, error: OSError) -> FormatError:
    return FormatError(
        f"the file cannot be written: {error.strerror or error}",
        "choose another folder",
        file=os.fspath(path),
    )
