"""``armarc archive``: a folder of thousands of recordings as one dataset."""

from __future__ import annotations

import time
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from armarc.cli import measuring_options as measuring
from armarc.cli.log_options import AsJson, print_json, print_table, say
from armarc.cli.option_rows import taking, without

if TYPE_CHECKING:
    from armarc.archive.process import Progress, RunResult
    from armarc.options import MeasuringOptions

_HOW = "Computing"
_SAY_EVERY_S = 15.0

QUERIES = """\
SELECT exercise, side, count(*) AS reps, avg(rom_deg) AS rom_deg
FROM read_parquet('STORE/reps/*/*.parquet', union_by_name = true) GROUP BY exercise, side ORDER BY exercise, side;

SELECT f.path, r."set", r.rep, r.start_velocity_deg_s, r.start_verdict
FROM read_parquet('STORE/reps/*/*.parquet', union_by_name = true) AS r
JOIN read_parquet('STORE/files/*/*.parquet', union_by_name = true) AS f USING (run, sha256)
WHERE f.status = 'measured' AND NOT list_contains(r.quality, 'partial')
ORDER BY f.path, r."set", r.rep;
"""
"""DuckDB queries that the help shows."""

PANDAS = """\
reps = pandas.read_parquet("STORE/reps")
reps.query("start_verdict == 'inside'").groupby(["exercise", "side"])["rom_deg"].describe()
"""

_EPILOG = "\n\n".join(
    [
        "Query it with DuckDB:",
        *(" ".join(query.split()) + ";" for query in QUERIES.split(";") if query.strip()),
        "or with pandas:",
        *PANDAS.strip().split("\n"),
        "A column `run` tells apart versions and settings measured into the same archive; `armarc archive columns` "
        "lists the columns.",
    ]
)

app = typer.Typer(
    name="archive",
    no_args_is_help=True,
    help="Measure a whole archive of recordings into one Parquet dataset.",
    epilog=_EPILOG,
)

Store = Annotated[Path, typer.Argument(metavar="STORE", help="The archive.")]


@app.command("process", epilog=_EPILOG)
@taking(
    options=(without(measuring.MEASURING, "resistance", "lifter", "gate_from"), measuring.stated),
    reading=(without(measuring.READING, "gyroscope"), measuring.reading),
)
def process(
    folder: Annotated[
        Path, typer.Argument(metavar="DIR", help="Folder of recordings, searched through and through.")
    ],
    out: Annotated[Path, typer.Option(metavar="STORE", help="The archive to write or to go on with.")],
    *,
    options: MeasuringOptions,
    reading: dict[str, object],
    workers: Annotated[
        int | None,
        typer.Option(
            min=1, help="Processes on this machine; all its cores by default.", rich_help_panel=_HOW
        ),
    ] = None,
    scheduler: Annotated[
        str | None,
        typer.Option(
            metavar="tcp://HOST:PORT",
            help="Use the workers of this Dask cluster; they must see the recordings under the same paths.",
            rich_help_panel=_HOW,
        ),
    ] = None,
    time_limit: Annotated[
        float | None,
        typer.Option(
            metavar="SECONDS",
            min=1.0,
            help="Give a recording up after this long; 900 by default.",
            rich_help_panel=_HOW,
        ),
    ] = None,
    retry_failures: Annotated[
        bool, typer.Option("--retry-failures", help="Try again what failed before.", rich_help_panel=_HOW)
    ] = False,
    check_bytes: Annotated[
        bool,
        typer.Option(
            "--check-bytes",
            help="Read every file again to see whether its bytes changed although its size and date did not.",
            rich_help_panel=_HOW,
        ),
    ] = False,
    as_json: AsJson = False,
) -> None:
    """Measure every recording below DIR into the archive STORE.

    What this version measured before with the same settings is left out, so a second run, or one after a crash,
    only does what is missing. A recording that cannot be measured goes into the table of failures and stops
    nothing. The recordings' own headers count as in `armarc process`. Shoulder moments are not part of an archive.
    """
    from armarc.archive.interrupts import asked_to_end_as_interrupted
    from armarc.archive.process import TIME_LIMIT_S, process_archive
    from armarc.archive.setup import make_setup
    from armarc.kept import open_kept

    setup = make_setup(options, reading, kept=open_kept())
    watcher = _Watcher()
    try:
        with asked_to_end_as_interrupted():
            result = process_archive(
                folder,
                out,
                setup,
                workers=workers or _cores(),
                scheduler=scheduler,
                retry_failures=retry_failures,
                check_bytes=check_bytes,
                time_limit_s=TIME_LIMIT_S if time_limit is None else time_limit,
                watch=watcher,
            )
    except KeyboardInterrupt:
        watcher.stop()
        say("stopped; what was measured is kept, the same command goes on from here")
        raise
    finally:
        watcher.stop()
    _tell(result, out)
    if as_json:
        print_json(_record(result, out))


@app.command("status")
def status(store: Store, as_json: AsJson = False) -> None:
    """Say what an archive holds, and whether every part of it is whole."""
    from armarc.archive.status import archive_status
    from armarc.archive.store import ArchiveStore
    from armarc.errors import InputError

    found = archive_status(ArchiveStore.open(store))
    if as_json:
        print_json(found)
    else:
        heads = ["Run", "Version", "Files", "Measured", "No reps", "Failed", "Known", "Sets", "Reps"]
        heads += ["Hours", "MB", "Options"]
        lines = [
            [
                run["run"],
                str(run["armarc_version"]),
                *(str(run[key]) for key in ("files", "measured", "no_reps", "failed", "known")),
                *(str(run[key]) for key in ("sets", "reps")),
                f"{run['hours']:.2f}",
                f"{run['bytes'] / 1e6:.1f}",
                _options_words(run["options"]),
            ]
            for run in found["runs"]
        ]
        print_table(heads, lines, right=frozenset(range(2, 11)))
    for problem in found["problems"]:
        say(f"problem: {problem}")
    if any("restore" in problem for problem in found["problems"]):
        raise typer.Exit(InputError.exit_code)


@app.command("failures")
def failures(
    store: Store,
    run: Annotated[str | None, typer.Option(help="Only this run, see `armarc archive status`.")] = None,
    as_json: AsJson = False,
) -> None:
    """List the recordings that could not be measured, and why."""
    from armarc.archive.schema import SCHEMA
    from armarc.archive.status import list_failures
    from armarc.archive.store import ArchiveStore
    from armarc.errors import UsageError

    archive = ArchiveStore.open(store)
    known = archive.runs()
    if run is not None and run not in known:
        raise UsageError(f"there is no run {run!r}", f"known: {', '.join(known) or 'none'}")
    found = list(list_failures(archive, run))
    if as_json:
        print_json({"schema": SCHEMA, "failures": found})
        return
    lines = [
        [row["path"], row["stage"], row["error"], row["message"], row["hint"] or "", row["run"]]
        for row in found
    ]
    print_table(["Recording", "Stage", "Error", "What was wrong", "What to do", "Run"], lines)
    say("no failures" if not found else f"{len(found)} failure(s)")


@app.command("columns")
def columns_command(
    table: Annotated[str | None, typer.Argument(help="reps, sets, files or failures.")] = None,
    as_json: AsJson = False,
) -> None:
    """List the tables and columns of an archive."""
    from armarc.archive.schema import SCHEMA, TABLES
    from armarc.errors import UsageError

    if table is not None and table not in TABLES:
        raise UsageError(f"there is no table {table!r}", f"choose from: {', '.join(TABLES)}")
    chosen = {name: found for name, found in TABLES.items() if table in (None, name)}
    if as_json:
        print_json(
            {
                "schema": SCHEMA,
                "tables": {
                    name: [{"name": c.name, "kind": c.kind, "meaning": c.meaning} for c in found]
                    for name, found in chosen.items()
                },
            }
        )
        return
    lines = [[name, c.name, c.kind, c.meaning] for name, found in chosen.items() for c in found]
    print_table(["Table", "Column", "Kind", "Meaning"], lines)


class _Watcher:
    """Shows how far a run is and when it will be done: a bar on a terminal, a line now and then elsewhere."""

    def __init__(self) -> None:
        from rich.progress import BarColumn, MofNCompleteColumn, TextColumn, TimeElapsedColumn
        from rich.progress import Progress as Bar

        from armarc.cli.terminal import error_console

        console = error_console()
        self._began = self._said = time.monotonic()
        self._bar = Bar(
            TextColumn("Measuring"),
            BarColumn(),
            MofNCompleteColumn(),
            TextColumn("{task.fields[words]}"),
            TimeElapsedColumn(),
            console=console,
            transient=True,
            disable=not console.is_terminal,
        )
        self._task = self._bar.add_task("", total=None, words="")
        self._is_terminal = console.is_terminal
        self._is_running = False

    def __call__(self, progress: Progress) -> None:
        words = self._words(progress)
        if self._is_terminal:
            if not self._is_running:
                self._bar.start()
                self._is_running = True
            self._bar.update(self._task, total=progress.total, completed=progress.done, words=words)
        elif time.monotonic() - self._said >= _SAY_EVERY_S:
            self._said = time.monotonic()
            say(f"{progress.done} of {progress.total} recordings, {words}")

    def stop(self) -> None:
        if self._is_running:
            self._bar.stop()
            self._is_running = False

    def _words(self, progress: Progress) -> str:
        new = progress.done - progress.before
        rate = new / max(time.monotonic() - self._began, 1e-9)
        left = max(progress.total - progress.done, 0)
        words = f"{progress.failed} failed, {rate:.1f}/s"
        return f"{words}, about {_duration(left / rate)} left" if rate > 0 and left else words


def _duration(seconds: float) -> str:
    minutes, hours = seconds / 60, seconds / 3600
    if hours >= 48:
        return f"{hours / 24:.0f} days"
    if hours >= 2:
        return f"{hours:.0f} h"
    return f"{minutes:.0f} min" if minutes >= 2 else f"{seconds:.0f} s"


def _tell(result: RunResult, out: Path) -> None:
    p = result.progress
    again = f" ({result.forgotten} failure(s) tried again)" if result.forgotten else ""
    for fault in result.mended:
        say(f"a damaged part was taken out and its recordings are measured again: {fault}")
    if result.did_nothing:
        say(
            f"nothing to do: all {p.total} recordings were dealt with before by this version with these settings "
            f"(run {result.run} in {out}){again}"
        )
        return
    say(
        f"{p.measured} of {p.total} recordings measured: {p.sets} sets, {p.reps} reps; {p.empty} without a rep, "
        f"{p.failed} failed, {p.known} with known bytes, {p.before} done before{again}"
        + (f"; {p.chest} of a chest, measured with the wrist's" if p.chest else "")
    )
    if p.changed:
        say(
            f"{p.changed} of these hold other bytes than when they were measured before: both measurements are in the "
            "archive (in `files` the same path twice; the later one has the larger modified_ns)"
        )
    each = f", {p.worker_seconds / p.hours:.1f} s of computing per hour of recording" if p.hours else ""
    say(f"{_duration(result.seconds)}{each}; run {result.run} in {out}")
    if p.failed:
        say(f"why: armarc archive failures {out}")


def _record(result: RunResult, out: Path) -> dict[str, object]:
    from dataclasses import asdict

    from armarc.archive.schema import SCHEMA

    progress = asdict(result.progress)
    progress["hours"] = round(progress["hours"], 4)
    progress["worker_seconds"] = round(progress["worker_seconds"], 3)
    return {
        "schema": SCHEMA,
        "archive": str(out),
        "run": result.run,
        "did_nothing": result.did_nothing,
        "parts_written": result.parts,
        "seconds": round(result.seconds, 3),
        "recordings": progress,
    }


def _options_words(options: dict[str, Any]) -> str:
    words = []
    for part in options.values():
        words += [f"{key}={value}" for key, value in part.items()]
    return " ".join(words)


def _cores() -> int:
    import os

    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1
