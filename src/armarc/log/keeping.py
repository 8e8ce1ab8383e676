"""Log a recording that was just measured: the one call that measuring commands need."""

from __future__ import annotations

import os
from collections.abc import Mapping
from datetime import datetime
from typing import TYPE_CHECKING, Any

from armarc.choices import header_name
from armarc.errors import UsageError
from armarc.log.adding import Added, add_result
from armarc.log.labels import Labels
from armarc.log.moments import read_moment
from armarc.log.store import Store

if TYPE_CHECKING:
    from armarc.pipeline import Session


def log_session(
    store: Store,
    session: Session,
    path: str | os.PathLike[str],
    *,
    labels: Labels | None = None,
    reading: Mapping[str, Any] | None = None,
) -> Added:
    """Log every set of a measured recording and keep the raw file.

    Parameters
    ----------
    store : Store
    session : Session
        What `armarc.process` gave.
    path : path
        The file it was read from.
    labels : Labels or None
        What the person said. Lifter, variant, reps in reserve, note and tags of the recording's own header are taken
        over where none are said.
    reading : mapping or None
        Options of `read_csv` the file was read with; see `add_result`.

    Raises
    ------
    InputError, LogError
        See `armarc.log.adding.add_result`.
    """
    metadata = session.recording.metadata
    said = (labels or Labels()).over(_header_labels(metadata.other))
    if said.note is None and metadata.note:
        said = _with_note(said, metadata.note)
    begun = _moment(metadata.started_at)
    return add_result(store, session.to_dict(), path, labels=said, started_at=begun, reading=reading)


def _header_labels(head: Mapping[str, Any]) -> Labels:
    """What `armarc record` wrote into the head of a recording; what makes no sense there says nothing."""
    rir, tags = head.get("rir"), head.get("tags")
    try:
        return Labels(
            lifter=header_name(head.get("lifter")),
            variant=header_name(head.get("variant")),
            rir=float(rir) if isinstance(rir, int | float) and not isinstance(rir, bool) else None,
            tags=tuple(filter(None, map(header_name, tags))) if isinstance(tags, list) else (),
        ).checked()
    except UsageError:
        return Labels()


def _with_note(labels: Labels, note: str) -> Labels:
    from dataclasses import replace

    # A header may hold what a label may not; it must not stop the set from being logged.
    plain = "".join(c for c in note if c.isprintable() or c in "\n\t")[:10_000]
    return replace(labels, note=plain)


def _moment(text: str | None) -> datetime | None:
    return read_moment(text) if text else None
