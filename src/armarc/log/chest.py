"""The recording of a chest sensor in the log: one of its own, that no measurement is of and that settings name."""

from __future__ import annotations

import os
import time
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

import sqlalchemy as sa

from armarc.errors import LogError
from armarc.log import schema
from armarc.log.location import author_of
from armarc.log.store import Store
from armarc.log.vault import is_kept_name, read_recording, safe_suffix, sha256_of
from armarc.log.writing import insert_once


@dataclass(frozen=True, slots=True, kw_only=True)
class ChestFile:
    """A file to keep."""

    name: str
    content: bytes
    sha256: str
    suffix: str

    @classmethod
    def read(cls, path: str | os.PathLike[str]) -> ChestFile:
        """Read it.

        Raises
        ------
        InputError
            It cannot be read.
        """
        content, name = read_recording(Path(path)), Path(path).name
        return cls(name=name, content=content, sha256=sha256_of(content), suffix=safe_suffix(name))

    def keep(self, store: Store, connection: sa.Connection, begun: datetime) -> None:
        """Put it where the log's recordings are, once."""
        store.vault.put(self.sha256, self.suffix, self.content)
        row = {
            "sha256": self.sha256,
            "file_name": self.name.encode("utf-8", "backslashreplace").decode(),
            "suffix": self.suffix,
            "bytes": len(self.content),
            "kept": True,
            "started_at": begun.timestamp(),
            "added_at": time.time(),
            "added_by": author_of(connection),
        }
        insert_once(connection, schema.recording, ("sha256",), row)


def chest_of(store: Store, settings: Mapping[str, Any]) -> bytes | None:
    """Raw bytes of the chest sensor's recording that sets with these settings were measured with; None without one.

    Raises
    ------
    LogError
        There was one, and it is not in the log.
    """
    trunk = settings.get("trunk")
    if not isinstance(trunk, dict):
        return None
    named = str(trunk.get("sha256", "")), str(trunk.get("suffix", ""))
    content = store.vault.get(*named) if is_kept_name(*named) else None
    if content is None:
        raise LogError(
            "the recording of the chest sensor is not in the log", "numbers as they were are still there"
        )
    return content


def chests_in_use(connection: sa.Connection) -> set[str]:
    """Hashes of the chest sensors' recordings that sets were measured with."""
    settings = schema.measurement.c.settings
    rows = connection.execute(sa.select(settings).where(sa.cast(settings, sa.Text).like('%"trunk"%')))
    trunks = (found.get("trunk") for found in rows.scalars() if isinstance(found, dict))
    return {str(one.get("sha256")) for one in trunks if isinstance(one, dict)}
