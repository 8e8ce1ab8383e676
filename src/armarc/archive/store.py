"""The dataset on disk: parts that appear whole or not at all, and what is in them.

::

    STORE/
      archive.json                      the schema
      lock                              held while a process writes
      runs/<run>.json                   version and settings of a run
      reps/run=<run>/part-000001.parquet    … and the same for sets, files, failures
      manifest/<run>/part-000001.json   the part is complete

Every file is written under a hidden name, flushed and renamed; the manifest entry comes last. A part without one
is what a killed process left: it is removed before anything else is written, and its recordings are measured again.
"""

from __future__ import annotations

import importlib
import json
import os
import re
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from datetime import UTC, datetime
from pathlib import Path
from types import TracebackType
from typing import IO, Any, Self

from armarc import __version__
from armarc.archive.schema import SCHEMA, TABLE_NAMES, pyarrow
from armarc.archive.setup import Setup
from armarc.errors import ArmarcError, InputError, UsageError
from armarc.files import UNFINISHED, appearing, write_whole


def lock(stream: IO[bytes]) -> bool:
    """Take the lock; False when another process holds it."""
    try:
        if os.name == "nt":
            system: Any = importlib.import_module("msvcrt")
            stream.seek(0)
            system.locking(stream.fileno(), system.LK_NBLCK, 1)
        else:
            system = importlib.import_module("fcntl")
            system.flock(stream.fileno(), system.LOCK_EX | system.LOCK_NB)
    except OSError:
        return False
    return True


def unlock(stream: IO[bytes]) -> None:
    """Let the lock go."""
    if os.name == "nt":
        system: Any = importlib.import_module("msvcrt")
        stream.seek(0)
        system.locking(stream.fileno(), system.LK_UNLCK, 1)


_PART = re.compile(r"part-(\d{6,})\.(?:parquet|json)")


class ArchiveStore:
    """An archive. Open it with `ArchiveStore.open` (to read) or `ArchiveStore.writing` (one process at a time)."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self._lock: IO[bytes] | None = None

    @classmethod
    def open(cls, folder: Path) -> Self:
        """Open an archive to read.

        Raises
        ------
        InputError
            There is none, or one of a format this version does not know.
        """
        described = folder / "archive.json"
        if not described.is_file():
            raise InputError(
                "is no archive", "make one with: armarc archive process DIR --out STORE", file=str(folder)
            )
        schema = _read_json(described).get("schema")
        if schema != SCHEMA:
            raise InputError(
                f"the archive has the format {schema!r}, this version knows {SCHEMA!r}",
                "update armarc, or choose another folder",
                file=str(folder),
            )
        return cls(folder)

    @classmethod
    def writing(cls, folder: Path) -> Self:
        """Open an archive to write, making it when the folder is new or empty; remove what a kill left behind.

        Raises
        ------
        UsageError
            The folder holds something else, or another process is writing.
        ArmarcError
            It cannot be written.
        """
        pyarrow()
        with plain_disk_errors(folder):
            if not (folder / "archive.json").is_file():
                if folder.exists() and (not folder.is_dir() or not _only_ours(folder)):
                    raise UsageError(
                        f"{folder} exists and is no archive", "choose a new or an empty folder for --out"
                    )
                folder.mkdir(parents=True, exist_ok=True)
            store = cls(folder)
            store._lock = (folder / "lock").open("ab")
            if not lock(store._lock):
                store._lock.close()
                raise UsageError(
                    f"another process is writing to {folder}", "wait for it, or choose another --out"
                )
            try:
                if not (folder / "archive.json").is_file():
                    write_json(
                        folder / "archive.json", {"schema": SCHEMA, "made_by": f"armarc {__version__}"}
                    )
                cls.open(folder)
                store._remove_leftovers()
            except BaseException:
                store.close()
                raise
        return store

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, value: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> None:
        """Let other processes write."""
        if self._lock is not None:
            unlock(self._lock)
            self._lock.close()
            self._lock = None

    def runs(self) -> dict[str, dict[str, object]]:
        """Version and settings of every run, by name, oldest first."""
        found = [
            (path.stem, _read_json(path))
            for path in (self.folder / "runs").glob("r*.json")
            if not path.name.startswith(".")
        ]
        return dict(sorted(found, key=lambda one: (str(one[1].get("began_at")), one[0])))

    def begin(self, setup: Setup) -> str:
        """Note down what a run measures with; returns its name."""
        path = self.folder / "runs" / f"{setup.run}.json"
        if not path.exists():
            with plain_disk_errors(self.folder):
                path.parent.mkdir(exist_ok=True)
                write_json(
                    path,
                    {
                        "run": setup.run,
                        "armarc_version": __version__,
                        "settings_sha256": setup.settings_sha256,
                        "began_at": datetime.now(UTC).isoformat(timespec="seconds"),
                        **setup.record(),
                    },
                )
        return setup.run

    def parts(self, run: str) -> dict[str, dict[str, Any]]:
        """Complete parts of a run by name, with their manifest entries."""
        return {part: self.entry(run, part) for part in self.part_names(run)}

    def part_names(self, run: str) -> list[str]:
        """Names of the complete parts of a run."""
        return sorted(path.stem for path in (self.folder / "manifest" / run).glob("part-*.json"))

    def entry(self, run: str, part: str) -> dict[str, Any]:
        """Manifest entry of a part.

        Raises
        ------
        InputError
            If it is damaged.
        """
        return _read_json(self.folder / "manifest" / run / f"{part}.json")

    def drop(self, run: str, part: str) -> None:
        """Take a part out: its manifest entry first, so that a kill leaves no half of it."""
        with plain_disk_errors(self.folder):
            (self.folder / "manifest" / run / f"{part}.json").unlink(missing_ok=True)
            for name in TABLE_NAMES:
                self.path(name, run, part).unlink(missing_ok=True)

    def path(self, table: str, run: str, part: str) -> Path:
        """Where a part of a table lies."""
        return self.folder / table / f"run={run}" / f"{part}.parquet"

    def tables(self, name: str, run: str, columns: list[str] | None = None) -> Iterator[Any]:
        """The complete parts of one table as Arrow tables, one after the other."""
        parquet = pyarrow("parquet")
        for part in self.parts(run):
            path = self.path(name, run, part)
            if path.exists():
                yield parquet.ParquetFile(path).read(columns=columns)

    def commit(self, run: str, tables: dict[str, Any]) -> str:
        """Write one part: all its tables, then its manifest entry.

        Parameters
        ----------
        run : str
        tables : dict of str to Arrow table
            Empty tables are left out.

        Raises
        ------
        ArmarcError
            It cannot be written; nothing of it counts then.
        """
        with plain_disk_errors(self.folder):
            manifest = self.folder / "manifest" / run
            manifest.mkdir(parents=True, exist_ok=True)
            numbers = [int(found[1]) for name in os.listdir(manifest) if (found := _PART.fullmatch(name))]
            part = f"part-{max(numbers, default=0) + 1:06d}"
            rows = {name: tables[name].num_rows for name in TABLE_NAMES if tables[name].num_rows}
            for name in rows:
                self._write_parquet(self.path(name, run, part), tables[name])
            entry = {
                "part": part,
                "rows": rows,
                "written_at": datetime.now(UTC).isoformat(timespec="seconds"),
            }
            write_json(manifest / f"{part}.json", entry)
        return part

    def forget_failures(self, run: str) -> int:
        """Forget the recordings that failed, so that they are tried again; returns how many.

        The failures go first, then the files' rows; what a kill leaves between them is finished the next time.
        """
        forgotten = 0
        with plain_disk_errors(self.folder):
            for part, entry in self.parts(run).items():
                if entry.get("rows", {}).get("failures"):
                    self.path("failures", run, part).unlink(missing_ok=True)
                    forgotten += self._forget_failed_files(run, part)
        return forgotten

    def _forget_failed_files(self, run: str, part: str) -> int:
        path = self.path("files", run, part)
        with pyarrow("parquet").ParquetFile(path) as file:  # let go of before it is replaced
            table = file.read()
        kept = table.filter(pyarrow("compute").not_equal(table["status"], "failed"))
        if kept.num_rows < table.num_rows:
            self._write_parquet(path, kept)
        return int(table.num_rows - kept.num_rows)

    def _write_parquet(self, path: Path, table: object) -> None:
        path.parent.mkdir(parents=True, exist_ok=True)
        with appearing(path) as stream:
            pyarrow("parquet").write_table(table, stream, compression="zstd", write_page_checksum=True)

    def _remove_leftovers(self) -> None:
        unfinished = self.folder.rglob(f"{UNFINISHED}*")
        for hidden in (*unfinished, *self.folder.rglob(".*.tmp")):  # the latter up to version 0.3
            hidden.unlink(missing_ok=True)
        for name in TABLE_NAMES:
            for path in (self.folder / name).glob("run=*/part-*.parquet"):
                run = path.parent.name.removeprefix("run=")
                if not (self.folder / "manifest" / run / f"{path.stem}.json").exists():
                    path.unlink(missing_ok=True)
        for run in self.runs():
            for part in self.part_names(run):
                # A damaged part is dealt with when its run is taken up again.
                with suppress(InputError, OSError, ValueError, AttributeError):
                    rows = self.entry(run, part).get("rows", {})
                    if rows.get("failures") and not self.path("failures", run, part).exists():
                        self._forget_failed_files(run, part)


def write_json(path: Path, document: dict[str, Any]) -> None:
    """Write a JSON file that appears under its name only when it is complete and on the disk."""
    write_whole(path, json.dumps(document, ensure_ascii=False, indent=1) + "\n")


@contextmanager
def plain_disk_errors(folder: Path) -> Iterator[None]:
    """Turn errors of the disk into a plain message."""
    try:
        yield
    except OSError as error:
        raise ArmarcError(
            f"the archive {folder} cannot be written: {error.strerror or error}",
            "make room or check the permissions, then run the same command again: what is complete is kept",
        ) from error


def _read_json(path: Path) -> dict[str, object]:
    try:
        document = json.loads(path.read_text("utf-8"))
    except (OSError, ValueError, RecursionError) as error:
        raise InputError(f"cannot be read: {error}", "restore it from a copy", file=str(path)) from None
    if not isinstance(document, dict):
        raise InputError("is not what an archive writes", "restore it from a copy", file=str(path))
    return document


def _only_ours(folder: Path) -> bool:
    """Whether a folder holds nothing but the first steps of making an archive."""
    left = ("lock", UNFINISHED, ".archive.json.tmp")
    return all(name.startswith(left) for name in os.listdir(folder))
