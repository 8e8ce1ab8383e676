"""Sets in the log: put in, changed with every difference written down, replaced by those of a new result."""

from __future__ import annotations

import hashlib
import json
import time
import uuid
from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime
from typing import Any

import sqlalchemy as sa

from armarc.errors import LogError
from armarc.log import schema
from armarc.log.labels import SAID_AFTER, Labels
from armarc.log.location import author_of
from armarc.log.rows import measured_part, rep_record, rep_row, said_by_result, set_row
from armarc.quantities import DEFAULT_LIFTER, spelled_as

_COLUMNS = tuple(column.name for column in schema.training_set.c if column.name != "id")


def insert_measurement(connection: sa.Connection, recording_id: int, document: dict[str, object]) -> int:
    """Record which settings and version the sets of a recording come from."""
    key = connection.execute(
        sa.insert(schema.measurement).values(recording_id=recording_id, **measurement_values(document))
    ).inserted_primary_key
    assert key is not None
    return int(key[0])


def measurement_values(document: dict[str, object]) -> dict[str, object]:
    """Columns of a measurement row; everything of the result except its sets is kept."""
    return {
        "settings_sha256": settings_hash(document),
        "settings": document["settings"],
        "document": {key: value for key, value in document.items() if key not in ("sets", "settings")},
        "armarc_version": str(document["armarc_version"]),
        "measured_at": time.time(),
    }


def insert_sets(
    connection: sa.Connection,
    measurement_id: int,
    document: dict[str, Any],
    sets: list[dict[str, Any]],
    labels: Labels,
    begun: datetime,
) -> tuple[int, ...]:
    """Insert sets with their reps and tags; returns their numbers in the log."""
    lifter = labels.lifter or document["settings"].get("lifter") or DEFAULT_LIFTER
    name = _as_logged(connection, str(lifter))
    lifter_id = insert_once(connection, schema.lifter, ("name",), {"name": name})
    session_id = insert_once(
        connection,
        schema.session,
        ("lifter_id", "day", "label"),
        {"lifter_id": lifter_id, "day": begun.date().isoformat(), "label": labels.session or ""},
    )
    ids = []
    for record in sets:
        values = set_row(record, document["settings"], labels)
        values |= {
            "measurement_id": measurement_id,
            "session_id": session_id,
            "done_at": begun.timestamp() + float(record["start_s"]),
        }
        key = connection.execute(sa.insert(schema.training_set).values(**values)).inserted_primary_key
        assert key is not None
        set_id = int(key[0])
        numbers = schema.set_numbers(values["summary"])
        connection.execute(sa.insert(schema.set_number).values(set_id=set_id, **numbers))
        insert_reps(connection, set_id, record["reps"])
        if labels.tags:
            connection.execute(
                sa.insert(schema.tag), [{"set_id": set_id, "tag": name} for name in labels.tags]
            )
        ids.append(set_id)
    return tuple(ids)


def insert_reps(connection: sa.Connection, set_id: int, reps: list[dict[str, Any]]) -> None:
    """Insert the reps of one set."""
    if reps:
        connection.execute(sa.insert(schema.rep), [{"set_id": set_id, **rep_row(rep)} for rep in reps])


def insert_once(
    connection: sa.Connection, table: sa.Table, unique: tuple[str, ...], values: dict[str, object]
) -> int:
    """Number of the row with these unique values, made now if it is not there; safe against other writers."""
    if connection.dialect.name == "postgresql":
        from sqlalchemy.dialects.postgresql import insert
    else:
        from sqlalchemy.dialects.sqlite import insert  # type: ignore[assignment]
    connection.execute(insert(table).values(**values).on_conflict_do_nothing())
    same = [table.c[name] == values[name] for name in unique]
    return int(connection.execute(sa.select(table.c.id).where(*same)).scalar_one())


def _as_logged(connection: sa.Connection, lifter: str) -> str:
    """A lifter as the log spells them already; only an edit changes the capitals of a name."""
    known = sa.select(schema.lifter.c.name).order_by(schema.lifter.c.id)
    return spelled_as(lifter, connection.execute(known).scalars())


def settings_hash(document: dict[str, Any]) -> str:
    """SHA-256 of what decides the numbers, in canonical JSON: the settings and the bodies moments were worked out for.

    What the lifter is called decides nothing.
    """
    settings = {key: value for key, value in document["settings"].items() if key != "lifter"}
    loads = [record.get("load") for record in document["sets"]]
    told = [load["body"] for load in loads if isinstance(load, dict) and isinstance(load.get("body"), dict)]
    bodies = [{key: value for key, value in body.items() if key != "lifter"} for body in told]
    text = json.dumps(
        [settings, bodies] if bodies else settings, sort_keys=True, separators=(",", ":"), allow_nan=False
    )
    return hashlib.sha256(text.encode()).hexdigest()


def state_of(connection: sa.Connection, set_id: int) -> dict[str, Any]:
    """Everything of a set that can change, without its reps.

    Raises
    ------
    LogError
        If there is no such set.
    """
    table, tags = schema.training_set, schema.tag
    row = connection.execute(sa.select(table).where(table.c.id == set_id)).one_or_none()
    if row is None:
        raise LogError(f"there is no set {set_id} in the log", "armarc log list shows the numbers")
    names = connection.execute(sa.select(tags.c.tag).where(tags.c.set_id == set_id)).scalars()
    return {**{name: row._mapping[name] for name in _COLUMNS}, "tags": sorted(names)}


def record_change(
    connection: sa.Connection,
    batch: str,
    action: str,
    set_id: int,
    before: dict[str, object],
    after: dict[str, object],
) -> int:
    """Apply `after` to a set and write down the difference; 0 when there is none, else 1."""
    keys = [key for key in after if before.get(key) != after[key]]
    if not keys:
        return 0
    old, new = {key: before.get(key) for key in keys}, {key: after[key] for key in keys}
    apply_state(connection, set_id, new)
    connection.execute(
        sa.insert(schema.change).values(
            batch=batch,
            made_at=time.time(),
            action=action,
            set_id=set_id,
            before=old,
            after=new,
            author=author_of(connection),
        )
    )
    return 1


def apply_state(connection: sa.Connection, set_id: int, state: dict[str, Any]) -> None:
    """Write the given part of a set's state: its columns, ``tags``, ``rep_records`` and ``measurement``."""
    columns = {key: value for key, value in state.items() if key in _COLUMNS}
    if columns:
        table = schema.training_set
        connection.execute(sa.update(table).where(table.c.id == set_id).values(**columns))
    if "summary" in state:
        numbers = schema.set_number
        changed = sa.update(numbers).where(numbers.c.set_id == set_id)
        connection.execute(changed.values(**schema.set_numbers(state["summary"])))
    if "tags" in state:
        connection.execute(sa.delete(schema.tag).where(schema.tag.c.set_id == set_id))
        if state["tags"]:
            rows = [{"set_id": set_id, "tag": name} for name in state["tags"]]
            connection.execute(sa.insert(schema.tag), rows)
    if "rep_records" in state:
        connection.execute(sa.delete(schema.rep).where(schema.rep.c.set_id == set_id))
        insert_reps(connection, set_id, state["rep_records"])
    if state.get("measurement"):
        values = dict(state["measurement"])
        table = schema.measurement
        connection.execute(sa.update(table).where(table.c.id == values.pop("id")).values(**values))


def replace_sets(
    connection: sa.Connection,
    measurement_id: int,
    document: dict[str, Any],
    *,
    labels: Labels,
    began: datetime | None = None,
    batch: str | None = None,
) -> tuple[int, ...]:
    """Put the sets of a new result in place of the old ones of the same recording.

    New and old sets are matched by how long they overlap in time. A matched set keeps its number in the log
    and its labels; an old set without a match is removed, a new one without a match is added. All of it is
    one undoable change; `batch` ties it to others that are to be taken back with it. Whom `labels` name and when
    it `began` go before what the log has.
    """
    table = schema.training_set
    old_measurement = connection.execute(
        sa.select(schema.measurement).where(schema.measurement.c.id == measurement_id)
    ).one()
    begun = connection.execute(
        sa.select(schema.recording.c.started_at).where(schema.recording.c.id == old_measurement.recording_id)
    ).scalar_one()
    rows = connection.execute(
        sa.select(table).where(table.c.measurement_id == measurement_id).order_by(table.c.id)
    ).all()
    values = measurement_values(document)
    was = old_measurement._mapping
    if all(was[key] == value for key, value in values.items() if key != "measured_at"):
        values["measured_at"] = old_measurement.measured_at  # the same again is no change
    batch, now = batch or uuid.uuid4().hex, time.time()
    before_measurement = {
        "measurement": {"id": measurement_id, **{key: old_measurement._mapping[key] for key in values}}
    }
    after_measurement = {"measurement": {"id": measurement_id, **values}}
    pairs = match_by_overlap(
        [(row.start_s, row.end_s) for row in rows],
        [(record["start_s"], record["end_s"]) for record in document["sets"]],
    )
    matched = dict(pairs)
    ids = {}
    for index, row in enumerate(rows):
        before = state_of(connection, row.id)
        if index in matched:
            record = document["sets"][matched[index]]
            ids[matched[index]] = row.id
            before |= {"rep_records": reps_of(connection, row.id)}
            after = {
                **before,
                **measured_part(record),
                "done_at": float(record["start_s"])
                + (before["done_at"] - before["start_s"] if began is None else began.timestamp()),
                "rep_records": record["reps"],
                "removed_at": None if _lost_by_measuring(connection, row.id) else before["removed_at"],
                **_labels_after(before, record, old_measurement.settings, document["settings"], labels),
            }
            if labels.lifter is not None or labels.session is not None or began is not None:
                named = labels.lifter and _as_logged(connection, labels.lifter)
                said = replace(labels, lifter=named)
                after["session_id"] = session_for(
                    connection, before["session_id"], said, after["done_at"], began
                )
        elif row.removed_at is None:
            after = {**before, "removed_at": now}
        else:
            continue
        record_change(
            connection, batch, "measure", row.id, before | before_measurement, after | after_measurement
        )
        before_measurement = after_measurement
    fresh = [i for i in range(len(document["sets"])) if i not in matched.values()]
    added = insert_sets(
        connection,
        measurement_id,
        document,
        [document["sets"][i] for i in fresh],
        _labels_of_neighbour(connection, rows, labels),
        began or datetime.fromtimestamp(begun, tz=UTC).astimezone(),
    )
    for set_id in added:
        state = state_of(connection, set_id)
        record_change(connection, batch, "measure", set_id, {**state, "removed_at": now}, state)
    ids |= dict(zip(fresh, added, strict=True))
    if before_measurement is not after_measurement:
        table_ = schema.measurement
        connection.execute(sa.update(table_).where(table_.c.id == measurement_id).values(**values))
    return tuple(ids[i] for i in sorted(ids))


def session_for(
    connection: sa.Connection, old_id: int, said: Labels, done_at: float, when: datetime | None
) -> int:
    """Number of the session a set belongs to once lifter, session or time (`when`, for its zone) are said anew."""
    old = connection.execute(
        sa.select(schema.session, schema.lifter.c.name)
        .join(schema.lifter)
        .where(schema.session.c.id == old_id)
    ).one()
    lifter_id = (
        old.lifter_id
        if said.lifter is None
        else insert_once(connection, schema.lifter, ("name",), {"name": said.lifter})
    )
    day = old.day
    if when is not None:
        day = datetime.fromtimestamp(done_at, tz=when.astimezone().tzinfo).date().isoformat()
    label = old.label if said.session is None else said.session
    values = {"lifter_id": lifter_id, "day": day, "label": label}
    return insert_once(connection, schema.session, ("lifter_id", "day", "label"), values)


def match_by_overlap(
    old: Sequence[tuple[float, float]], new: Sequence[tuple[float, float]]
) -> list[tuple[int, int]]:
    """Pair old and new stretches of time, longest overlap first; each is used once.

    Returns
    -------
    list of tuple of int
        Indices ``(old, new)``.
    """
    overlaps = [
        (min(a[1], b[1]) - max(a[0], b[0]), i, j) for i, a in enumerate(old) for j, b in enumerate(new)
    ]
    pairs: list[tuple[int, int]] = []
    for overlap, i, j in sorted(overlaps, key=lambda entry: (-entry[0], entry[1], entry[2])):
        if overlap > 0 and all(i != a and j != b for a, b in pairs):
            pairs.append((i, j))
    return sorted(pairs)


def reps_of(connection: sa.Connection, set_id: int) -> list[dict[str, object]]:
    """Published records of a set's reps."""
    rows = connection.execute(
        sa.select(schema.rep).where(schema.rep.c.set_id == set_id).order_by(schema.rep.c.rep)
    )
    return [rep_record(dict(row._mapping)) for row in rows]


def _lost_by_measuring(connection: sa.Connection, set_id: int) -> bool:
    """Whether an earlier measurement took the set out, not a person: then it may come back."""
    table = schema.change
    changes = connection.execute(
        sa.select(table.c.action, table.c.after)
        .where(table.c.set_id == set_id, table.c.undone_at.is_(None))
        .order_by(table.c.id.desc())
    )
    return next((row.action == "measure" for row in changes if "removed_at" in row.after), False)


def _labels_after(
    before: dict[str, Any],
    record: dict[str, Any],
    old_settings: dict[str, object],
    new_settings: dict[str, object],
    labels: Labels,
) -> dict[str, object]:
    """Labels of a matched set: said now, else changed settings, else as they stand, perhaps edited."""
    out: dict[str, object] = {}
    was, now = said_by_result({}, old_settings), said_by_result(record, new_settings)
    for name in ("exercise", "variant", "side", "load_kg"):
        said = getattr(labels, name)
        if said is not None:
            out[name] = said
        elif was[name] != now[name] and before[name] in (was[name], None):
            out[name] = now[name]
    for name in SAID_AFTER:
        if getattr(labels, name) is not None:
            out[name] = getattr(labels, name)
    if labels.tags:
        out["tags"] = sorted({*before["tags"], *labels.tags})
    return out


def _labels_of_neighbour(connection: sa.Connection, rows: Sequence[Any], labels: Labels) -> Labels:
    """Who and which session a newly found set belongs to: the same as the sets it was found among."""
    if not rows:
        return labels
    found = connection.execute(
        sa.select(schema.lifter.c.name, schema.session.c.label)
        .join(schema.session, schema.session.c.lifter_id == schema.lifter.c.id)
        .where(schema.session.c.id == rows[0].session_id)
    ).one()
    return Labels(
        lifter=labels.lifter or found.name,
        session=found.label if labels.session is None else labels.session,
        exercise=labels.exercise,
        variant=labels.variant,
        side=labels.side,
        load_kg=labels.load_kg if labels.load_kg is not None else rows[0].load_kg,
        tags=labels.tags,
    )
