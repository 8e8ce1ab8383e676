"""The published result of a recording, typed: what `armarc process --json` prints, and read back."""

from __future__ import annotations

import json
import os
from collections.abc import Mapping
from dataclasses import dataclass, field, fields
from pathlib import Path
from typing import TYPE_CHECKING, Any, Self

from armarc.choices import Choices
from armarc.errors import FormatError, InputError, UsageError
from armarc.measures import record_of, row_of
from armarc.motion import ArmMotion
from armarc.options import OPTIONS, MeasuringOptions
from armarc.published import as_published, published, read_back
from armarc.recording import ArrayValue, Gap, Recording
from armarc.reps import MeasuredSet, Rep
from armarc.reps.left_out import LeftOutMovement
from armarc.reps.records import seconds
from armarc.reps.summary import SetSummary, summarise

if TYPE_CHECKING:
    from armarc.load import SetLoad

SCHEMA = "armarc.sets/1"
Axis = tuple[float, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadSource:
    """What was read and how it was understood (`armarc.recording.Source`); None where an old result is silent."""

    file: str = ""
    samples: int | None = None
    rate_hz: float | None = None
    duration_s: float | None = None
    gaps: tuple[Gap, ...] = ()
    columns: Mapping[str, str] = field(default_factory=dict)
    units: Mapping[str, str] = field(default_factory=dict)
    inferences: tuple[str, ...] = ()
    jitter_s: float | None = field(default=None, metadata=as_published(6))
    duplicate_samples: int | None = None
    nan_samples: int | None = None
    clipped_samples: int | None = None
    sha256: str = ""

    @classmethod
    def of(cls, recording: Recording) -> ReadSource:
        """Of a recording."""
        source = recording.source
        said = {one.name: getattr(source, one.name) for one in fields(cls) if hasattr(source, one.name)}
        return cls(
            samples=len(recording.time_s),
            rate_hz=recording.rate_hz,
            duration_s=recording.duration_s,
            gaps=recording.gaps,
            **said,
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class LaidTrunk:
    """How a chest sensor's recording lies beside the wrist's.

    Parameters
    ----------
    shift_s : float, s
        Added to its times to have the wrist's.
    forward : str
        Its axis that faces away from the breastbone.
    sha256, suffix : str or None
        Of its file; the suffix where the log has kept it.
    """

    shift_s: float = field(metadata=as_published(6))
    forward: str
    sha256: str | None = None
    suffix: str | None = None

    def record(self) -> dict[str, Any]:
        """As published; what is not known is left out."""
        return {key: value for key, value in published(self).items() if value is not None}


STATED_ONLY = ("lifter", "resistance", "band_basis")
"""Settings that are there only where they were stated."""


@dataclass(frozen=True, slots=True, kw_only=True)
class UsedSettings:
    """What a recording was measured with.

    Parameters
    ----------
    options : MeasuringOptions
        In SI; they measure the same recording the same way.
    coordinate : str or None
        What a rep's angle means; see `armarc.motion.ArmMotion`.
    trunk : LaidTrunk or None
        How a chest sensor's recording was laid beside, where there was one.
    """

    options: MeasuringOptions
    coordinate: str | None = None
    trunk: LaidTrunk | None = None

    @classmethod
    def of(cls, choices: Choices, motion: ArmMotion | None = None, trunk: LaidTrunk | None = None) -> Self:
        """Of a measured recording."""
        coordinate = choices.exercise.coordinate if motion is None else motion.coordinate
        return cls(options=choices.options(), coordinate=coordinate, trunk=trunk)

    def record(self) -> dict[str, Any]:
        """As published; null where nothing was stated."""
        names = [option.outside for option in OPTIONS.values() if option.outside not in STATED_ONLY]
        laid = {} if self.trunk is None else {"trunk": self.trunk.record()}
        return dict.fromkeys(names) | {"coordinate": self.coordinate} | self.options.record() | laid

    @classmethod
    def from_record(cls, record: Mapping[str, object]) -> UsedSettings:
        """Read back from `record`.

        Raises
        ------
        InputError, UsageError
            It is no such record.
        """
        laid, coordinate = record.get("trunk"), record.get("coordinate")
        return cls(
            options=MeasuringOptions.of_record(record),
            coordinate=None if coordinate is None else str(coordinate),
            trunk=None if laid is None else read_back(LaidTrunk, laid),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class ScaleErrors:
    """What the standard errors assume of the sensor's scales, and what told it: calibration, noise or nothing."""

    gyroscope_share: float = field(metadata=as_published(4))
    accelerometer_share: float = field(metadata=as_published(4))
    told_by: str


@dataclass(frozen=True, slots=True, kw_only=True)
class FoundMounting:
    """Which way the arm lies in the sensor, and how sure that is; see `armarc.motion.Mounting`."""

    method: str
    arm_axis: Axis | None = field(default=None, metadata=as_published(5))
    uncertainty_rad: float | None = None
    reach_m: float | None = field(default=None, metadata=as_published(4, key="reach_m"))
    thumb_axis: Axis | None = field(default=None, metadata=as_published(5))
    thumb_se_rad: float | None = field(default=None, metadata=as_published(key="thumb_uncertainty_deg"))
    gyroscope_bias_rad_s: Axis | None = None
    tilt_se_rad: float | None = None
    scale_se: ScaleErrors | None = None

    @classmethod
    def of(cls, motion: ArmMotion) -> FoundMounting:
        """Of the motion the sets were measured on."""
        mounting, orientation, scales = motion.mounting, motion.orientation, motion.tolerance
        thumb = mounting.thumb_axis
        return cls(
            method=mounting.method,
            arm_axis=tuple(mounting.arm_axis.tolist()),
            uncertainty_rad=mounting.uncertainty_rad,
            reach_m=mounting.reach_m,
            thumb_axis=None if thumb is None else tuple(thumb.tolist()),
            thumb_se_rad=mounting.thumb_se_rad,
            gyroscope_bias_rad_s=tuple(orientation.gyroscope_bias_rad_s.tolist()),
            tilt_se_rad=orientation.tilt_se_rad,
            scale_se=ScaleErrors(
                gyroscope_share=scales.gyroscope,
                accelerometer_share=scales.accelerometer,
                told_by=scales.told_by,
            ),
        )


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
    source : ReadSource
    settings : UsedSettings
    mounting : FoundMounting or None
        None where nothing was measured.
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
    (True, 'dumbbell 6 kg', 6.0)
    """

    version: str
    source: ReadSource
    settings: UsedSettings
    mounting: FoundMounting | None
    sets: tuple[SetResult, ...]
    left_out: tuple[LeftOutMovement, ...] = ()
    warnings: tuple[str, ...] = ()

    @property
    def options(self) -> MeasuringOptions:
        """The settings in SI; they measure the same recording the same way."""
        return self.settings.options

    def to_dict(self) -> dict[str, Any]:
        """As one JSON-ready object, schema `SCHEMA`."""
        return {
            "schema": SCHEMA,
            "armarc_version": self.version,
            "source": published(self.source),
            "settings": self.settings.record(),
            "mounting": None if self.mounting is None else published(self.mounting),
            "sets": [one.record() for one in self.sets],
            "left_out": [published(one) for one in self.left_out],
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
        mounting = document.get("mounting")
        try:
            return cls(
                version=str(document.get("armarc_version", "")),
                source=read_back(ReadSource, document["source"]),
                settings=UsedSettings.from_record(document["settings"]),
                mounting=None if mounting is None else read_back(FoundMounting, mounting),
                sets=tuple(SetResult.from_record(one) for one in document["sets"]),
                left_out=tuple(read_back(LeftOutMovement, one) for one in document.get("left_out", ())),
                warnings=tuple(document.get("warnings", ())),
            )
        except (KeyError, TypeError, ValueError, AttributeError, UsageError) as error:
            raise InputError(f"the result is not whole: {error!r}", "process the recording again") from None


def read_result(path: str | os.PathLike[str]) -> Result:
    """Read a file that ``armarc process --json`` was written to, by this version or an earlier one.

    Parameters
    ----------
    path : path
        With the result of one recording.

    Raises
    ------
    UsageError, InputError
        It is no path; there is no such file, or it holds no JSON, no result, or one that is not whole.

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
    except TypeError:
        hint = "armarc.Result.from_dict(…) takes a document"
        raise UsageError(f"armarc.read_result takes a path, got {type(path).__name__}", hint) from None
    except (OSError, ValueError, RecursionError) as error:
        why = error.strerror if isinstance(error, OSError) and error.strerror else str(error)
        hint = "process ONE recording with --json into it"
        raise FormatError(f"no result can be read: {why}", hint, file=os.fspath(path)) from None
    try:
        return Result.from_dict(document)
    except InputError as error:
        raise InputError(error.message, error.hint, file=os.fspath(path)) from None
