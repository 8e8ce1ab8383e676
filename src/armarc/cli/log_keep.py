"""``armarc log import``, ``export``, ``backup``, ``restore`` and ``check``: what goes into the log and out of it."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from armarc.cli.log_options import (
    FILTERS,
    AsJson,
    DryRun,
    LogFile,
    Yes,
    check_names,
    confirm,
    exercise_key,
    make_filter,
    print_json,
    print_table,
    say,
)
from armarc.cli.option_rows import taking
from armarc.cli.outputs import Force, guard_for
from armarc.cli.terminal import with_progress

if TYPE_CHECKING:
    from armarc.kept import Kept
    from armarc.log.labels import Labels
    from armarc.log.reading import Filter
    from armarc.log.store import Store


def register(app: typer.Typer) -> None:
    """Attach the commands that keep the log."""
    app.command("import")(import_command)
    app.command("export")(export_command)
    app.command("backup")(backup_command)
    app.command("restore")(restore_command)
    app.command("check")(check_command)


def import_command(
    places: Annotated[
        list[Path], typer.Argument(help="Recordings, or folders searched through and through.")
    ],
    lifter: Annotated[str | None, typer.Option(help="Who lifted.")] = None,
    exercise: Annotated[str | None, typer.Option("--exercise", "-e", help="Exercise of all of them.")] = None,
    variant: Annotated[str | None, typer.Option(help="Variant of all of them.")] = None,
    side: Annotated[str | None, typer.Option(help="left or right.")] = None,
    load: Annotated[str | None, typer.Option(help="Load, e.g. 8kg or 17.5lb.")] = None,
    tag: Annotated[list[str] | None, typer.Option(help="Tag; may be repeated.")] = None,
    session: Annotated[str | None, typer.Option(help="Name of the session.")] = None,
    as_json: AsJson = False,
    log_file: LogFile = None,
) -> None:
    """Measure and log many recordings; what is in the log already is not doubled."""
    from armarc.api import open_kept
    from armarc.errors import InputError, LogError
    from armarc.log.labels import Labels, check_side
    from armarc.log.store import open_log
    from armarc.quantities import parse_load

    labels = Labels(
        lifter=lifter,
        variant=variant,
        side=check_side(side),
        load_kg=None if load is None else parse_load(load),
        tags=tuple(tag or ()),
        session=session,
    ).checked()
    files = _recordings_in(places)
    if not files:
        raise InputError("no recordings there", "name CSV files, or folders that hold some")
    records: list[dict[str, Any]] = []
    kept = open_kept()
    with open_log(log_file) as store:
        key = None if exercise is None else exercise_key(exercise)
        for file in with_progress(files):
            try:
                records.append(_import_one(store, file, key, labels, kept))
            except LogError as error:
                done = sum(record["status"] != "failed" for record in records)
                raise LogError(
                    f"{error.message}; it stopped at {file}, after {done} of {len(files)} recordings",
                    f"{error.hint}. Then run the same again: what is in the log is not doubled",
                ) from None
    if as_json:
        print_json({"schema": "armarc.log-import/1", "files": records})
    else:
        lines = [[r["file"], r["status"], str(r["sets"]), str(r["reps"]), r["message"]] for r in records]
        print_table(["File", "Status", "Sets", "Reps", "Remark"], lines, right=frozenset({2, 3}))
    failed = sum(record["status"] == "failed" for record in records)
    say(f"{len(records) - failed} of {len(records)} recordings read, {sum(r['sets'] for r in records)} sets")
    if failed:
        raise typer.Exit(InputError.exit_code)


@taking(where=(FILTERS, make_filter))
def export_command(
    to: Annotated[
        str, typer.Argument(help="File ending in .csv, .parquet or .json; - for CSV on stdout.")
    ] = "-",
    *,
    per: Annotated[str, typer.Option("--per", help="What a row is: rep or set.")] = "rep",
    where: Filter,
    kind: Annotated[
        str | None, typer.Option("--format", help="csv, parquet or json; else by the file's ending.")
    ] = None,
    force: Force = False,
    log_file: LogFile = None,
) -> None:
    """Write the log as a table for other programs, and a codebook of its columns beside it."""
    import sys

    from armarc.errors import UsageError
    from armarc.log.exporting import FORMATS, codebook, export
    from armarc.log.store import open_log
    from armarc.outputs import CODEBOOK
    from armarc.quantities import counted

    ending = Path(to).suffix.lower().lstrip(".")
    chosen = (kind or ending or "csv").lower()
    if chosen not in FORMATS:
        raise UsageError(f"{chosen!r} is no export format", f"choose from: {', '.join(FORMATS)}")
    with open_log(log_file, create=False) as store:
        check_names(store, where)
        if to == "-":
            export(store, sys.stdout.buffer, chosen, where, per=per)
            sys.stdout.buffer.flush()
            return
        guard = guard_for(log_file=log_file, force=force)
        guard.check(to, FORMATS[chosen])
        beside = Path(to).with_suffix(".codebook.md")
        guard.check(beside, CODEBOOK)
        with guard.open(to, FORMATS[chosen]) as stream:
            count = export(store, stream, chosen, where, per=per)
    with guard.open(beside, CODEBOOK) as stream:
        stream.write(codebook().encode())
    say(f"what the columns mean is written to {beside}")
    say(f"{count} rows written to {to}" if chosen != "json" else f"{counted(count, 'set')} written to {to}")


def backup_command(
    to: Annotated[Path, typer.Argument(help="File to write, e.g. backup.zip.")],
    yes: Yes = False,
    force: Force = False,
    log_file: LogFile = None,
) -> None:
    """Write the whole log with its recordings into one file."""
    from armarc.log.backup import back_up
    from armarc.log.store import open_log
    from armarc.outputs import BACKUP
    from armarc.quantities import counted

    guard = guard_for(log_file=log_file, force=force)
    guard.check(to, BACKUP)
    with open_log(log_file, create=False) as store:
        if to.exists():
            confirm(f"{to} exists. Write over it?", yes)
        carried = back_up(store, to, guard)
    say(f"{counted(carried.sets, 'set')} and {counted(carried.recordings, 'recording')} written to {to}")
    if carried.missing:
        say(f"missing from the log: {counted(carried.missing, 'recording')}, see armarc log check")


def restore_command(
    source: Annotated[Path, typer.Argument(help="File made by armarc log backup.")],
    replace: Annotated[bool, typer.Option("--replace", help="Move the log that is there aside.")] = False,
    dry_run: DryRun = False,
    yes: Yes = False,
    log_file: LogFile = None,
) -> None:
    """Bring a backup back."""
    from armarc.log.backup import look_into, restore
    from armarc.log.location import find_location
    from armarc.quantities import counted

    location = find_location(log_file)
    if dry_run:
        carried = look_into(source)
        there = location.file is not None and location.file.exists()
        aside = "; the log that is there would be moved aside" if replace and there else ""
        if there and not replace:
            aside = "; a log is there already: it would be refused unless that is empty, see --replace"
        say(
            f"would bring {counted(carried.sets, 'set')} and {counted(carried.recordings, 'recording')} into "
            f"{location.name}{aside}; "
            "nothing was changed (dry run)"
        )
        return
    if replace and location.file is not None and location.file.exists():
        confirm(f"Move {location.name} aside and bring the backup back in its place?", yes)
    carried = restore(source, location, replace=replace)
    back = f"{counted(carried.sets, 'set')} and {counted(carried.recordings, 'recording')}"
    say(f"back in {location.name}: {back}")


def check_command(as_json: AsJson = False, log_file: LogFile = None) -> None:
    """Look through the log and its recordings for damage."""
    from armarc.errors import LogError
    from armarc.log.checking import check_log
    from armarc.log.store import open_log
    from armarc.quantities import counted

    with open_log(log_file, create=False) as store:
        checked = check_log(store)
        name = store.location.name
    if as_json:
        print_json(
            {
                "schema": "armarc.log-check/1",
                "log": name,
                "sets": checked.sets,
                "reps": checked.reps,
                "recordings": checked.recordings,
                "problems": list(checked.problems),
                "remarks": list(checked.remarks),
            }
        )
    else:
        numbers = (checked.sets, "set"), (checked.reps, "rep"), (checked.recordings, "recording")
        say(f"{name}: {', '.join(counted(n, word) for n, word in numbers)}")
        for line in checked.problems:
            typer.echo(f"problem: {line}")
        for line in checked.remarks:
            say(f"remark: {line}")
        if not checked.problems:
            say("everything is in order")
    if checked.problems:
        raise typer.Exit(LogError.exit_code)


def _import_one(store: Store, file: Path, exercise: str | None, labels: Labels, kept: Kept) -> dict[str, Any]:
    from armarc.api import MeasuringOptions, process, read_csv
    from armarc.errors import ArmarcError, LogError
    from armarc.log.adding import log_session

    record: dict[str, object] = {"file": str(file), "status": "failed", "sets": 0, "reps": 0, "message": ""}
    try:
        stated = MeasuringOptions(
            exercise=exercise, side=labels.side, load_kg=labels.load_kg, lifter=labels.lifter
        )
        session = process(read_csv(file, kept=kept), stated, kept=kept)
        if not session.sets:
            return {**record, "status": "no reps", "message": "nothing to measure; not logged"}
        added = log_session(store, session, file, labels=labels, reading=kept.reading({}))
    except LogError:
        raise
    except ArmarcError as error:
        return {**record, "message": str(error)}
    reps = sum(len(one.reps) for one in session.sets)
    return {
        **record,
        "status": added.status,
        "sets": len(added.set_ids),
        "reps": reps,
        "message": "; ".join(added.notes),
    }


def _recordings_in(places: list[Path]) -> list[Path]:
    from armarc.archive.discover import looks_like_recording
    from armarc.errors import InputError

    files: dict[Path, None] = {}
    for place in places:
        if place.is_dir():
            found = [p for p in sorted(place.rglob("*")) if p.is_file() and looks_like_recording(p.name)]
            files |= dict.fromkeys(found)
        elif place.exists():
            files[place] = None
        else:
            raise InputError("there is no such file or folder", "check the name", file=str(place))
    return list(files)
