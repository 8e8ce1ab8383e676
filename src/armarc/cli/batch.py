"""Measuring many files in a row: one bad file does not stop the rest, nothing is written twice."""

from __future__ import annotations

import json
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import typer
from rich.console import Console
from rich.markup import escape
from rich.progress import Progress

from armarc.cli.app import error_console
from armarc.errors import ArmarcError, FormatError, NothingToMeasure, UsageError

if TYPE_CHECKING:
    import pandas as pd

    from armarc.pipeline import Session

RECORDING_SUFFIXES = (".csv", ".tsv", ".txt", ".csv.gz")


@dataclass(frozen=True, slots=True, kw_only=True)
class Outputs:
    """Where results go besides the table on stdout."""

    json: bool = False
    csv: Path | None = None
    plot: Path | None = None
    dark: bool = False


def run(files: list[Path], *, reading: dict[str, Any], measuring: dict[str, Any], outputs: Outputs) -> None:
    """Measure files and folders and report them.

    Raises
    ------
    UsageError
        For options that make no sense, before anything is read.
    typer.Exit
        With the code of the first failure, after everything else was done: 3 for a file that cannot be used,
        6 when no rep was found in any file.
    """
    paths = expand(files)
    options = parsed(measuring)
    read = {key: value for key, value in reading.items() if value is not None}
    if len(paths) > 1 and "gyroscope_path" in read:
        raise UsageError("--gyroscope goes with a single recording", "process the pairs one by one")
    if outputs.plot is not None:
        check_picture(outputs.plot)
    talk, out = error_console(), Console(highlight=False)
    code = 0
    measured = 0
    frames: list[pd.DataFrame] = []
    with Progress(console=talk, transient=True, disable=len(paths) == 1 or not talk.is_terminal) as progress:
        task = progress.add_task("Measuring", total=len(paths))
        for number, path in enumerate(paths):
            progress.update(task, description=escape(path.name))
            try:
                session = measure_file(path, read, options)
                report(session, path, number, len(paths), outputs, out, talk)
                frames.append(session.frame().assign(file=str(path)))
                measured += len(session.sets)
            except ArmarcError as error:
                if len(paths) == 1:
                    raise
                talk.print(f"armarc: {_named(error, path)}", style="bold", markup=False, soft_wrap=True)
                code = code or error.exit_code
            progress.advance(task)
    if outputs.csv is not None:
        write_table(frames, outputs.csv)
        talk.print(f"Reps written to {escape(str(outputs.csv))}")
    if code:
        raise typer.Exit(code)
    if not measured:
        where = str(paths[0]) if len(paths) == 1 else f"{len(paths)} recordings"
        raise NothingToMeasure(
            f"{where}: no rep was found",
            "is it the right file and exercise? Movements smaller than the exercise's smallest range are not "
            "reps; --plot shows what was measured",
        )


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


def parsed(measuring: dict[str, Any]) -> dict[str, Any]:
    """Options as `armarc.process` takes them, with the lifter's settings file."""
    from armarc.quantities import parse_load, parse_pair
    from armarc.settings import load_settings

    options = {key: value for key, value in measuring.items() if value is not None}
    if "load" in options:
        options["load_kg"] = parse_load(options.pop("load"))
    for name, key in (("band", "band_deg_s"), ("gate", "gate_deg"), ("loaded_range", "loaded_range_deg")):
        if name in options:
            options[key] = parse_pair(options.pop(name))
    options["settings"] = load_settings()
    return options


def measure_file(path: Path, reading: dict[str, Any], options: dict[str, Any]) -> Session:
    """Read and measure one recording."""
    from armarc.pipeline import process
    from armarc.recording import read_csv

    settings = options["settings"]
    saved = {"axes": settings.axes, "gravity_sign": settings.gravity_sign}
    defaults = {key: value for key, value in saved.items() if value is not None}
    return process(read_csv(path, **{**defaults, **reading}), **options)


def report(
    session: Session, path: Path, number: int, count: int, outputs: Outputs, out: Console, talk: Console
) -> None:
    """Show one measured recording on stdout, its warnings on stderr, and draw it."""
    result: Any = session.to_dict()
    if outputs.json:
        sys.stdout.write(json.dumps(result, ensure_ascii=False, allow_nan=False) + "\n")
        sys.stdout.flush()
    else:
        show(result, path, number, count, out)
    name = f"{path.name}: " if count > 1 else ""
    for inference in session.recording.source.inferences:
        talk.print(f"{name}{inference}", style="dim", markup=False, soft_wrap=True)
    for warning in result["warnings"]:
        talk.print(f"{name}note: {warning}", markup=False, soft_wrap=True)
    if outputs.plot is not None:
        for written in draw(session, plot_path(outputs.plot, path, count), outputs.dark):
            talk.print(f"Picture written to {written}", markup=False, soft_wrap=True)


def show(result: Any, path: Path, number: int, count: int, out: Console) -> None:
    """Print the sets of one recording as tables, or as one tab-separated table into a pipe."""
    from armarc.report import print_set

    settings = result["settings"]
    for index, measured in enumerate(result["sets"]):
        words = [settings["exercise"].replace("-", " "), f"{settings['side']} arm"]
        if settings["load_kg"] is not None:
            words.append(f"{settings['load_kg']:g} kg")
        title = f"Set {measured['set']} · {', '.join(words)} · {measured['summary']['reps']} reps"
        if count > 1:
            title = f"{path.name} · {title}"
        if out.is_terminal and (number or index):
            out.print()
        records = measured["reps"]
        if count > 1:
            records = [{"file": path.name, **record} for record in records]
        print_set(
            out,
            records,
            measured["summary"],
            title=title,
            band_deg_s=settings["band_deg_s"],
            set_number=measured["set"],
            header=number == 0 and index == 0,
        )


def check_picture(path: Path) -> None:
    """Refuse a picture format that cannot be written before any work is done."""
    if path.suffix.lower() not in (".png", ".svg", ".pdf"):
        raise UsageError(
            f"a picture cannot be written as {path.suffix or 'a file without an ending'!r}",
            "name it .png, .svg or .pdf",
        )


def plot_path(plot: Path, recording: Path, count: int) -> Path:
    """One picture per recording: with several, the recording's name goes into the picture's."""
    return plot if count == 1 else plot.with_name(f"{plot.stem}-{recording.stem}{plot.suffix}")


def draw(session: Session, path: Path, dark: bool) -> list[Path]:
    """Draw a recording: the set, or with several sets the session and each set beside it."""
    from armarc.report import draw_session, draw_set, save_figure

    if len(session.sets) == 1:
        motion = session.motions[session.motion_of_set[0]]
        save_figure(draw_set(motion, session.sets[0], exercise=session.choices.exercise, dark=dark), path)
        return [path]
    if not session.motions:
        return []
    written = [path]
    save_figure(draw_session(session.motions, session.sets, dark=dark), path)
    for measured, motion_number in zip(session.sets, session.motion_of_set, strict=True):
        own = path.with_name(f"{path.stem}-set{measured.set}{path.suffix}")
        motion = session.motions[motion_number]
        save_figure(draw_set(motion, measured, exercise=session.choices.exercise, dark=dark), own)
        written.append(own)
    return written


def write_table(frames: list[pd.DataFrame], path: Path) -> None:
    """Write all reps as one CSV."""
    import pandas as pd

    table = pd.concat(frames, ignore_index=True) if frames else pd.DataFrame()
    if "file" in table:
        table.insert(0, "file", table.pop("file"))
    try:
        table.to_csv(path, index=False)
    except OSError as error:
        raise UsageError(f"cannot write {path}: {error.strerror or error}", "choose another place") from None


def _named(error: ArmarcError, path: Path) -> str:
    said = str(error)
    return said if str(path) in said or path.name in said else f"{path}: {said}"
