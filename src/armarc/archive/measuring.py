"""One recording of an archive: what every worker does, wherever it runs."""

from __future__ import annotations

import json
import os
import time
import traceback
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

from armarc import __version__
from armarc.archive.discover import paired_beside, printable
from armarc.archive.setup import Setup
from armarc.errors import ArmarcError
from armarc.published import published
from armarc.recording.captures import CAPTURE

if TYPE_CHECKING:
    from armarc.recording import Metadata
    from armarc.results import Result, UsedSettings

_COUNTED = {"samples", "rate_hz", "duration_s", "duplicate_samples", "nan_samples", "clipped_samples"}
_DETAIL_LINES = 12


@dataclass(frozen=True, slots=True)
class ArchiveTask:
    """A recording to measure. ``size`` and ``modified_ns`` are those it was found with."""

    path: str
    size: int
    modified_ns: int
    attempt: int = 1


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """What became of a recording: one row of ``files`` and the rows of the other tables."""

    file: dict[str, Any]
    sets: list[dict[str, object]] = field(default_factory=list)
    reps: list[dict[str, object]] = field(default_factory=list)
    failure: dict[str, object] | None = None

    @property
    def version(self) -> str:
        """Version of armarc that measured."""
        return str(self.file["armarc_version"])


def measure_task(task: ArchiveTask, setup: Setup) -> Outcome:
    """Read and measure one recording; whatever goes wrong becomes a failure, nothing is raised.

    A chest's recording is measured with the wrist's of its capture that lies beside it, and by itself only said to
    be one.
    """
    from armarc.pipeline import measure
    from armarc.recording import read_csv
    from armarc.trunk import Trunk, measure_with_trunk

    began = time.thread_time()
    stage, sha256 = "reading", None
    try:
        recording = read_csv(task.path, **setup.kept.reading(setup.reading))
        stage, sha256 = "measuring", recording.source.sha256
        chest = None
        if recording.metadata.other.get(CAPTURE):
            path, pairs = Path(os.path.abspath(task.path)), paired_beside(task.path)
            pairs.check(path)
            if path in pairs.chest_of.values():
                return Outcome(file={**_file_row(task, setup), "sha256": sha256, "status": "chest"})
            chest = pairs.chest_of.get(path)
        settled, choices = setup.settle(recording)
        if chest is None:
            session = measure(settled, choices, load=False)
        else:
            session = measure_with_trunk(settled, Trunk.of(read_csv(chest)), choices)
        outcome = _outcome(task, setup, session.result(), recording.metadata, sha256)
    except Exception as error:
        return failed(task, setup, stage, error, sha256, time.thread_time() - began)
    outcome.file["seconds"] = round(time.thread_time() - began, 4)
    return outcome


def sha256_of_file(path: str) -> str:
    """SHA-256 of a file's bytes, as hexadecimal digits; nothing is read that is no ordinary file or too large.

    Raises
    ------
    InputError, OSError
    """
    import hashlib

    from armarc.files import largest_recording_bytes, regular_size

    regular_size(path, largest_recording_bytes())
    with open(path, "rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()


def failed(
    task: ArchiveTask,
    setup: Setup,
    stage: str,
    error: BaseException,
    sha256: str | None = None,
    seconds: float = 0.0,
) -> Outcome:
    """A recording that could not be measured."""
    if sha256 is None:
        with suppress(OSError, ArmarcError):
            sha256 = sha256_of_file(task.path)
    file = {**_file_row(task, setup), "sha256": sha256, "status": "failed", "seconds": round(seconds, 4)}
    detail = None
    if isinstance(error, ArmarcError):
        message, hint = _bare(error, task.path), error.hint
    elif isinstance(error, OSError):
        message = f"cannot be read: {error.strerror or error}"
        hint = "check the file and its permissions, then --retry-failures"
    else:
        message = f"unexpected fault: {type(error).__name__}: {error}"
        hint = "a fault of armarc or its surroundings: report it with the detail"
        detail = "".join(traceback.format_exception(error)[-_DETAIL_LINES:])
    return Outcome(
        file=file,
        failure={
            "path": file["path"],
            "sha256": sha256,
            "stage": stage,
            "error": type(error).__name__,
            "message": _text(message),
            "hint": _text(hint),
            "detail": None if detail is None else _text(detail),
            "attempts": task.attempt,
            **_stamp(setup),
        },
    )


def too_slow(time_limit_s: float) -> ArmarcError:
    """The error of a recording that took too long."""
    return ArmarcError(f"not measured within {time_limit_s:g} s", "raise --time-limit and --retry-failures")


def known(task: ArchiveTask, setup: Setup, sha256: str) -> Outcome:
    """A recording whose bytes were measured before."""
    return Outcome(file={**_file_row(task, setup), "sha256": sha256, "status": "known"})


def _outcome(task: ArchiveTask, setup: Setup, result: Result, metadata: Metadata, sha256: str) -> Outcome:
    source, trunk = result.source, result.settings.trunk
    mounting = {} if result.mounting is None else published(result.mounting)
    how = _how(result.settings)
    stamp = _stamp(setup)
    sets, reps = [], []
    for one in result.sets:
        which = {"sha256": sha256, "set": one.set}
        sets.append({**which, **how, **one.flat_record(), **stamp})
        reps += [{**which, **how, **rep, **stamp} for rep in one.rep_records()]
    file = {
        **_file_row(task, setup),
        "sha256": sha256,
        "status": "measured" if reps else "no reps",
        "sets": len(sets),
        "reps": len(reps),
        **{key: value for key, value in published(source).items() if key in _COUNTED},
        "gaps": len(source.gaps),
        **how,
        "sensor": metadata.sensor,
        "trunk_sha256": None if trunk is None else trunk.sha256,
        "strap": result.options.strap,
        "hand_axis": result.options.hand_axis,
        "started_at": metadata.started_at,
        "note": metadata.note,
        "other_metadata": _json(metadata.other),
        "column_names": _json(source.columns),
        "units": _json(source.units),
        "mounting_method": mounting.get("method"),
        "mounting_uncertainty_deg": mounting.get("uncertainty_deg"),
        "reach_m": mounting.get("reach_m"),
        "arm_axis": mounting.get("arm_axis"),
        "gyroscope_bias_deg_s": mounting.get("gyroscope_bias_deg_s"),
        "warnings": list(result.warnings),
        "inferences": list(source.inferences),
    }
    return Outcome(
        file={key: _clean(value) for key, value in file.items()},
        sets=sets,
        reps=reps,
    )


def _file_row(task: ArchiveTask, setup: Setup) -> dict[str, object]:
    return {
        "path": printable(os.path.abspath(task.path)),
        "bytes": task.size,
        "modified_ns": task.modified_ns,
        **_stamp(setup),
    }


def _stamp(setup: Setup) -> dict[str, object]:
    return {"armarc_version": __version__, "settings_sha256": setup.settings_sha256}


def _how(used: UsedSettings) -> dict[str, object]:
    settings = used.record()
    out = {key: settings[key] for key in ("exercise", "side", "load_kg", "coordinate", "fusion", "mounting")}
    for key, low, high in (
        ("band_deg_s", "band_low_deg_s", "band_high_deg_s"),
        ("gate_deg", "gate_low_deg", "gate_high_deg"),
        ("loaded_range_deg", "loaded_range_low_deg", "loaded_range_high_deg"),
    ):
        out[low], out[high] = settings[key] or (None, None)
    return out


def _bare(error: ArmarcError, path: str) -> str:
    """The message without the hint and the path, which have columns of their own."""
    text = str(error)
    if error.hint:
        text = text.removesuffix(f" ({error.hint})")
    return text.removeprefix(f"{path}, ").removeprefix(f"{path}: ")


def _json(value: Mapping[str, object]) -> str | None:
    return json.dumps(value, ensure_ascii=False, default=str) if value else None


def _clean(value: Any) -> Any:
    if isinstance(value, str):
        return _text(value)
    if isinstance(value, list | tuple):
        return [_clean(one) for one in value]
    return value


def _text(text: str) -> str:
    """Text without lone surrogates, which UTF-8 and so Parquet cannot hold."""
    return text.encode("utf-8", "backslashreplace").decode()
