"""Measuring many files in a row: one bad file does not stop the rest, nothing is written twice."""

from __future__ import annotations

import contextlib
import csv
import io
import json
import sys
import tempfile
from collections.abc import Iterator, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, TextIO

import typer
from rich.console import Console
from rich.markup import escape
from rich.progress import Progress

from armarc.cli.outputs import check_picture, guard_for
from armarc.cli.recording_outputs import (
    NO_TRUNK,
    LogEntry,
    Measured,
    Outputs,
    TrunkFile,
    markers_kind,
    samples_kind,
    write_markers,
    write_samples,
)
from armarc.cli.shown_sets import cautions_of, show, show_cautions
from armarc.cli.terminal import MANNER, error_console, out_console
from armarc.errors import ArmarcError, FormatError, InputError, NothingToMeasure, UsageError
from armarc.outputs import TABLE, Guard, safe_cell
from armarc.recording.captures import paired

if TYPE_CHECKING:
    from armarc.kept import Kept
    from armarc.options import MeasuringOptions
    from armarc.trunk import Trunk

RECORDING_SUFFIXES = (".csv", ".tsv", ".txt", ".csv.gz")
_SPOOLED = "standard-input.csv"


def run(
    files: list[Path],
    *,
    reading: dict[str, object],
    options: MeasuringOptions,
    outputs: Outputs,
    trunk: TrunkFile = NO_TRUNK,
) -> None:
    """Measure files and folders and report them.

    Raises
    ------
    UsageError
        For options that make no sense, before anything is read.
    typer.Exit
        With the code of the first failure, after everything else was done: 3 for a file that cannot be used,
        6 when no rep was found in any file.
    """
    with contextlib.ExitStack() as stack:
        spooled = [stack.enter_context(_standard_input()) if str(file) == "-" else file for file in files]
        _run(expand(spooled), reading, options, outputs, trunk)


def _run(
    given: list[Path],
    reading: dict[str, Any],
    options: MeasuringOptions,
    outputs: Outputs,
    trunk: TrunkFile,
) -> None:
    from armarc.kept import open_kept

    kept = open_kept()
    read = {key: value for key, value in reading.items() if value is not None}
    pairs = paired(given)
    paths = pairs.paths
    if len(paths) > 1 and "gyroscope_path" in read:
        raise UsageError("--gyroscope goes with a single recording", "process the pairs one by one")
    if len(paths) > 1 and trunk.path is not None:
        raise UsageError("--trunk goes with a single recording", "process the pairs one by one")
    if len(paths) > 1 and outputs.log is not None and outputs.log.began is not None:
        raise UsageError(
            "--began goes with a single recording", "log them one by one, each with its own time"
        )
    guard = guard_for(
        [*given, read.get("gyroscope_path"), trunk.path],
        log_file=None if outputs.log is None else outputs.log.file,
        force=outputs.force,
    )
    if outputs.steps is not None and outputs.plot is None:
        raise UsageError("--steps needs a file for the picture", "add --plot OUT.png")
    if outputs.plot is not None:
        check_picture(outputs.plot, guard)
    if outputs.csv is not None:
        guard.check(outputs.csv, TABLE)
    if outputs.samples is not None:
        guard.check(outputs.samples, samples_kind(outputs.samples))
    if outputs.markers is not None:
        guard.check(outputs.markers, markers_kind(outputs.markers))
    talk, out = error_console(), out_console()
    code = 0
    counted = 0
    rows: list[dict[str, object]] = []
    cautions: dict[str, None] = {}  # each once in a run, in the order they came
    progress = Progress(console=talk, transient=True)
    # Never started where it is not seen: one that is only disabled leaves an empty line in older releases of rich.
    with progress if len(paths) > 1 and talk.is_terminal else contextlib.nullcontext():
        task = progress.add_task("Measuring", total=len(paths))
        for number, path in enumerate(paths):
            progress.update(task, description=escape(path.name))
            try:
                pairs.check(path)
                chest = trunk.path or pairs.chest_of.get(path)
                measured = measure_file(path, read, options, kept, replace(trunk, path=chest))
                if chest is not None and trunk.path is None:
                    said = f"{path.name}: with the chest sensor of {chest.name}"
                    talk.print(said, markup=False, soft_wrap=True)
                if path.name == _SPOOLED:
                    result = measured.result
                    measured = replace(
                        measured, result=replace(result, source=replace(result.source, file="-"))
                    )
                report(measured, number, len(paths), outputs, guard, out, talk)
                rows += rows_of(measured)
                counted += len(measured.session.sets)
                cautions |= dict.fromkeys(cautions_of(measured.result))
            except ArmarcError as error:
                if len(paths) == 1:
                    raise
                said = f"armarc: {_named(error, path)}"
                error_console(always=True).print(said, style="bold", markup=False, soft_wrap=True)
                code = code or error.exit_code
            progress.advance(task)
    if not outputs.json and out.is_terminal:
        show_cautions(cautions, out)
    if outputs.csv is not None:
        write_table(rows, outputs.csv, guard)
        talk.print(f"Reps written to {escape(str(outputs.csv))}")
    if not outputs.json and not out.is_terminal:
        plain_table(rows, len(paths))
    if code:
        raise typer.Exit(code)
    if not counted:
        where = str(paths[0]) if len(paths) == 1 else f"{len(paths)} recordings"
        raise NothingToMeasure(
            f"{where}: no rep was found",
            "is it the right file and exercise? Movements smaller than the exercise's smallest range are not "
            "reps; --plot shows what was measured",
        )


@contextlib.contextmanager
def _standard_input() -> Iterator[Path]:
    """What comes in on standard input, as a file that can be looked at twice."""
    from armarc.files import largest_recording_bytes

    largest = largest_recording_bytes()
    with tempfile.TemporaryDirectory(prefix="armarc-") as folder:
        path = Path(folder) / _SPOOLED
        with path.open("wb") as stream:
            while block := sys.stdin.buffer.read(1 << 20):
                stream.write(block)
                if stream.tell() > largest:
                    raise FormatError(
                        f"standard input goes on beyond {largest >> 20} MB",
                        "save it as a file, or allow more with ARMARC_LARGEST_MB",
                    )
        try:
            yield path
        except ArmarcError as error:
            _of_standard_input(error, path)
            raise


def _of_standard_input(error: ArmarcError, path: Path) -> None:
    """Name what a person knows, not the file that standard input was read into."""
    error.message = error.message.replace(str(path), "standard input")
    if isinstance(error, InputError):
        error.file = error.file.replace(str(path), "standard input")


def expand(files: list[Path]) -> list[Path]:
    """Folders as the recordings in them, in order of name.

    Raises
    ------
    FormatError
        For a path that does not exist or a folder without recordings.
    """
    paths: list[Path] = []
    for path in files:
        if path.is_dir():
            found = sorted(p for p in path.iterdir() if p.name.lower().endswith(RECORDING_SUFFIXES))
            if not found:
                raise FormatError(
                    "the folder holds no recording",
                    "expected files ending in .csv, .tsv or .txt",
                    file=str(path),
                )
            paths.extend(found)
        else:
            paths.append(path)
    return list(dict.fromkeys(paths))


def measure_file(
    path: Path,
    reading: dict[str, Any],
    options: MeasuringOptions,
    kept: Kept,
    trunk: TrunkFile = NO_TRUNK,
) -> Measured:
    """Read and measure one recording."""
    from armarc.api import process, read_csv

    recording = read_csv(path, kept=kept, **reading)
    session = process(recording, options, kept=kept, trunk=_read_trunk(trunk))
    return Measured(
        path=path,
        session=session,
        result=session.result(),
        reading=kept.reading(reading),
        trunk_path=trunk.path,
    )


def _read_trunk(file: TrunkFile) -> Trunk | None:
    from armarc.motion import sensor_axis
    from armarc.recording import read_csv
    from armarc.trunk import CLOCKS, Trunk

    clock = next((known for known in CLOCKS if known == file.clock), None)
    if clock is None:
        raise UsageError(f"there is no clock {file.clock!r}", f"one of {', '.join(CLOCKS)}")
    if file.forward is not None:
        sensor_axis(file.forward)
    if file.path is None:
        return None
    return Trunk.of(read_csv(file.path), clock, file.forward)


def rows_of(measured: Measured) -> list[dict[str, object]]:
    """All reps of a file as rows of one table, load included."""
    return [
        {"file": str(measured.path), "set": one.set, **rep, "quality": " ".join(rep["quality"])}
        for one in measured.result.sets
        for rep in one.rep_records()
    ]


def report(
    measured: Measured, number: int, count: int, outputs: Outputs, guard: Guard, out: Console, talk: Console
) -> None:
    """Show one measured recording on stdout, its warnings on stderr, log it and draw it."""
    path, result = measured.path, measured.result
    name = f"{path.name}: " if count > 1 else ""
    # The log comes first: whatever befalls the output, the sets are kept.
    logged = write_log(measured, outputs.log) if outputs.log is not None and result.sets else ""
    if outputs.json:
        sys.stdout.write(json.dumps(result.to_dict(), ensure_ascii=False, allow_nan=False) + "\n")
        sys.stdout.flush()
    elif out.is_terminal:
        show(result, path, number, count, out)
    for said in reading_notes(measured.session.recording.source.inferences):
        talk.print(f"{name}{said}", style="dim", markup=False, soft_wrap=True)
    for warning in result.warnings:
        talk.print(f"{name}note: {warning}", markup=False, soft_wrap=True)
    if logged:
        talk.print(f"{name}{logged}", markup=False, soft_wrap=True)
    if outputs.samples is not None:
        where = plot_path(outputs.samples, path, count)
        write_samples(measured.session, where, guard)
        talk.print(f"{name}samples written to {where}", markup=False, soft_wrap=True)
    if outputs.markers is not None:
        where = plot_path(outputs.markers, path, count)
        said = write_markers(measured.session, where, outputs.video, guard)
        talk.print(f"{name}{said}", markup=False, soft_wrap=True)
    if outputs.plot is not None:
        from armarc.cli.recording_outputs import draw

        for written in draw(measured, plot_path(outputs.plot, path, count), outputs, guard):
            talk.print(f"Picture written to {written}", markup=False, soft_wrap=True)


def reading_notes(inferences: Sequence[str]) -> list[str]:
    """How a foreign file was read: one line, or with ``--verbose`` one for each thing recognised."""
    if MANNER.verbose or len(inferences) < 2:
        return list(inferences)
    return [f"{inferences[0]}; {len(inferences) - 1} more such notes on reading it with --verbose"]


def write_log(measured: Measured, entry: LogEntry) -> str:
    """Write the sets into the training log and say what was done."""
    from armarc.log import Labels, log_session, open_log

    with open_log(entry.file) as store:
        added = log_session(
            store,
            measured.session,
            measured.path,
            labels=Labels(**entry.labels),
            started_at=entry.began,
            reading=measured.reading,
            trunk_path=measured.trunk_path,
        )
        where = store.location.name
    ids = ", ".join(str(number) for number in added.set_ids)
    said = [
        f"log {where}: {added.status}, {'set' if len(added.set_ids) == 1 else 'sets'} {ids}",
        *added.notes,
    ]
    return "; ".join(said)


def plot_path(plot: Path, recording: Path, count: int) -> Path:
    """One picture per recording: with several, the recording's name goes into the picture's."""
    return plot if count == 1 else plot.with_name(f"{plot.stem}-{recording.stem}{plot.suffix}")


def plain_table(rows: list[dict[str, object]], count: int) -> None:
    """Write all reps of all files as one tab-separated table to stdout."""
    columns = [name for name in columns_of(rows) if count > 1 or name != "file"]
    if rows:
        _write_rows(rows, columns, sys.stdout, "\t")


def write_table(rows: list[dict[str, object]], path: Path, guard: Guard) -> None:
    """Write all reps as one CSV."""
    with guard.open(path, TABLE) as stream:
        text = io.TextIOWrapper(stream, encoding="utf-8", newline="", write_through=True)
        safe = [{k: safe_cell(v) if isinstance(v, str) else v for k, v in row.items()} for row in rows]
        _write_rows(safe, columns_of(rows), text, ",")
        text.detach()


def columns_of(rows: list[dict[str, object]]) -> list[str]:
    """Names of all columns in the order they first appear."""
    return list(dict.fromkeys(name for row in rows for name in row))


def _write_rows(rows: list[dict[str, object]], columns: list[str], stream: TextIO, delimiter: str) -> None:
    writer = csv.DictWriter(
        stream, columns, restval="", extrasaction="ignore", delimiter=delimiter, lineterminator="\n"
    )
    writer.writeheader()
    writer.writerows(rows)


def _named(error: ArmarcError, path: Path) -> str:
    if path.name == _SPOOLED:
        _of_standard_input(error, path)
        path = Path("standard input")
    said = str(error)
    return said if str(path) in said or path.name in said else f"{path}: {said}"
