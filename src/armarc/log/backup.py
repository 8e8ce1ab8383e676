"""Carry a whole log away in one file, and bring it back."""

from __future__ import annotations

import hashlib
import json
import re
import shutil
import tempfile
import time
import zipfile
import zlib
from dataclasses import dataclass
from pathlib import Path
from typing import IO

import sqlalchemy as sa

from armarc import __version__
from armarc.errors import InputError, LogError
from armarc.files import regular_size
from armarc.log import schema
from armarc.log.location import Location, find_location
from armarc.log.store import Store, open_log
from armarc.log.vault import LARGEST_KEPT_BYTES, is_kept_name, sha256_of
from armarc.outputs import BACKUP, CAREFUL, Guard, aside

FORMAT = "armarc.backup/1"
_DATABASE = "log.sqlite"
_RECORDING = re.compile(r"recordings/([0-9a-f]{64})((?:\.[a-z0-9]{1,8}){0,2})")
_STAND_IN = re.compile(r"result-[0-9a-f]{57}")
_CHUNK = 2000
_BLOCK_BYTES = 1 << 20
_LARGEST_BACKUP_BYTES = 1 << 36
_LARGEST_MANIFEST_BYTES = 1 << 26
_SMALL_BYTES, _LARGEST_RATIO = 1 << 26, 100
"""Recordings pack to a fifth, databases of them to a tenth; what shrinks further was made to fill a disk."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Carried:
    """How much a backup holds, or brought back."""

    sets: int
    recordings: int
    missing: int


def back_up(store: Store, path: Path, guard: Guard = CAREFUL) -> Carried:
    """Write log and recordings into one ZIP file, with a hash of every part; writers need not stop.

    Raises
    ------
    UsageError
        If it cannot be written, or something there must be kept.
    """
    with tempfile.TemporaryDirectory() as folder:
        copy_file = Path(folder) / _DATABASE
        with aside(), open_log(str(copy_file)) as copy:
            sets = copy_tables(store, copy)
            copy.engine.dispose()
        table = schema.recording
        with store.reading() as connection:
            rows = connection.execute(sa.select(table.c.sha256, table.c.suffix).where(table.c.kept)).all()
        with copy_file.open("rb") as copied:
            hashes, missing = {_DATABASE: _hash_of(copied)}, 0
        with (
            guard.open(path, BACKUP) as stream,
            zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as archive,
        ):
            archive.write(copy_file, _DATABASE)
            for row in rows:
                raw = store.vault.get(row.sha256, row.suffix)
                if raw is None:
                    missing += 1
                    continue
                name = f"recordings/{row.sha256}{row.suffix}"
                archive.writestr(name, raw)
                hashes[name] = sha256_of(raw)
            manifest = {
                "format": FORMAT,
                "armarc_version": __version__,
                "made_at": time.time(),
                "sha256": hashes,
            }
            archive.writestr("manifest.json", json.dumps(manifest, indent=1))
    return Carried(sets=sets, recordings=len(hashes) - 1, missing=missing)


def restore(path: Path, where: str | Location | None = None, *, replace: bool = False) -> Carried:
    """Bring a backup back as the log at `where`.

    Parameters
    ----------
    path : Path
        A file made by `back_up`; every part is checked against its hash first.
    where : str, Location or None
        See `armarc.log.location.find_location`.
    replace : bool
        Move an existing log file aside (it is kept under a name with the time) instead of refusing.

    Raises
    ------
    LogError
        If the backup is damaged, or there is a log already.
    """
    location = where if isinstance(where, Location) else find_location(where)
    with _checked_archive(path) as archive, tempfile.TemporaryDirectory() as folder:
        old_file = Path(folder) / _DATABASE
        with archive.open(_DATABASE) as packed, old_file.open("wb") as stream:
            shutil.copyfileobj(packed, stream, _BLOCK_BYTES)
        names = [name for name in archive.namelist() if _RECORDING.fullmatch(name)]
        if replace and location.file is not None and location.file.exists():
            _set_aside(location)
        with open_log(str(old_file)) as old, open_log(location) as new:
            with new.reading() as connection:
                if connection.execute(sa.select(sa.func.count()).select_from(schema.recording)).scalar_one():
                    raise LogError(
                        f"there is a log at {new.location.name} already",
                        "restore into another place with --log-file, or move it aside with --replace",
                    )
            _refuse_odd_names(old, path)
            for name in names:
                match = _RECORDING.fullmatch(name)
                assert match
                new.vault.put(match[1], match[2], archive.read(name))
            sets = copy_tables(old, new)
    return Carried(sets=sets, recordings=len(names), missing=0)


def look_into(path: Path) -> Carried:
    """What a backup holds, every part checked against its hash; nothing is brought back.

    Raises
    ------
    LogError
        If the backup is damaged.
    """
    with _checked_archive(path) as archive, tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / _DATABASE
        with archive.open(_DATABASE) as packed, file.open("wb") as stream:
            shutil.copyfileobj(packed, stream, _BLOCK_BYTES)
        with aside(), open_log(str(file)) as log:
            _refuse_odd_names(log, path)
            with log.reading() as connection:
                count = sa.select(sa.func.count()).select_from(schema.training_set)
                sets = int(connection.execute(count).scalar_one())
        recordings = sum(1 for name in archive.namelist() if _RECORDING.fullmatch(name))
    return Carried(sets=sets, recordings=recordings, missing=0)


def copy_tables(old: Store, new: Store) -> int:
    """Copy every row of one log into an empty other, of whichever kind, in one transaction.

    Returns
    -------
    int
        Number of sets.
    """
    left_out = (schema.migration, schema.recording_content)
    count = 0
    with old.reading() as source, new.writing() as target:
        for table in schema.metadata.sorted_tables:
            if table in left_out:
                continue
            result = source.execution_options(yield_per=_CHUNK).execute(sa.select(table))
            for part in result.partitions(_CHUNK):
                target.execute(sa.insert(table), [dict(row._mapping) for row in part])
                count += len(part) if table is schema.training_set else 0
            if target.dialect.name == "postgresql" and "id" in table.c:
                # Numbers were given, not drawn: move the sequence behind the last one.
                target.execute(
                    sa.text(
                        f"SELECT setval(pg_get_serial_sequence('{table.name}', 'id'), "
                        f"coalesce((SELECT max(id) FROM {table.name}), 0) + 1, false)"
                    )
                )
    return count


def _refuse_odd_names(old: Store, path: Path) -> None:
    """Names in the rows become names of files, so they must be hashes; a recording that is not kept has a stand-in."""
    table = schema.recording
    with old.reading() as connection:
        for row in connection.execute(sa.select(table.c.id, table.c.sha256, table.c.suffix, table.c.kept)):
            stand_in = not row.kept and _STAND_IN.fullmatch(row.sha256)
            if not (stand_in or is_kept_name(row.sha256, row.suffix)):
                raise LogError(
                    f"{path}: row {row.id} of its recordings names {row.sha256[:80]!r}{row.suffix[:20]}, no hash",
                    "armarc never wrote this: do not trust where the backup comes from; nothing was restored",
                )


def _checked_archive(path: Path) -> zipfile.ZipFile:
    try:
        regular_size(path, _LARGEST_BACKUP_BYTES, "backup")
        archive = zipfile.ZipFile(path)
        _refuse_bomb(path, archive)
        manifest = json.loads(archive.read("manifest.json"))
        hashes = manifest["sha256"]
        if manifest["format"] != FORMAT:
            raise LogError(f"{path} has the form {manifest['format']!r}", f"this armarc reads {FORMAT}")
        wrong = [name for name, sha256 in hashes.items() if _hash_in(archive, name) != sha256]
        wrong += [n for n in archive.namelist() if n != "manifest.json" and n not in hashes]
        complete = _DATABASE in hashes
    except InputError as error:
        raise LogError(str(error)) from None
    except FileNotFoundError:
        raise LogError(f"there is no file {path}", "check the name of the backup") from None
    # zlib.error: cut or changed data; RuntimeError: a password or a method zipfile does not know.
    except (
        *(OSError, zipfile.BadZipFile, zlib.error, RuntimeError),
        *(KeyError, ValueError, TypeError, AttributeError, EOFError, RecursionError),
    ):
        raise LogError(f"{path} is not a backup of armarc, or is damaged", "try an older backup") from None
    if wrong or not complete:
        raise LogError(f"{path} is damaged at {(wrong or [_DATABASE])[0]}", "try an older backup")
    return archive


def _refuse_bomb(path: Path, archive: zipfile.ZipFile) -> None:
    """Look at what the parts say of themselves before any is unpacked; none can give more than it says."""
    total = 0
    for part in archive.infolist():
        total += part.file_size
        most = {"manifest.json": _LARGEST_MANIFEST_BYTES, _DATABASE: _LARGEST_BACKUP_BYTES}.get(
            part.filename, LARGEST_KEPT_BYTES
        )
        odd = part.compress_type not in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED)
        if odd or part.file_size > most:
            raise LogError(
                f"{path} is no backup of armarc: its part {part.filename[:80]!r} is too large or packed otherwise",
                "nothing was restored",
            )
    if total > _SMALL_BYTES and total > _LARGEST_RATIO * path.stat().st_size:
        raise LogError(
            f"{path} unpacks to more than {_LARGEST_RATIO} times its size, which no backup does",
            "nothing was restored; do not trust where it comes from",
        )


def _hash_in(archive: zipfile.ZipFile, name: str) -> str:
    with archive.open(name) as stream:
        return _hash_of(stream)


def _hash_of(stream: IO[bytes]) -> str:
    digest = hashlib.sha256()
    while block := stream.read(_BLOCK_BYTES):
        digest.update(block)
    return digest.hexdigest()


def _set_aside(location: Location) -> None:
    file, recordings = location.file, location.recordings
    assert file is not None
    assert recordings is not None
    with open_log(location) as store, store.engine.connect() as connection:
        connection.exec_driver_sql("PRAGMA wal_checkpoint(TRUNCATE)")
    stamp = time.strftime("%Y%m%d-%H%M%S")
    file.rename(file.with_name(f"{file.stem}-before-{stamp}{file.suffix}"))
    if recordings.exists():
        recordings.rename(recordings.with_name(f"{file.stem}-before-{stamp}-recordings"))
