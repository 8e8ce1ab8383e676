"""Measure logged recordings again: sets keep their labels, and the old numbers can be brought back."""

from __future__ import annotations

import uuid
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import Any

import sqlalchemy as sa

from armarc.errors import ArmarcError
from armarc.load.lifter import Lifter
from armarc.load.records import body_of_load, without_load
from armarc.log import schema
from armarc.log.edited import settings_as_edited
from armarc.log.labels import Labels
from armarc.log.measuring import chest_of
from armarc.log.store import Store
from armarc.log.writing import match_by_overlap, replace_sets, reps_of
from armarc.quantities import DEFAULT_LIFTER

SHOWN_MEASURES = (
    "rom_deg",
    "start_velocity_deg_s",
    "mean_concentric_deg_s",
    "time_under_tension_s",
    "body_swing_cm",
    "plane_deg",
    "hand_rotation_deg",
    "peak_moment_n_m",
    "concentric_work_j",
)
"""Measures whose change a reprocessing reports."""

Measure = Callable[[bytes, str, dict[str, Any], dict[str, Any], Lifter, bytes | None], dict[str, Any]]
"""``(content, file name, settings, document, body, chest) → result``: measures a kept recording with today's code,
and with that of a chest sensor where there was one."""

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
    task_is : str
        Exercise and arm it was measured for now, where they are not those of before, else empty; of sets that have
        others than the recording, which ones.
    is_mixed : bool
        Some of its sets have an exercise that measures otherwise than the others' (band, gate, loaded range), so that
        they were measured for that of the recording.
    problem : str
        Why it could not be measured, else empty; then nothing was changed.
    is_kept : bool
        The log has changed: there is something to take back.
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
    task_is: str = ""
    is_mixed: bool = False
    problem: str = ""
    is_kept: bool = False


@dataclass(frozen=True, slots=True)
class _Lifted:
    """A set as the log has it: number, stretch of the recording (s), exercise and arm, load (kg)."""

    set_id: int
    when_s: tuple[float, float]
    task: tuple[str, str | None]
    load_kg: float | None


_TASK = ("exercise", "side")


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
    """Measure recordings again with the settings they were logged with, as exercise, arm and load of their sets say.

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
        lifted = _lifted(connection, ids)
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
        chest = chest_of(store, row.settings)

        def measured(settings: dict[str, Any]) -> dict[str, Any]:
            return measure(content, row.file_name, settings, row.document, body, chest)

        result, apart, is_mixed = _as_lifted(row.settings, lifted, measured)
    except ArmarcError as error:
        return failed(str(error))
    after = [rep for record in result["sets"] for rep in record["reps"]]
    loads = [body_of_load(record.get("load")) for record in result["sets"]]
    is_kept = False
    if batch is not None:
        with store.writing() as connection:
            noted = sa.select(sa.func.count()).where(schema.change.c.batch == batch)
            earlier = connection.execute(noted).scalar_one()
            ids = replace_sets(connection, row.measurement_id, result, labels=Labels(), batch=batch)
            is_kept = connection.execute(noted).scalar_one() > earlier
    return Remeasured(
        file_name=row.file_name,
        set_ids=ids,
        was_version=row.armarc_version,
        is_version=str(result["armarc_version"]),
        reps_before=len(before),
        reps_after=len(after),
        changes=_moved(before, after),
        body_was=body_was,
        task_is="; ".join(filter(None, (_as_measured(row.settings, result["settings"]), *apart))),
        is_mixed=is_mixed,
        body_is=next((one for one in loads if one is not None), None),
        is_kept=is_kept,
    )


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


def _lifted(connection: sa.Connection, ids: Sequence[int]) -> list[_Lifted]:
    """What the log says of these sets."""
    table = schema.training_set
    columns = (table.c.id, table.c.start_s, table.c.end_s, table.c.exercise, table.c.side, table.c.load_kg)
    rows = connection.execute(sa.select(*columns).where(table.c.id.in_(list(ids))).order_by(table.c.id))
    return [_Lifted(row.id, (row.start_s, row.end_s), (row.exercise, row.side), row.load_kg) for row in rows]


def _as_lifted(
    settings: dict[str, Any],
    lifted: list[_Lifted],
    measured: Callable[[dict[str, Any]], dict[str, Any]],
) -> tuple[dict[str, Any], list[str], bool]:
    """The result with every set for its own exercise, arm and load.

    Where sets differ in exercise or arm, the recording is measured once for each, and each set taken from its own
    measurement. What is stated of the whole recording (band, gate, loaded range) can be of one exercise only.

    Returns
    -------
    result : dict
    apart : list of str
        Which sets were measured for what, where that is not what the recording was measured for.
    is_mixed : bool
        A set could not be.
    """
    tasks = list(dict.fromkeys(one.task for one in lifted))
    common = settings_as_edited(settings, {task[0] for task in tasks}, {task[1] for task in tasks})
    result = _with_edited_loads(measured(common), common, lifted, measured)
    sets, apart, is_mixed = list(result["sets"]), [], False
    pairs = _paired(lifted, sets)
    for task in tasks if len(tasks) > 1 else ():
        own = settings_as_edited(settings, {task[0]}, {task[1]})
        if all(own.get(key) == common.get(key) for key in _TASK):
            continue
        other = _with_edited_loads(measured(own), own, lifted, measured)
        if _without_task(other["settings"]) != _without_task(result["settings"]):
            is_mixed = True
            continue
        found = dict(_paired(lifted, other["sets"]))
        chosen = [(old, new) for old, new in pairs if lifted[old].task == task]
        is_mixed |= any(old not in found for old, _ in chosen)
        chosen = [(old, new) for old, new in chosen if old in found]
        for old, new in chosen:
            sets[new] = other["sets"][found[old]] | {"set": sets[new]["set"]}
        if chosen:
            numbers = ", ".join(str(lifted[old].set_id) for old, _ in chosen)
            apart.append(f"{'set' if len(chosen) == 1 else 'sets'} {numbers} {_words(other['settings'])}")
    return {**result, "sets": sets}, apart, is_mixed


def _without_task(settings: dict[str, Any]) -> dict[str, Any]:
    return {key: value for key, value in settings.items() if key not in _TASK}


def _paired(lifted: list[_Lifted], records: list[dict[str, Any]]) -> list[tuple[int, int]]:
    when = [(record["start_s"], record["end_s"]) for record in records]
    return match_by_overlap([one.when_s for one in lifted], when)


def _as_measured(was: dict[str, Any], now: dict[str, Any]) -> str:
    """Exercise and arm that a recording was measured for, where either is another one now."""
    return "" if all(was.get(key) == now.get(key) for key in _TASK) else _words(now)


def _words(settings: dict[str, Any]) -> str:
    return ", ".join(
        f"{settings[key]} arm" if key == "side" else str(settings[key]) for key in _TASK if settings.get(key)
    )


def _with_edited_loads(
    result: dict[str, Any],
    settings: dict[str, Any],
    lifted: list[_Lifted],
    measured: Callable[[dict[str, Any]], dict[str, Any]],
) -> dict[str, Any]:
    """The result with sets whose load was changed in the log measured with that one; cleared, they have no moments.

    A load moves no set and no rep. Where a resistance was stated, nobody knows how a number of kilograms changes it.
    """
    if settings.get("resistance"):
        return result
    edited = {
        new: load
        for old, new in _paired(lifted, result["sets"])
        if (load := lifted[old].load_kg) != settings.get("load_kg")
    }
    # Without a load that of the file's head would be taken.
    others = {
        load: list(map(without_load, result["sets"]))
        if load is None
        else measured({**settings, "load_kg": load})["sets"]
        for load in set(edited.values())
    }
    sets = [others[edited[i]][i] if i in edited else record for i, record in enumerate(result["sets"])]
    return {**result, "sets": sets}


def _live_ids(connection: sa.Connection, measurement_id: int) -> tuple[int, ...]:
    table = schema.training_set
    chosen = sa.select(table.c.id).where(
        table.c.measurement_id == measurement_id, table.c.removed_at.is_(None)
    )
    return tuple(connection.execute(chosen.order_by(table.c.id)).scalars())


def _moved(
    before: list[dict[str, object]], after: list[dict[str, object]]
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
