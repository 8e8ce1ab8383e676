"""A file that ``process`` measured, and what is written of it beside the table: samples, markers, pictures."""

from __future__ import annotations

from dataclasses import dataclass, field
from importlib.util import find_spec
from pathlib import Path
from typing import TYPE_CHECKING, Any

from armarc.computer import how_to_add
from armarc.errors import UsageError
from armarc.measures import number_of
from armarc.outputs import PARQUET, SUBTITLES, TABLE, Guard, Kind

if TYPE_CHECKING:
    from datetime import datetime

    from matplotlib.figure import Figure

    from armarc.load import SetLoad
    from armarc.pipeline import Session
    from armarc.reps import Rep
    from armarc.results import Result


@dataclass(frozen=True, slots=True, kw_only=True)
class VideoClock:
    """How a video lies over a recording: where the first sample is, or where a clap is seen; s into the video."""

    offset_s: float | None = None
    clap_s: float | None = None

    def __post_init__(self) -> None:
        if self.offset_s is not None and self.clap_s is not None:
            raise UsageError("--offset and --clap say the same in two ways", "give one of them")


def markers_kind(path: Path) -> Kind:
    """Subtitles or a table, as the name says.

    Raises
    ------
    UsageError
        It says neither.
    """
    from armarc.report.markers import FORMATS

    ending = path.suffix.lower()
    if ending not in FORMATS:
        raise UsageError(f"{path} is none of {', '.join(FORMATS)}", "for example --markers reps.srt")
    return TABLE if ending == ".csv" else SUBTITLES


def write_markers(session: Session, path: Path, clock: VideoClock, guard: Guard) -> str:
    """Write the markers of a recording and say how they lie over the video."""
    from armarc.report.markers import find_clap, marker_table, markers_of, subtitles

    offset_s, said = clock.offset_s or 0.0, "on the recording's own clock; --clap lays them over a video"
    if clock.offset_s is not None:
        said = f"{offset_s:+.2f} s from the recording's clock"
    if clock.clap_s is not None:
        clap_s = find_clap(session.recording, session.sets)
        offset_s = clock.clap_s - clap_s
        said = f"the clap at {clap_s:.2f} s of the recording is at {clock.clap_s:.2f} s of the video"
    markers = markers_of(session.sets, offset_s)
    kind, ending = markers_kind(path), path.suffix.lower()
    file = session.recording.source.file
    text = marker_table(markers, file) if kind is TABLE else subtitles(markers, ending)
    with guard.open(path, kind) as stream:
        stream.write(text.encode())
    return f"{len(markers)} reps written to {path}: {said}"


def samples_kind(path: Path) -> Kind:
    """CSV or Parquet, as the name says.

    Raises
    ------
    UsageError
        It says neither, or Parquet is not installed.
    """
    ending = path.suffix.lower()
    if ending not in (".csv", ".parquet"):
        raise UsageError(f"{path} is neither .csv nor .parquet", "for example --samples samples.csv")
    if ending == ".parquet" and find_spec("pyarrow") is None:
        raise UsageError("Parquet needs the package pyarrow", how_to_add("parquet"))
    return PARQUET if ending == ".parquet" else TABLE


def write_samples(session: Session, path: Path, guard: Guard) -> None:
    """Write the samples that were measured, each with its angle, rate, orientation and phase."""
    kind, table = samples_kind(path), session.samples_frame()
    with guard.open(path, kind) as stream:
        if kind is PARQUET:
            table.attrs = {"made_by": "armarc"}  # so that it is known again as ours
            table.to_parquet(stream, index=False)
        else:
            table.to_csv(stream, index=False, float_format="%.9g")


@dataclass(frozen=True, slots=True, kw_only=True)
class LogEntry:
    """Which log to write to, and what the person said about the sets and when the recording began."""

    file: str | None
    labels: dict[str, Any]
    began: datetime | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Outputs:
    """Where results go besides the table on stdout."""

    json: bool = False
    csv: Path | None = None
    samples: Path | None = None
    markers: Path | None = None
    video: VideoClock = field(default_factory=VideoClock)
    plot: Path | None = None
    steps: int | None = None
    dark: bool = False
    size: str = "wide"
    force: bool = False
    log: LogEntry | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Measured:
    """One measured file: the session, its result, and the options of reading in force."""

    path: Path
    session: Session
    result: Result
    reading: dict[str, object]
    trunk_path: Path | None = None


@dataclass(frozen=True, slots=True)
class TrunkFile:
    """The recording of a second sensor on the chest, its clock and its forward axis (None: what the heads say)."""

    path: Path | None = None
    clock: str = "auto"
    forward: str | None = None


NO_TRUNK = TrunkFile()
"""What the heads say."""


def draw(measured: Measured, path: Path, outputs: Outputs, guard: Guard) -> list[Path]:
    """Draw a recording: the set, or with several sets the session and each set beside it; and the load."""
    from armarc.report import draw_session, draw_set, save_figure
    from armarc.report.answers import session_answer, set_answer
    from armarc.report.sizes import in_size

    session, records = measured.session, measured.result.sets
    dark, size = outputs.dark, outputs.size
    if not session.motions:
        return []
    if outputs.steps is not None:
        return draw_steps_of(measured, path, outputs, guard)
    written = []
    if len(session.sets) != 1:

        def whole(width_in: float | None) -> Figure:
            entry, width = session.choices.exercise, width_in or 14.0
            return draw_session(session.motions, session.sets, exercise=entry, width_in=width, dark=dark)

        message = session_answer(records) if records else "No set found."
        save_figure(in_size(whole, size, message), path, guard)
        written.append(path)
    for index, (one, motion_number) in enumerate(zip(session.sets, session.motion_of_set, strict=True)):
        own = path if len(session.sets) == 1 else path.with_name(f"{path.stem}-set{one.set}{path.suffix}")

        def single(
            width_in: float | None, motion: Any = session.motions[motion_number], one: Any = one
        ) -> Figure:
            return draw_set(motion, one, exercise=session.choices.exercise, width_in=width_in, dark=dark)

        message = set_answer(one.reps, records[index].summary)
        save_figure(in_size(single, size, message), own, guard)
        written.append(own)
        if session.loads:
            written.append(draw_load(measured, index, own, outputs, guard))
    return written


def draw_steps_of(measured: Measured, path: Path, outputs: Outputs, guard: Guard) -> list[Path]:
    """Draw one rep of each set step by step."""
    from armarc.report import save_figure
    from armarc.report.sizes import in_size
    from armarc.report.step_figure import draw_steps

    session, number = measured.session, outputs.steps
    assert number is not None
    if all(number > len(one.reps) for one in session.sets):
        raise UsageError(f"--steps {number}: no set of {measured.path.name} has so many reps")
    written = []
    for one, index in zip(session.sets, session.motion_of_set, strict=True):
        if number > len(one.reps):
            continue
        own = path if len(session.sets) == 1 else path.with_name(f"{path.stem}-set{one.set}{path.suffix}")

        def draw_it(width_in: float | None, motion: Any = session.motions[index], one: Any = one) -> Figure:
            exercise = session.choices.exercise
            return draw_steps(motion, one, number, exercise=exercise, width_in=width_in, dark=outputs.dark)

        save_figure(in_size(draw_it, outputs.size, _step_message(one.reps[number - 1])), own, guard)
        written.append(own)
    return written


def _step_message(rep: Rep) -> str:
    """The title of the picture in another size."""
    if rep.start_velocity_rad_s is None:
        return f"Rep {rep.rep} in six steps"
    return f"Rep {rep.rep} started at {number_of(rep, 'start_velocity_deg_s'):.0f} °/s"


def draw_load(measured: Measured, index: int, path: Path, outputs: Outputs, guard: Guard) -> Path:
    """Draw the shoulder's moment of one set beside its picture."""
    from armarc.report import save_figure
    from armarc.report.load_figures import draw_set_load
    from armarc.report.sizes import in_size

    own = path.with_name(f"{path.stem}-moment{path.suffix}")
    choices, load = measured.session.choices, measured.session.loads[index]
    facts = f"{choices.side} arm · set {measured.session.sets[index].set} · {load.resistance}"
    figure = in_size(
        lambda _: draw_set_load(load, title=choices.exercise.name, facts=facts, dark=outputs.dark),
        outputs.size,
        moment_message(load),
    )
    save_figure(figure, own, guard)
    return own


def moment_message(load: SetLoad) -> str:
    """The title of a set's moments in another size: the means of its full reps, as in the table and the JSON."""
    from armarc.cli.shown_sets import PEAK_PHASES
    from armarc.load import load_record

    means = load_record(load)["summary"]
    if means["peak_moment_n_m"] is None or means["peak_moment_at_deg"] is None:
        return "The moment about the shoulder"
    phase = PEAK_PHASES.get(means["peak_moment_phase"])
    where = f"{means['peak_moment_at_deg']:.0f}°" + (f", {phase}" if phase else "")
    return f"The moment about the shoulder peaks at {means['peak_moment_n_m']:.0f} N·m, at {where}."
