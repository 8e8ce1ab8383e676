"""The published result of a recording, typed: what `armarc process --json` prints, and read back."""

from __future__ import annotations

import json
import os
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from armarc.choices import Choices
from armarc.errors import FormatError, InputError
from armarc.measures import record_of, row_of
from armarc.motion import ArmMotion
from armarc.motion.tolerance import Tolerance
from armarc.options import OPTIONS, MeasuringOptions
from armarc.recording import ArrayValue, Recording
from armarc.reps import MeasuredSet, Rep
from armarc.reps.left_out import LeftOutMovement
from armarc.reps.records import deg, seconds
from armarc.reps.summary import SetSummary, summarise

if TYPE_CHECKING:
    from armarc.load import SetLoad

SCHEMA = "armarc.sets/1"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class SetResult(ArrayValue):
    """One set, SI.

    Parameters
    ----------
    set : int
    start_s, end_s : float, s
        From the recording's first sample.
    summary : SetSummary
    reps : tuple of Rep
    load : SetLoad or None
        What the shoulder had to do, and in ``load.lifter`` the body it was worked out for; None where the load is not
        known. Read back, its reps are without their curves.
    """

    set: int
    start_s: float
    end_s: float
    summary: SetSummary
    reps: tuple[Rep, ...]
    load: SetLoad | None = None

    @classmethod
    def of(cls, measured: MeasuredSet, load: SetLoad | None = None) -> SetResult:
        """A measured set, summed up."""
        start_s, end_s = measured.start_s, measured.end_s
        return cls(
            set=measured.set,
            start_s=start_s,
            end_s=end_s,
            summary=summarise(measured.reps, start_s, end_s, measured.band is not None),
            reps=measured.reps,
            load=load,
        )

    def rep_records(self) -> list[dict[str, Any]]:
        """Every rep under the published keys, its load's among them."""
        records = [record_of(rep) for rep in self.reps]
        if self.load is not None:
            from armarc.load.records import rep_load_record

            loads = {one.rep: rep_load_record(one) for one in self.load.reps}
            records = [record | loads.get(record["rep"], {}) for record in records]
        return records

    def record(self) -> dict[str, Any]:
        """As it is published."""
        out = {
            "set": self.set,
            "start_s": seconds(self.start_s),
            "end_s": seconds(self.end_s),
            "summary": self.summary.record(),
            "reps": self.rep_records(),
        }
        if self.load is not None:
            from armarc.load import load_record

            out["load"] = load_record(self.load)
        return out

    def flat_record(self) -> dict[str, Any]:
        """A row of a table of sets: no reps, and ``in_band`` as ``in_band_count`` and ``in_band_share``."""
        summary = self.summary.record()
        band = summary.pop("in_band") or {"count": None, "share": None}
        summary |= {"in_band_count": band["count"], "in_band_share": band["share"]}
        return {"set": self.set, "start_s": seconds(self.start_s), "end_s": seconds(self.end_s), **summary}

    @classmethod
    def from_record(cls, record: Mapping[str, Any]) -> SetResult:
        """Read back from `record`; what an older version did not sum up is summed up now.

        Raises
        ------
        InputError
            It is no such record.
        """
        try:
            records, stored = list(record["reps"]), record.get("summary") or {}
            reps = tuple(row_of(Rep, rep) for rep in records)
            start_s, end_s = float(record["start_s"]), float(record["end_s"])
            now = summarise(reps, start_s, end_s, stored.get("in_band") is not None).record()
            load = record.get("load")
            if load is not None:
                from armarc.load.records import load_of

                load = load_of(int(record["set"]), load, records)
            return cls(
                set=int(record["set"]),
                start_s=start_s,
                end_s=end_s,
                summary=SetSummary.from_record({**now, **stored}),
                reps=reps,
                load=load,
            )
        except (KeyError, TypeError, ValueError, AttributeError) as error:
            raise InputError(
                f"a set of the result is not whole: {error!r}", "process the recording again"
            ) from None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class Result(ArrayValue):
    """What is published of a recording.

    Parameters
    ----------
    version : str
        Of armarc, that measured it.
    source : mapping
        What was read and how it was understood, as published.
    settings : mapping
        What it was measured with, as published; see `options`.
    mounting : mapping or None
        Which way the arm lies in the sensor, as published; None where nothing was measured.
    sets : tuple of SetResult
    left_out : tuple of LeftOutMovement
    warnings : tuple of str

    Examples
    --------
    >>> import armarc
    >>> recording = armarc.read_csv("recordings/strict-raise.csv", kept=armarc.NOTHING_KEPT)
    >>> result = armarc.process(recording, load_kg=6, kept=armarc.NOTHING_KEPT).result()
    >>> again = armarc.Result.from_dict(result.to_dict())
    >>> again.to_dict() == result.to_dict(), again.sets[0].load.resistance, again.options.load_kg
    (True, 'dumbbell 6 kg', 6)
    """

    version: str
    source: Mapping[str, Any]
    settings: Mapping[str, Any]
    mounting: Mapping[str, Any] | None
    sets: tuple[SetResult, ...]
    left_out: tuple[LeftOutMovement, ...] = ()
    warnings: tuple[str, ...] = ()

    @property
    def options(self) -> MeasuringOptions:
        """The settings in SI; they measure the same recording the same way."""
        return MeasuringOptions.of_record(self.settings)

    def to_dict(self) -> dict[str, Any]:
        """As one JSON-ready object, schema `SCHEMA`."""
        return {
            "schema": SCHEMA,
            "armarc_version": self.version,
            "source": dict(self.source),
            "settings": dict(self.settings),
            "mounting": None if self.mounting is None else dict(self.mounting),
            "sets": [one.record() for one in self.sets],
            "left_out": [
                {"start_s": seconds(one.start_s), "end_s": seconds(one.end_s), "reason": one.reason}
                for one in self.left_out
            ],
            "warnings": list(self.warnings),
        }

    @classmethod
    def from_dict(cls, document: Mapping[str, Any]) -> Result:
        """Read back what `to_dict` gave, also by an earlier version.

        Raises
        ------
        InputError
            It is no result, or not whole.
        """
        if not isinstance(document, Mapping) or document.get("schema") != SCHEMA:
            raise InputError(
                f"this is no result of armarc process (schema {SCHEMA})", "process the recording with --json"
            )
        try:
            return cls(
                version=str(document.get("armarc_version", "")),
                source=dict(document["source"]),
                settings=dict(document["settings"]),
                mounting=document.get("mounting"),
                sets=tuple(SetResult.from_record(one) for one in document["sets"]),
                left_out=tuple(
                    LeftOutMovement(
                        start_s=float(one["start_s"]), end_s=float(one["end_s"]), reason=str(one["reason"])
                    )
                    for one in document.get("left_out", ())
                ),
                warnings=tuple(document.get("warnings", ())),
            )
        except (KeyError, TypeError, ValueError, AttributeError) as error:
            raise InputError(f"the result is not whole: {error!r}", "process the recording again") from None


def read_result(path: str | os.PathLike[str]) -> Result:
    """Read a file that ``armarc process --json`` was written to, by this version or an earlier one.

    Parameters
    ----------
    path : path
        With the result of one recording.

    Raises
    ------
    FormatError
        There is no such file, or it holds no JSON.
    InputError
        It holds no result, or one that is not whole.

    Examples
    --------
    >>> import json, pathlib, armarc
    >>> recording = armarc.read_csv("recordings/strict-raise.csv", kept=armarc.NOTHING_KEPT)
    >>> session = armarc.process(recording, kept=armarc.NOTHING_KEPT)
    >>> written = pathlib.Path("strict-raise.json").write_text(json.dumps(session.to_dict()))
    >>> result = armarc.read_result("strict-raise.json")
    >>> len(result.sets[0].reps), result.sets[0].reps[0].rom_rad > 1, result.sets[0].summary.tempo
    (8, True, '2/1/1/1')
    """
    try:
        document = json.loads(Path(path).read_text("utf-8"))
    except (OSError, ValueError, RecursionError) as error:
        why = error.strerror if isinstance(error, OSError) and error.strerror else str(error)
        raise FormatError(
            f"no result can be read: {why}", "process ONE recording with --json into it", file=os.fspath(path)
        ) from None
    try:
        return Result.from_dict(document)
    except InputError as error:
        raise InputError(error.message, error.hint, file=os.fspath(path)) from None


def source_record(recording: Recording) -> dict[str, Any]:
    """What was read and how it was understood."""
    source = recording.source
    return {
        "file": source.file,
        "samples": len(recording.time_s),
        "rate_hz": round(recording.rate_hz, 4),
        "duration_s": seconds(recording.duration_s),
        "gaps": [
            {"start_s": seconds(g.start_s), "end_s": seconds(g.end_s), "missing_samples": g.missing_samples}
            for g in recording.gaps
        ],
        "columns": dict(source.columns),
        "units": dict(source.units),
        "inferences": list(source.inferences),
        "jitter_s": round(source.jitter_s, 6),
        "duplicate_samples": source.duplicate_samples,
        "nan_samples": source.nan_samples,
        "clipped_samples": source.clipped_samples,
        "sha256": source.sha256,
    }


STATED_ONLY = ("lifter", "resistance", "band_basis")
"""Settings that are there only where they were stated."""


def settings_record(
    choices: Choices, motion: ArmMotion | None = None, trunk: Mapping[str, Any] | None = None
) -> dict[str, Any]:
    """What the recording was measured with; null where nothing was stated."""
    known = choices.options().record()
    names = [option.outside for option in OPTIONS.values() if option.outside not in STATED_ONLY]
    coordinate = choices.exercise.coordinate if motion is None else motion.coordinate
    laid = {} if trunk is None else {"trunk": dict(trunk)}
    return dict.fromkeys(names) | {"coordinate": coordinate} | known | laid


def mounting_record(motion: ArmMotion | None) -> dict[str, Any] | None:
    """Which way the arm lies in the sensor, and how sure that is."""
    if motion is None:
        return None
    mounting = motion.mounting

    def vector(values: Any) -> list[float] | None:
        return None if values is None else [round(float(x), 5) + 0.0 for x in values]

    return {
        "method": mounting.method,
        "arm_axis": vector(mounting.arm_axis),
        "uncertainty_deg": deg(mounting.uncertainty_rad),
        "reach_m": None if mounting.reach_m is None else round(mounting.reach_m, 4),
        "thumb_axis": vector(mounting.thumb_axis),
        "thumb_uncertainty_deg": deg(mounting.thumb_se_rad),
        "gyroscope_bias_deg_s": [deg(float(x)) for x in motion.orientation.gyroscope_bias_rad_s],
        "tilt_se_deg": deg(motion.orientation.tilt_se_rad),
        "scale_se": _tolerance_record(motion.tolerance),
    }


def _tolerance_record(tolerance: Tolerance) -> dict[str, Any]:
    """What the standard errors assume of the sensor's scales, and what told it: calibration, noise or nothing."""
    return {
        "gyroscope_pct": round(100 * tolerance.gyroscope, 4),
        "accelerometer_pct": round(100 * tolerance.accelerometer, 4),
        "told_by": tolerance.told_by,
    }
