"""From a folder of recordings to a dataset: what is measured already is left out, everything else is measured."""

from __future__ import annotations

import contextlib
import time
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from armarc.archive.cluster import run_on_cluster
from armarc.archive.discover import DigestSet, digest_of, find_recordings, printable
from armarc.archive.interrupts import interrupted_afterwards
from armarc.archive.measuring import ArchiveTask, Outcome, failed, known, sha256_of_file
from armarc.archive.schema import TABLE_NAMES, arrow_schema, distributed, pyarrow
from armarc.archive.setup import Setup
from armarc.archive.store import ArchiveStore
from armarc.archive.workers import run_locally
from armarc.errors import InputError, UsageError


def mend(store: ArchiveStore, run: str) -> list[str]:
    """Take out every part of a run that cannot be read as it was written; what was wrong, one line each.

    Everything is read once, page by page with its checksums, and forgotten again: about a second per gigabyte.
    """
    said = []
    for part in store.part_names(run):
        try:
            fault = fault_of(store, run, part, store.entry(run, part))
        except InputError as error:
            fault = str(error)
        if fault:
            store.drop(run, part)
            said.append(f"{part}: {fault}")
    return said


def fault_of(store: ArchiveStore, run: str, part: str, entry: Mapping[str, object]) -> str:
    """What is wrong with a part; empty when nothing is."""
    parquet = pyarrow("parquet")
    rows = entry.get("rows")
    if not isinstance(rows, dict):
        return "its manifest is not what an archive writes"
    for name in TABLE_NAMES:
        path = store.path(name, run, part)
        promised = rows.get(name, 0)
        # Failed recordings that were forgotten leave fewer rows of these two than the part began with.
        may_shrink = name in ("files", "failures")
        if not path.exists():
            if promised and name != "failures":
                return f"{path.name} of {name} is missing"
            continue
        found = 0
        try:
            with contextlib.closing(parquet.ParquetFile(path, page_checksum_verification=True)) as file:
                for batch in file.iter_batches():
                    found += batch.num_rows
        except Exception as error:  # pyarrow raises many kinds for damaged files
            return f"{path.name} of {name} cannot be read ({type(error).__name__})"
        if found > promised or (found < promised and not may_shrink):
            return f"{path.name} of {name} has {found} rows, {promised} were written"
    return ""


PART_ROWS = 50_000
"""Reps after which a part is written."""
PART_FILES = 5_000
PART_SECONDS = 60.0
_CHUNK_FILES = 200
TIME_LIMIT_S = 900.0


@dataclass(slots=True, kw_only=True)
class Progress:
    """Where a run stands; counts of recordings unless named otherwise."""

    total: int = 0
    before: int = 0
    measured: int = 0
    empty: int = 0
    failed: int = 0
    known: int = 0
    chest: int = 0
    changed: int = 0
    """Measured again because the file holds other bytes than when it was measured: both measurements stay."""
    reps: int = 0
    sets: int = 0
    hours: float = 0.0
    worker_seconds: float = 0.0

    @property
    def done(self) -> int:
        """Recordings that need no more work."""
        return self.before + self.measured + self.empty + self.failed + self.known + self.chest


@dataclass(frozen=True, slots=True, kw_only=True)
class RunResult:
    """What a run did."""

    run: str
    progress: Progress
    forgotten: int
    mended: tuple[str, ...]
    parts: int
    seconds: float

    @property
    def did_nothing(self) -> bool:
        """Whether every recording had been measured before."""
        return self.progress.done == self.progress.before


def process_archive(
    folder: Path,
    out: Path,
    setup: Setup,
    *,
    workers: int = 1,
    scheduler: str | None = None,
    retry_failures: bool = False,
    check_bytes: bool = False,
    time_limit_s: float = TIME_LIMIT_S,
    watch: Callable[[Progress], None] | None = None,
) -> RunResult:
    """Measure every recording below a folder into an archive, leaving out what is in it already.

    A recording is left out when one with the same path, size and time of change, or with the same bytes, was
    measured by this version with the same settings. Memory does not grow with the number of recordings but for
    some 48 bytes each.

    Parameters
    ----------
    folder : Path
    out : Path
        The archive; made when it does not exist.
    setup : Setup
    workers : int
        Processes on this machine.
    scheduler : str or None
        Address of a Dask scheduler; the workers are the cluster's then.
    retry_failures : bool
        Try again what failed before.
    check_bytes : bool
        Compare bytes even where path, size and time of change are as before.
    time_limit_s : float, s
        For one recording.
    watch : callable or None
        Told after every recording.

    Raises
    ------
    UsageError, InputError, ArmarcError
        The run as a whole is impossible. What was measured until then is kept, also at Ctrl-C.
    """
    pyarrow("parquet")
    if scheduler is not None:
        distributed()
    if out.exists() and folder.exists() and out.samefile(folder):
        raise UsageError(
            f"{out} holds the recordings themselves", "choose a new or an empty folder for --out"
        )
    began = time.monotonic()
    progress = Progress(total=sum(1 for _ in find_recordings(folder, leave_out=out)))
    if not progress.total:
        raise InputError(
            "the folder holds no recording",
            "expected files ending in .csv, .tsv or .txt, packed or not",
            file=str(folder),
        )
    with ArchiveStore.writing(out) as store:
        run = store.begin(setup)
        mended = mend(store, run)
        forgotten = store.forget_failures(run) if retry_failures else 0
        seen = _Seen.of(store, run)
        writer = _PartWriter(store, run)
        source = _Source(folder, out, setup, seen, progress, writer, check_bytes)
        tasks = source.tasks()
        outcomes = (
            run_locally(tasks, setup, workers=workers, time_limit_s=time_limit_s)
            if scheduler is None
            else run_on_cluster(tasks, setup, address=scheduler, time_limit_s=time_limit_s)
        )
        try:
            for outcome in outcomes:
                _take(outcome, seen, progress, writer)
                if watch is not None:
                    watch(progress)
        finally:
            # Also after Ctrl-C or a scheduler that went away: what was measured is kept.
            outcomes.close()  # type: ignore[attr-defined]
            with interrupted_afterwards():
                writer.flush()
        if watch is not None:
            watch(progress)
    return RunResult(
        run=run,
        progress=progress,
        forgotten=forgotten,
        mended=tuple(mended),
        parts=writer.parts,
        seconds=time.monotonic() - began,
    )


def _take(outcome: Outcome, seen: _Seen, progress: Progress, writer: _PartWriter) -> None:
    """Count one outcome and hand it to the writer; bytes that came twice keep one set of reps."""
    file = outcome.file
    sha256 = file["sha256"]
    if file["status"] in ("measured", "no reps") and seen.has_bytes(sha256):
        file = {key: value for key, value in file.items() if key in _ALWAYS} | {"status": "known"}
        outcome = Outcome(file=file)
    status = file["status"]
    if status == "measured":
        progress.measured += 1
    elif status == "no reps":
        progress.empty += 1
    elif status == "failed":
        progress.failed += 1
    elif status == "chest":
        progress.chest += 1
    else:
        progress.known += 1
    if status == "measured" and seen.was_measured(file["path"]):
        progress.changed += 1
    progress.sets += len(outcome.sets)
    progress.reps += len(outcome.reps)
    progress.hours += (file.get("duration_s") or 0.0) / 3600
    progress.worker_seconds += file.get("seconds") or 0.0
    seen.add(file)
    writer.add(outcome)


_ALWAYS = frozenset(
    {"path", "bytes", "modified_ns", "sha256", "armarc_version", "settings_sha256", "seconds"}
)


class _Seen:
    """What a run has dealt with: by path, size and time of change, by bytes, and what was measured by path alone."""

    def __init__(self) -> None:
        self.places, self.contents, self.measured = DigestSet(), DigestSet(), DigestSet()

    @classmethod
    def of(cls, store: ArchiveStore, run: str) -> _Seen:
        seen = cls()
        elsewhere = []
        for table in store.tables("files", run, ["path", "bytes", "modified_ns", "sha256", "status"]):
            for row in table.to_pylist():
                if row["status"] == "known":
                    elsewhere.append(row)
                else:
                    seen.add(row)
        # Bytes known from another part are so no longer when that part was damaged and taken out.
        for row in elsewhere:
            if seen.has_bytes(row["sha256"]):
                seen.add(row)
        return seen

    def add(self, file: dict[str, Any]) -> None:
        self.places.add(digest_of(file["path"], file["bytes"], file["modified_ns"]))
        if file["sha256"]:
            self.contents.add(bytes.fromhex(file["sha256"])[:16])
        if file["status"] == "measured":
            self.measured.add(digest_of(file["path"]))

    def was_measured(self, path: str) -> bool:
        return digest_of(path) in self.measured

    def has_bytes(self, sha256: str | None) -> bool:
        return bool(sha256) and bytes.fromhex(str(sha256))[:16] in self.contents


@dataclass(slots=True)
class _Source:
    """The recordings that need measuring; what is known already goes straight to the writer."""

    folder: Path
    out: Path
    setup: Setup
    seen: _Seen
    progress: Progress
    writer: _PartWriter
    check_bytes: bool

    def tasks(self) -> Iterator[ArchiveTask]:
        fresh = not len(self.seen.places)
        for found in find_recordings(self.folder, leave_out=self.out):
            task = ArchiveTask(found.path, found.size, found.modified_ns)
            place = digest_of(printable(found.path), found.size, found.modified_ns)
            was_here = place in self.seen.places
            if was_here and not self.check_bytes:
                self.progress.before += 1
                continue
            if found.fault:
                fault = InputError(found.fault, "check its permissions, then --retry-failures")
                _take(failed(task, self.setup, "finding", fault), self.seen, self.progress, self.writer)
                continue
            if not fresh:
                try:
                    sha256 = sha256_of_file(found.path)
                except (OSError, InputError) as error:
                    _take(failed(task, self.setup, "reading", error), self.seen, self.progress, self.writer)
                    continue
                if self.seen.has_bytes(sha256):
                    if was_here:
                        self.progress.before += 1
                    else:
                        _take(known(task, self.setup, sha256), self.seen, self.progress, self.writer)
                    continue
            yield task


class _PartWriter:
    """Collects rows and writes a part when there are enough of them, or when enough time went by."""

    def __init__(self, store: ArchiveStore, run: str) -> None:
        self.parts = 0
        self._store, self._run = store, run
        self._schemas = {name: arrow_schema(name) for name in TABLE_NAMES}
        self._clear()

    def add(self, outcome: Outcome) -> None:
        self._rows["files"].append(outcome.file)
        self._rows["sets"] += outcome.sets
        self._rows["reps"] += outcome.reps
        if outcome.failure is not None:
            self._rows["failures"].append(outcome.failure)
        if len(self._rows["files"]) >= _CHUNK_FILES:
            self._pack()
        self._n_files += 1
        self._n_reps += len(outcome.reps)
        if (
            self._n_reps >= PART_ROWS
            or self._n_files >= PART_FILES
            or time.monotonic() - self._began >= PART_SECONDS
        ):
            self.flush()

    def flush(self) -> None:
        """Write what there is."""
        if not self._n_files:
            return
        self._pack()
        pa = pyarrow()
        tables = {name: pa.concat_tables(chunks).combine_chunks() for name, chunks in self._chunks.items()}
        self._store.commit(self._run, tables)
        self.parts += 1
        self._clear()

    def _pack(self) -> None:
        """Turn rows into Arrow tables, which take a twentieth of the memory."""
        pa = pyarrow()
        for name, rows in self._rows.items():
            self._chunks[name].append(pa.Table.from_pylist(rows, schema=self._schemas[name]))
            rows.clear()

    def _clear(self) -> None:
        self._rows: dict[str, list[dict[str, object]]] = {name: [] for name in TABLE_NAMES}
        self._chunks: dict[str, list[object]] = {name: [] for name in TABLE_NAMES}
        self._n_files = self._n_reps = 0
        self._began = time.monotonic()
