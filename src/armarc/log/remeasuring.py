"""Measure logged recordings again: sets keep their labels, and the old numbers can be brought back."""

from __future__ import annotations

import time
import uuid
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

import sqlalchemy as sa

from armarc.errors import ArmarcError
from armarc.load.lifter import Lifter
from armarc.log import schema
from armarc.log.adding import insert_sets, measurement_values
from armarc.log.bodies import body_of_load
from armarc.log.changing import record_change, state_of
from armarc.log.labels import SAID_AFTER, Labels
from armarc.log.rows import measured_part, rep_record, said_by_result
from armarc.log.store import Store
from armarc.quantities import DEFAULT_LIFTER

SHOWN_MEASURES = (
    "rom_deg",
    "start_velocity_deg_s",
    "mean_concentric_deg_s",
    "time_under_tension_s",
    "body_swing_cm",
    "peak_moment_n_m",
    "concentric_work_j",
)
"""Measures whose change a reprocessing reports."""

Measure = Callable[[bytes, str, dict[str, Any], dict[str, Any], Lifter], dict[str, Any]]
"""``(content, file name, settings, document, body) → result``: measures a kept recording with today's code."""

ChooseBody = Callable[[Lifter | None, str], Lifter]
"""``(stored, name) → body``: for whom to work out moments; what is stored with the sets, and whose sets they are."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Remeasured:
    """What measuring one recording again changed.

    Parameters
    ----------
    file_name : str
    set_ids : tuple of int
        Sets of the recording after it.
    was_version, is_version : str
    reps_before, reps_after : int
    changes : dict
        Measure → (mean before, mean after) over all reps, where it moved.
    body_was, body_is : Lifter or None
        The body of the shoulder's moments; None where it is not known or there are none.
    problem : str
        Why it could not be measured, else empty; then nothing was changed.
    """

    file_name: str
    set_ids: tuple[int, ...]
    was_version: str
    is_version: str
    reps_before: int
    reps_after: int
    changes: dict[str, tuple[float | None, float | None]]
    body_was: Lifter | None = None
    body_is: Lifter | None = None
    problem: str = ""


def as_stored(stored: Lifter | None, name: str) -> Lifter:
    """The body stored with the sets, else a reference body."""
    return Lifter(name=name) if stored is None else stored


def remeasure(
    store: Store,
    recording_ids: Iterable[int],
    measure: Measure,
    *,
    choose_body: ChooseBody = as_stored,
    keep: bool = True,
) -> list[Remeasured]:
    """Measure recordings again with the settings they were logged with.

    Parameters
    ----------
    store : Store
    recording_ids : iterable of int
    measure : callable
        See `Measure`.
    choose_body : callable
        See `ChooseBody`. One body for a recording: where its sets have several, that of the first.
    keep : bool
        Write the new numbers into the log; False only says what would change.

    Returns
    -------
    list of Remeasured
        One per recording, in order.
    """
    batch = uuid.uuid4().hex
    return [
        _remeasure_one(store, recording_id, measure, choose_body, batch if keep else None)
        for recording_id in recording_ids
    ]


def _remeasure_one(
    store: Store, recording_id: int, measure: Measure, choose_body: ChooseBody, batch: str | None
) -> Remeasured:
    with store.reading() as connection:
        row = connection.execute(
            sa.select(schema.recording, schema.measurement.c.id.label("measurement_id"))
            .add_columns(
                schema.measurement.c.settings,
                schema.measurement.c.document,
                schema.measurement.c.armarc_version,
            )
            .join(schema.measurement, schema.measurement.c.recording_id == schema.recording.c.id)
            .where(schema.recording.c.id == recording_id)
        ).one()
        ids = _live_ids(connection, row.measurement_id)
        before = [rep for set_id in ids for rep in reps_of(connection, set_id)]
        body_was, name = _body_of_sets(connection, ids)
    content = store.vault.get(row.sha256, row.suffix) if row.kept else None

    def failed(why: str) -> Remeasured:
        return Remeasured(
            file_name=row.file_name,
            set_ids=ids,
            was_version=row.armarc_version,
            is_version=row.armarc_version,
            reps_before=len(before),
            reps_after=len(before),
            changes={},
            problem=why,
        )

    if content is None:
        return failed("the raw recording is not in the log")
    try:
        body = choose_body(body_was, name)
        result = measure(content, row.file_name, row.settings, row.document, body)
    except ArmarcError as error:
        return failed(str(error))
    after = [rep for record in result["sets"] for rep in record["reps"]]
    loads = [body_of_load(record.get("load")) for record in result["sets"]]
    if batch is not None:
        with store.writing() as connection:
            ids = replace_sets(connection, row.measurement_id, result, labels=Labels(), batch=batch)
    return Remeasured(
        file_name=row.file_name,
        set_ids=ids,
        was_version=row.armarc_version,
        is_version=str(result["armarc_version"]),
        reps_before=len(before),
        reps_after=len(after),
        changes=_moved(before, after),
        body_was=body_was,
        body_is=next((one for one in loads if one is not None), None),
    )


def replace_sets(
    connection: sa.Connection,
    measurement_id: int,
    document: dict[str, Any],
    *,
    labels: Labels,
    batch: str | None = None,
) -> tuple[int, ...]:
    """Put the sets of a new result in place of the old ones of the same recording.

    New and old sets are matched by how long they overlap in time. A matched set keeps its number in the log
    and its labels; an old set without a match is removed, a new one without a match is added. All of it is
    one undoable change; `batch` ties it to others that are to be taken back with it.
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
                "done_at": before["done_at"] - before["start_s"] + float(record["start_s"]),
                "rep_records": record["reps"],
                "removed_at": None if _lost_by_measuring(connection, row.id) else before["removed_at"],
                **_labels_after(before, record, old_measurement.settings, document["settings"], labels),
            }
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
        datetime.fromtimestamp(begun, tz=UTC).astimezone(),
    )
    for set_id in added:
        state = state_of(connection, set_id)
        record_change(connection, batch, "measure", set_id, {**state, "removed_at": now}, state)
    ids |= dict(zip(fresh, added, strict=True))
    if before_measurement is not after_measurement:
        table_ = schema.measurement
        connection.execute(sa.update(table_).where(table_.c.id == measurement_id).values(**values))
    return tuple(ids[i] for i in sorted(ids))


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


def reps_of(connection: sa.Connection, set_id: int) -> list[dict[str, Any]]:
    """Published records of a set's reps."""
    rows = connection.execute(
        sa.select(schema.rep).where(schema.rep.c.set_id == set_id).order_by(schema.rep.c.rep)
    )
    return [rep_record(dict(row._mapping)) for row in rows]


def _body_of_sets(connection: sa.Connection, ids: Sequence[int]) -> tuple[Lifter | None, str]:
    """The body stored with the first of these sets that has one, and whose the first set is."""
    table = schema.training_set
    rows = connection.execute(
        sa.select(table.c.other, schema.lifter.c.name)
        .join(schema.session, schema.session.c.id == table.c.session_id)
        .join(schema.lifter, schema.lifter.c.id == schema.session.c.lifter_id)
        .where(table.c.id.in_(list(ids)))
        .order_by(table.c.id)
    ).all()
    bodies = (body_of_load(row.other.get("load")) for row in rows if isinstance(row.other, dict))
    stored = next((body for body in bodies if body is not None), None)
    return stored, rows[0].name if rows else DEFAULT_LIFTER


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
    old_settings: dict[str, Any],
    new_settings: dict[str, Any],
    labels: Labels,
) -> dict[str, Any]:
    """Labels of a matched set: said now, else changed settings, else as they stand, perhaps edited."""
    out: dict[str, Any] = {}
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


def _live_ids(connection: sa.Connection, measurement_id: int) -> tuple[int, ...]:
    table = schema.training_set
    chosen = sa.select(table.c.id).where(
        table.c.measurement_id == measurement_id, table.c.removed_at.is_(None)
    )
    return tuple(connection.execute(chosen.order_by(table.c.id)).scalars())


def _moved(
    before: list[dict[str, Any]], after: list[dict[str, Any]]
) -> dict[str, tuple[float | None, float | None]]:
    out = {}
    for name in SHOWN_MEASURES:
        old, new = _mean(before, name), _mean(after, name)
        if old != new:
            out[name] = (old, new)
    return out


def _mean(reps: list[dict[str, Any]], name: str) -> float | None:
    values = [rep[name] for rep in reps if isinstance(rep.get(name), int | float)]
    return sum(values) / len(values) if values else None
