"""Raw recordings kept by content: the same bytes are stored once, and a stored file never changes."""

from __future__ import annotations

import gzip
import hashlib
import io
import re
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path
from typing import Protocol

import sqlalchemy as sa

from armarc.errors import InputError, LogError
from armarc.files import UNFINISHED, regular_size, write_whole
from armarc.log import schema

LARGEST_KEPT_BYTES = 1 << 28
"""Working limit, 10 hours at 100 Hz: a recording is held in memory while it is kept or packed."""

_HASH = re.compile(r"[0-9a-f]{64}")
_SUFFIX = re.compile(r"(\.[a-z0-9]{1,8}){0,2}")


def is_kept_name(sha256: str, suffix: str) -> bool:
    """Whether hash and ending are such as armarc keeps a recording under.

    A log may come from somebody else, so its rows are not to be trusted with the names of files.
    """
    return bool(_HASH.fullmatch(sha256)) and bool(_SUFFIX.fullmatch(suffix))


class Vault(Protocol):
    """Keeps bytes under their SHA-256."""

    def put(self, sha256: str, suffix: str, content: bytes) -> None:
        """Keep `content`; a no-op when it is already there."""

    def get(self, sha256: str, suffix: str) -> bytes | None:
        """Bytes under that hash, or None."""

    def names(self) -> set[str]:
        """Hashes of everything kept."""

    def drop(self, sha256: str, suffix: str) -> None:
        """Forget the bytes under that hash."""


class FolderVault:
    """One file per recording in a folder beside the log, two letters of the hash as subfolder.

    Nothing outside the folder is ever opened, written or deleted: under another name than a hash nothing is kept, and
    links that lead elsewhere are not followed.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def path(self, sha256: str, suffix: str) -> Path:
        """Where the recording with that hash lies.

        Raises
        ------
        LogError
            If that is no name a recording is kept under, or a link leads out of the folder.
        """
        if not is_kept_name(sha256, suffix):
            raise LogError(
                f"the log names a recording {sha256[:80]!r}{suffix[:20]!r}, which armarc never wrote",
                "look at armarc log check; do not trust where this log comes from",
            )
        place = self.folder / sha256[:2]
        if place.is_symlink() or (place / f"{sha256}{suffix}").is_symlink():
            raise LogError(
                f"{place} or the recording {sha256[:12]} in it is a link",
                "put the file itself there; links are not followed",
            )
        return self.folder / sha256[:2] / f"{sha256}{suffix}"

    def put(self, sha256: str, suffix: str, content: bytes) -> None:
        """Write whole or not at all: a kill leaves the old state or the new."""
        path = self.path(sha256, suffix)
        with suppress(OSError):  # it may be dropped by another program while it is looked for
            if path.stat().st_size == len(content):
                return
        try:
            self.folder.mkdir(mode=0o700, parents=True, exist_ok=True)
            write_whole(path, content, private=True)
        except OSError as error:
            raise LogError(
                f"the recording cannot be kept in {self.folder}: {error.strerror or error}",
                "free some space or choose another place with --log-file; no set of it was logged",
            ) from None

    def get(self, sha256: str, suffix: str) -> bytes | None:
        """Bytes of the file, or None."""
        if not is_kept_name(sha256, suffix):
            return None
        try:
            path = self.path(sha256, suffix)
            regular_size(path, LARGEST_KEPT_BYTES, "recording in the log")
            return path.read_bytes()
        except FileNotFoundError:
            return None
        except OSError as error:
            raise LogError(
                f"the kept recording {sha256[:12]} cannot be read: {error.strerror}",
                f"check the permissions of {self.folder}",
            ) from None

    def names(self) -> set[str]:
        """Hashes of everything kept."""
        return {path.name[:64] for path in self._files() if _HASH.match(path.name)}

    def leftovers(self) -> list[Path]:
        """Half-written files of a killed program."""
        return [path for path in self._files() if path.name.startswith(UNFINISHED)]

    def drop(self, sha256: str, suffix: str) -> None:
        """Delete the file."""
        if is_kept_name(sha256, suffix):
            self.path(sha256, suffix).unlink(missing_ok=True)

    def _files(self) -> Iterator[Path]:
        places = (place for place in self.folder.glob("*") if not place.is_symlink())
        return (path for place in places for path in place.glob("*") if path.is_file())


class TableVault:
    """Recordings inside the database, packed: for a log on a server, where no folder lies beside it."""

    def __init__(self, engine: sa.Engine) -> None:
        self.engine = engine

    def put(self, sha256: str, suffix: str, content: bytes) -> None:
        """Insert once; a second writer of the same bytes changes nothing."""
        from sqlalchemy.dialects.postgresql import insert

        row = {"sha256": sha256, "content": gzip.compress(content, mtime=0)}
        with self.engine.begin() as connection:
            connection.execute(insert(schema.recording_content).values(row).on_conflict_do_nothing())

    def get(self, sha256: str, suffix: str) -> bytes | None:
        """Unpacked bytes, or None."""
        table = schema.recording_content
        with self.engine.connect() as connection:
            packed = connection.execute(
                sa.select(table.c.content).where(table.c.sha256 == sha256)
            ).scalar_one_or_none()
        if packed is None:
            return None
        with gzip.open(io.BytesIO(packed)) as unpacking:
            content = unpacking.read(LARGEST_KEPT_BYTES + 1)
        if len(content) > LARGEST_KEPT_BYTES:
            raise LogError(f"the kept recording {sha256[:12]} unpacks without end", "armarc never wrote it")
        return content

    def names(self) -> set[str]:
        """Hashes of everything kept."""
        with self.engine.connect() as connection:
            return set(connection.execute(sa.select(schema.recording_content.c.sha256)).scalars())

    def drop(self, sha256: str, suffix: str) -> None:
        """Delete the row."""
        table = schema.recording_content
        with self.engine.begin() as connection:
            connection.execute(sa.delete(table).where(table.c.sha256 == sha256))


def sha256_of(content: bytes) -> str:
    """Hexadecimal SHA-256 (FIPS 180-4) of `content`."""
    return hashlib.sha256(content).hexdigest()


def read_recording(path: Path) -> bytes:
    """Bytes of a recording file.

    Raises
    ------
    InputError
        If it cannot be read.
    """
    try:
        regular_size(path, LARGEST_KEPT_BYTES, "recording in the log")
        return path.read_bytes()
    except OSError as error:
        raise InputError(
            f"cannot be read: {error.strerror or error}", "check the file name", file=str(path)
        ) from None


def safe_suffix(name: str) -> str:
    """File ending to keep, so that a kept recording opens in the same programs; odd endings are dropped."""
    suffix = "".join(Path(name).suffixes[-2:]) if name.endswith(".gz") else Path(name).suffix
    return suffix.lower() if re.fullmatch(r"(\.[A-Za-z0-9]{1,8}){1,2}", suffix) else ""
