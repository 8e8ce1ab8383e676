"""Write measured sets into the log."""

from __future__ import annotations

import hashlib
import json
import os
import time
import uuid
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import sqlalchemy as sa

from armarc.choices import header_name
from armarc.errors import InputError, UsageError
from armarc.log import schema
from armarc.log.labels import Labels
from armarc.log.location import author_of
from armarc.log.measuring import READING_OPTIONS, ChestFile, merged_content
from armarc.log.store import Store
from armarc.log.vault import is_kept_name, read_recording, safe_suffix, sha256_of
from armarc.log.writing import (
    insert_measurement,
    insert_once,
    insert_sets,
    record_change,
    replace_sets,
    settings_hash,
    state_of,
)
from armarc.quantities import read_date_time

if TYPE_CHECKING:
    from armarc.pipeline import Session

LARGEST_WHOLE = 2**53
"""Beyond it neither JSON readers nor databases agree on whole numbers."""

LONGEST_S = 1e8
"""No recording lasts three years, and a set so far from its start would have no day in the calendar."""


def check_shape(document: dict[str, Any]) -> None:
    """Refuse a document whose parts are not of the kinds that schema ``armarc.sets/1`` gives them.

    Parameters
    ----------
    document : dict
        Plain JSON with the keys ``source``, ``settings``, ``sets``, ``armarc_version``.

    Raises
    ------
    InputError
        Names the part that does not fit.
    """
    _check_whole_numbers(document)
    _check_kind(
        document, "the result", source=dict, settings=dict, sets=list, metadata=dict, armarc_version=str
    )
    _check_labels(document["settings"], "the settings")
    for number, record in enumerate(document["sets"], start=1):
        where = f"set {number}"
        _check_kind(record, where, set=int, start_s=float, end_s=float, summary=dict, reps=list)
        for key in ("start_s", "end_s"):
            if abs(record[key]) > LONGEST_S:
                raise InputError(
                    f"{where} of the result: {key} is {record[key]:g}, years from the start of the recording",
                    "process the recording again",
                )
        _check_labels(record, where)
        for rep in record["reps"]:
            if not isinstance(rep, dict):
                raise InputError(f"{where} of the result has a rep that is no record")
            _check_kind(rep, f"a rep of {where}", rep=int, quality=list, start_verdict=str)
            if not all(isinstance(word, str) for word in rep.get("quality") or ()):
                raise InputError(f"{where} of the result has a rep whose quality is not in words")


def _check_labels(record: dict[str, object], where: str) -> None:
    _check_kind(record, where, exercise=str, variant=str, side=str, load_kg=float, lifter=str)


def _check_kind(record: dict[str, object], where: str, **kinds: type) -> None:
    for key, kind in kinds.items():
        value = record.get(key)
        fits = isinstance(value, int | float if kind is float else kind) and not isinstance(value, bool)
        if value is not None and not fits:
            raise InputError(
                f"{where} of the result: {key} is {type(value).__name__}, expected {kind.__name__}",
                "process the recording again",
            )
    for key in ("start_s", "end_s", "reps", "source", "settings"):
        if key in kinds and record.get(key) is None:
            raise InputError(f"{where} of the result has no {key}", "process the recording again")


def _check_whole_numbers(document: object) -> None:
    waiting = [document]
    while waiting:
        value = waiting.pop()
        if isinstance(value, dict):
            waiting.extend(value.values())
        elif isinstance(value, list):
            waiting.extend(value)
        elif isinstance(value, int) and abs(value) > LARGEST_WHOLE:
            raise InputError("the result has a number too large to be stored", "process the recording again")


RESULT_SCHEMA = "armarc.sets/1"


@dataclass(frozen=True, slots=True, kw_only=True)
class Added:
    """What adding a result did.

    Parameters
    ----------
    status : str
        ``"added"``, ``"already there"`` (same recording, same settings: nothing was written), ``"brought
        back"`` (the same, after its sets had been removed) or ``"measured again"`` (same recording, other
        settings: its sets were replaced, notes kept).
    set_ids : tuple of int
    recording_sha256 : str
    notes : tuple of str
        What was assumed and what it means, for people.
    """

    status: str
    set_ids: tuple[int, ...]
    recording_sha256: str
    notes: tuple[str, ...] = ()


def add_result(
    store: Store,
    result: dict[str, object],
    recording_path: str | os.PathLike[str] | None = None,
    *,
    labels: Labels | None = None,
    started_at: datetime | None = None,
    recorded: Labels | None = None,
    recorded_at: datetime | None = None,
    reading: Mapping[str, object] | None = None,
    trunk_path: str | os.PathLike[str] | None = None,
) -> Added:
    """Log every set of one processed recording, and keep the raw recording beside the log.

    The recording is written first, then one transaction holds all the rest: a kill at any instant leaves
    either no trace in the log or all of it. Adding the same recording again never doubles its sets.

    Parameters
    ----------
    store : Store
    result : dict
        What ``armarc process --json`` prints (schema ``armarc.sets/1``).
    recording_path : path or None
        The raw recording; without it the sets are logged but can never be measured again.
    labels : Labels or None
        What the person said; goes before what the recording says about itself.
    started_at : datetime or None
        When the recording began; else what the recording says, else the file's own date.
    recorded, recorded_at : Labels or None, datetime or None
        What the recording's own header says of either. It is taken where nothing was said, and for sets that are
        in the log already not at all: they may have been edited since.
    reading : mapping or None
        Options the file was read with (``rate_hz``, ``columns``, ``units``, ``axes``, ``gravity_sign``): it is read
        with them again. With ``gyroscope_path`` both files are kept as one, in armarc's own form.
    trunk_path : path or None
        The recording of a second sensor on the chest it was measured with; it is kept as well.

    Raises
    ------
    InputError
        If the result is not one, or the recording cannot be read.
    LogError
        If the log cannot be written.
    """
    document = _checked(result)
    options = dict(reading or {})
    two_files = recording_path is not None and bool(options.get("gyroscope_path"))
    known = {name: options[name] for name in READING_OPTIONS if options.get(name) is not None}
    if known and not two_files:
        document["settings"]["reading"] = known
    said = (labels or Labels()).checked()
    first = said.over(recorded or Labels()).checked()
    content = None if recording_path is None else read_recording(Path(recording_path))
    if two_files and recording_path is not None:
        content = merged_content(recording_path, options)
    sha256 = sha256_of(content) if content is not None else _stand_in_hash(document)
    begun, notes = _beginning(document, recording_path, started_at or recorded_at)
    name = (
        _printable(os.fspath(recording_path)) if recording_path else str(document["source"].get("file", ""))
    )
    suffix = ".csv" if two_files else safe_suffix(name)
    if content is None:
        notes.append("the raw recording was not kept: these sets cannot be measured again later")
    elif not store.read_only:
        store.vault.put(sha256, suffix, content)
    chest = None if trunk_path is None or "trunk" not in document["settings"] else ChestFile.read(trunk_path)
    if chest is not None:
        document["settings"]["trunk"] |= {"sha256": chest.sha256, "suffix": chest.suffix}
    with store.writing() as connection:
        if chest is not None:
            chest.keep(store, connection, begun)
        if content is not None:
            # Somebody may have deleted it for good in between; nobody can while this is written.
            store.vault.put(sha256, suffix, content)
        values = {
            "sha256": sha256,
            "file_name": Path(name).name,
            "suffix": suffix,
            "bytes": len(content or b""),
            "kept": content is not None,
            "started_at": begun.timestamp(),
            "added_at": time.time(),
            "added_by": author_of(connection),
        }
        recording_id = insert_once(connection, schema.recording, ("sha256",), values)
        found = connection.execute(
            sa.select(schema.measurement).where(schema.measurement.c.recording_id == recording_id)
        ).one_or_none()
        if found is not None:
            settings_sha256 = settings_hash(document)
            ids = _set_ids(connection, found.id)
            if found.settings_sha256 == settings_sha256:
                back = _bring_back(connection, ids)
                status = "brought back" if back else "already there"
                # When it began stands in the log: what would have been assumed of that is not said.
                return Added(
                    status=status, set_ids=ids, recording_sha256=sha256, notes=(_already_there(back),)
                )
            again = replace_sets(connection, found.id, document, labels=said, began=started_at)
            notes.insert(
                0, "this recording was already in the log with other settings: measured again, not doubled"
            )
            return Added(status="measured again", set_ids=again, recording_sha256=sha256, notes=tuple(notes))
        measurement_id = insert_measurement(connection, recording_id, document)
        ids = insert_sets(connection, measurement_id, document, document["sets"], first, begun)
    return Added(status="added", set_ids=ids, recording_sha256=sha256, notes=tuple(notes))


def _set_ids(connection: sa.Connection, measurement_id: int) -> tuple[int, ...]:
    table = schema.training_set
    chosen = sa.select(table.c.id).where(table.c.measurement_id == measurement_id).order_by(table.c.id)
    return tuple(connection.execute(chosen).scalars())


def _bring_back(connection: sa.Connection, ids: tuple[int, ...]) -> bool:
    """Adding a recording whose sets were all removed means that they are wanted after all."""
    states = {set_id: state_of(connection, set_id) for set_id in ids}
    if not states or any(state["removed_at"] is None for state in states.values()):
        return False
    batch = uuid.uuid4().hex
    for set_id, state in states.items():
        record_change(connection, batch, "bring back", set_id, state, {**state, "removed_at": None})
    return True


def _already_there(back: bool) -> str:
    if back:
        return "this recording had been removed from the log: its sets were brought back as they were"
    return (
        "this recording is already in the log with the same settings: nothing was added or changed "
        "(change labels with armarc log edit)"
    )


def _checked(result: dict[str, Any]) -> dict[str, Any]:
    if not isinstance(result, dict) or result.get("schema") != RESULT_SCHEMA:
        found = result.get("schema") if isinstance(result, dict) else type(result).__name__
        raise InputError(
            f"not a result of armarc process: schema {found!r}", f"the log takes {RESULT_SCHEMA}"
        )
    try:
        # One walk through JSON proves that everything can be stored and read back as it is; half a character, as the
        # names of old files hold it, becomes a question mark.
        whole = json.dumps(result, allow_nan=False, ensure_ascii=False).encode("utf-8", "replace")
        document: dict[str, Any] = json.loads(whole)
    except (TypeError, ValueError, RecursionError) as error:
        raise InputError(f"the result cannot be stored: {error}") from None
    if not isinstance(document.get("sets"), list) or not isinstance(document.get("settings"), dict):
        raise InputError("the result has no sets or no settings", "process the recording again")
    document.setdefault("source", {})
    document.setdefault("armarc_version", "")
    for number, record in enumerate(document["sets"], start=1):
        if not isinstance(record, dict) or not {"start_s", "end_s", "reps"} <= record.keys():
            raise InputError(f"set {number} of the result lacks start_s, end_s or reps")
    check_shape(document)
    return document


def _stand_in_hash(document: dict[str, Any]) -> str:
    """Name for a recording whose bytes are not at hand: its own hash if known, else that of the result."""
    known = document["source"].get("sha256")
    if isinstance(known, str) and is_kept_name(known, ""):
        return known
    text = json.dumps(
        {key: document[key] for key in ("source", "sets")}, sort_keys=True, separators=(",", ":")
    )
    return "result-" + hashlib.sha256(text.encode()).hexdigest()[:57]


def _beginning(
    document: dict[str, Any], path: str | os.PathLike[str] | None, stated: datetime | None
) -> tuple[datetime, list[str]]:
    if stated is not None:
        return (stated if stated.tzinfo else stated.astimezone()), []
    said = document["source"].get("started_at") or document.get("metadata", {}).get("started_at")
    if isinstance(said, str) and (when := read_date_time(said)) is not None:
        return when, []
    if path is not None:
        when = datetime.fromtimestamp(Path(path).stat().st_mtime, tz=UTC).astimezone()
        note = (
            f"the recording does not say when it began: taken from the file's date, {when:%Y-%m-%d %H:%M} "
            "(`armarc process --log --began` states another)"
        )
        return when, [note]
    now = datetime.now().astimezone()
    return now, ["the recording does not say when it began: logged as now"]


def _printable(name: str) -> str:
    return os.fsencode(name).decode("utf-8", "backslashreplace").replace("\0", "")


def log_session(
    store: Store,
    session: Session,
    path: str | os.PathLike[str],
    *,
    labels: Labels | None = None,
    started_at: datetime | None = None,
    reading: Mapping[str, object] | None = None,
    trunk_path: str | os.PathLike[str] | None = None,
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
    started_at : datetime or None
        When it began; None for what the recording says, else the date of its file.
    reading : mapping or None
        Options of `read_csv` the file was read with; see `add_result`.
    trunk_path : path or None
        The file of a second sensor on the chest, where it was measured with one.

    Raises
    ------
    InputError, LogError
        See `add_result`.
    """
    metadata = session.recording.metadata
    recorded = _header_labels(metadata.other)
    if metadata.note:
        recorded = with_note(recorded, metadata.note)
    return add_result(
        store,
        session.to_dict(),
        path,
        labels=labels,
        started_at=started_at,
        recorded=recorded,
        recorded_at=read_date_time(metadata.started_at or ""),
        reading=reading,
        trunk_path=trunk_path,
    )


def _header_labels(head: Mapping[str, object]) -> Labels:
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


def with_note(labels: Labels, note: str) -> Labels:
    """Labels with the note of a recording's head."""
    # A header may hold what a label may not; it must not stop the set from being logged.
    plain = "".join(c for c in note if c.isprintable() or c in "\n\t")[:10_000]
    return replace(labels, note=plain)
