"""Many sets as columns: what statistics over a whole log work on, read without the summaries."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime
from functools import cached_property
from itertools import starmap
from typing import Any, NamedTuple, TypeVar

import numpy as np
import sqlalchemy as sa
from numpy.typing import NDArray

from armarc.errors import LogError
from armarc.log import schema
from armarc.log.measures import SetMeasure, rep_value
from armarc.log.reading import Filter, LoggedSet, list_sets, sets_query
from armarc.log.rows import is_numbers, is_texts
from armarc.log.store import DAMAGED_HINT, Store
from armarc.recording import FloatArray
from armarc.reps.summary import fullness

IntArray = NDArray[np.int64]
_Number = TypeVar("_Number", bound=np.generic)

_SETS = schema.training_set
_PIECE = 1024
"""Rows made into columns at a time: their objects stay in the processor's cache and are used again."""
_OF_THE_SET = ("reps", "load_kg", "rir")
"""Measures that are columns of the set itself; the others are in its summary."""


class SessionKey(NamedTuple):
    """One session, in the order of days."""

    day: str
    id: int
    lifter: str
    label: str


class TaskKey(NamedTuple):
    """What must agree before two sets may be compared as the same task."""

    exercise: str
    variant: str
    side: str | None
    load_kg: float | None

    def word(self, what: str) -> str:
        """Its exercise, variant, side or load as a name."""
        if what == "side":
            return self.side or "unknown"
        if what == "variant":
            return self.variant or "(no variant)"
        if what == "load":
            return "no load" if self.load_kg is None else f"{self.load_kg:.4g} kg"
        return self.exercise


@dataclass(frozen=True, slots=True, kw_only=True)
class SetLabels:
    """Who did one set, what and when."""

    id: int
    day: date
    done_at: datetime
    lifter: str
    exercise: str
    variant: str
    side: str | None
    load_kg: float | None


@dataclass(frozen=True)
class SetTable:
    """Sets in columns, n of them.

    Parameters
    ----------
    set_id : ndarray, shape (n,)
    done_s : ndarray, shape (n,), s since 1970 UTC
    session : ndarray, shape (n,)
        Place in `sessions`.
    sessions : tuple of SessionKey
        In order.
    task : ndarray, shape (n,)
        Place in `tasks`.
    tasks : tuple of TaskKey
    day : ndarray, shape (n,)
        As `datetime.date.toordinal` counts.
    lifter : ndarray, shape (n,)
        A number for each, in the order of their names.
    numbers : mapping of ndarray, shape (n,)
        By measure; NaN where a set has none.
    """

    set_id: IntArray
    done_s: FloatArray
    session: IntArray
    sessions: tuple[SessionKey, ...]
    task: IntArray
    tasks: tuple[TaskKey, ...]
    day: IntArray
    lifter: IntArray
    numbers: Mapping[str, FloatArray]

    def __len__(self) -> int:
        return len(self.set_id)

    def of(self, measure: SetMeasure) -> FloatArray:
        """Values of a measure that was asked for when the table was made."""
        return self.numbers[measure.key]

    def take(self, rows: IntArray | NDArray[np.bool_]) -> SetTable:
        """Some of the rows."""
        return replace(
            self,
            set_id=self.set_id[rows],
            done_s=self.done_s[rows],
            session=self.session[rows],
            task=self.task[rows],
            day=self.day[rows],
            lifter=self.lifter[rows],
            numbers={key: values[rows] for key, values in self.numbers.items()},
        )

    @property
    def exercises(self) -> set[str]:
        """Keys of the exercises that were done."""
        return {task.exercise for task in self.tasks_done}

    @property
    def tasks_done(self) -> list[TaskKey]:
        """Those of the tasks that the sets are of."""
        return [self.tasks[place] for place in np.unique(self.task).tolist()]

    @cached_property
    def in_time(self) -> SetTable:
        """The same sets, oldest first."""
        order = np.lexsort((self.set_id, self.done_s))
        return self if np.array_equal(order, np.arange(len(self))) else self.take(order)

    @cached_property
    def target(self) -> IntArray:
        """Lifter and task of each set together as a number, shape (n,)."""
        return self.lifter * len(self.tasks) + self.task

    def by_lift(self) -> list[SetTable]:
        """The sets of each lifter, exercise, variant and side, oldest first; what was done first comes first."""
        table = self.in_time
        places: dict[tuple[object, ...], int] = {}
        lifts = [places.setdefault(task[:3], len(places)) for task in table.tasks]
        code = table.lifter * len(places) + np.array(lifts, np.int64)[table.task]
        return [table.take(rows) for rows in grouped(code, np.arange(len(table)))]

    def labels(self, row: int) -> SetLabels:
        """Labels of one row."""
        session, task = self.sessions[self.session[row]], self.tasks[self.task[row]]
        return SetLabels(
            id=int(self.set_id[row]),
            day=date.fromisoformat(session.day),
            done_at=datetime.fromtimestamp(self.done_s[row], tz=UTC).astimezone(),
            lifter=session.lifter,
            **task._asdict(),
        )


def as_table(sets: Sequence[LoggedSet] | SetTable, *measures: SetMeasure) -> SetTable:
    """Sets as a table with the values of these measures; a table stays as it is."""
    if isinstance(sets, SetTable):
        return sets
    codes: dict[tuple[Any, ...], int] = {}
    return _table(
        np.array([entry.id for entry in sets], np.int64),
        _floats([entry.done_at.timestamp() for entry in sets]),
        [entry.session_id for entry in sets],
        {SessionKey(one.day.isoformat(), one.session_id, one.lifter, one.session) for one in sets},
        np.array([codes.setdefault(entry.condition, len(codes)) for entry in sets], np.int64),
        codes,
        {measure.key: _floats([measure.of(entry) for entry in sets]) for measure in measures},
    )


def read_table(store: Store, where: Filter, *measures: SetMeasure) -> SetTable:
    """Sets that pass the filter, newest first, with the values of these measures.

    Raises
    ------
    LogError
        If a set is damaged.
    """
    load = [measure for measure in measures if measure.of_reps]
    if load:
        plain = read_table(store, where, *(measure for measure in measures if not measure.of_reps))
        return replace(plain, numbers={**plain.numbers, **_of_reps(store, where, plain.set_id, load)})
    places = [_place(measure) for measure in measures]
    numbered = schema.set_number.c.set_id
    task = (_SETS.c.exercise, _SETS.c.variant, _SETS.c.side, _SETS.c.load_kg)
    chosen = sets_query(where, numbered, _SETS.c.done_at, _SETS.c.session_id, *task, *places)
    chosen = chosen.outerjoin(schema.set_number, numbered == _SETS.c.id)
    keys = (
        sa.select(schema.session.c.day, schema.session.c.id, schema.lifter.c.name, schema.session.c.label)
        .select_from(schema.session)
        .join(schema.lifter, schema.lifter.c.id == schema.session.c.lifter_id)
    )
    codes: dict[tuple[Any, ...], int] = {}
    session_id: list[int] = []
    pieces = []
    try:
        with store.reading() as connection:
            for rows in connection.execute(chosen).partitions(_PIECE):
                columns = list(zip(*rows, strict=True))
                session_id += columns[2]
                task_code = [codes.setdefault(key, len(codes)) for key in zip(*columns[3:7], strict=True)]
                # A set whose numbers are missing has no number itself here, which is refused.
                piece = np.array(columns[0], np.int64), _floats(columns[1]), np.array(task_code, np.int64)
                pieces.append((*piece, *map(_values, measures, places, columns[7:])))
            sessions = list(starmap(SessionKey, connection.execute(keys).all()))
        if not pieces:
            return as_table([], *measures)
        set_id, done_s, task_place, *values = (np.concatenate(column) for column in zip(*pieces, strict=True))
        numbers = {measure.key: column for measure, column in zip(measures, values, strict=True)}
        table = _table(set_id, done_s, session_id, sessions, task_place, codes, numbers)
    except (TypeError, ValueError, KeyError, AttributeError, OverflowError):
        list_sets(store, where)  # names the set, where the damage shows there too
        raise LogError("a set in the log is damaged", DAMAGED_HINT) from None
    return table.take(np.lexsort((table.set_id, table.done_s))[::-1])


def _of_reps(
    store: Store, where: Filter, set_id: IntArray, measures: Sequence[SetMeasure]
) -> dict[str, FloatArray]:
    """Means of what only the records of reps hold, for the sets in their order; over the fullest reps of each."""
    rep = schema.rep
    chosen = sets_query(where, rep.c.set_id, rep.c.quality, rep.c.other).join(rep, rep.c.set_id == _SETS.c.id)
    places = {number: place for place, number in enumerate(set_id.tolist())}
    shape = (3, len(measures), len(places))
    total, count = np.zeros(shape), np.zeros(shape)
    with store.reading() as connection:
        for number, quality, other in connection.execution_options(yield_per=500).execute(chosen):
            full = fullness(quality) if isinstance(quality, list) else 0
            for i, measure in enumerate(measures):
                value = rep_value(other, measure.key) if isinstance(other, dict) else None
                if value is not None:
                    total[full, i, places[number]] += value
                    count[full, i, places[number]] += 1
    best = np.where(count[2] > 0, 2, np.where(count[1] > 0, 1, 0))[None]
    total, count = (np.take_along_axis(each, best, axis=0)[0] for each in (total, count))
    means = np.divide(total, count, out=np.full(total.shape, math.nan), where=count > 0)
    return {measure.key: means[i] for i, measure in enumerate(measures)}


def grouped(codes: IntArray, values: NDArray[_Number]) -> list[NDArray[_Number]]:
    """Values of each of the different numbers among `codes`, in their order; what appears first comes first.

    Parameters
    ----------
    codes, values : ndarray, shape (n,)
    """
    _, first, group = np.unique(codes, return_index=True, return_inverse=True)
    ends = np.cumsum(np.bincount(group)).tolist()
    ordered = values[np.argsort(group, kind="stable")]
    parts = [ordered[start:end] for start, end in zip([0, *ends], ends, strict=False)]
    return [parts[place] for place in np.argsort(first).tolist()]


def first_seen(codes: IntArray) -> IntArray:
    """The different numbers among `codes`, in the order in which they appear."""
    different, first = np.unique(codes, return_index=True)
    return different[np.argsort(first)]


def _place(measure: SetMeasure) -> sa.Column[Any]:
    """Column that has the measure: one of its own, or the whole summary."""
    if measure.key in _OF_THE_SET:
        return _SETS.c[measure.key]
    name = "in_band_share" if measure.key == "in_band_pct" else measure.summary_key
    return schema.set_number.c[name] if name in schema.SET_NUMBERS else _SETS.c.summary


def _values(measure: SetMeasure, place: sa.Column[Any], column: Sequence[Any]) -> FloatArray:
    if place is _SETS.c.summary:
        return _floats([_of_summary(one, measure) for one in column])
    return _floats(column) * (100.0 if place is schema.set_number.c.in_band_share else 1.0)


def _of_summary(summary: dict[str, object], measure: SetMeasure) -> float | None:
    value = summary.get(measure.summary_key)
    return float(value) if isinstance(value, int | float) and not isinstance(value, bool) else None


def _table(
    set_id: IntArray,
    done_s: FloatArray,
    session_id: Sequence[int],
    sessions: Iterable[SessionKey],
    task: IntArray,
    tasks: Iterable[tuple[Any, ...]],
    numbers: Mapping[str, FloatArray],
) -> SetTable:
    used = set(session_id)
    ordered = sorted(key for key in sessions if key.id in used)
    session_places = {key.id: place for place, key in enumerate(ordered)}
    for exercise, variant, side, load_kg in tasks:
        if not (is_texts((exercise, variant, side or "")) and is_numbers((load_kg,))):
            raise ValueError("labels of a set")
    if not is_texts(text for key in ordered for text in (key.day, key.lifter, key.label)):
        raise ValueError("a session")
    session = np.array([session_places[key] for key in session_id], np.int64)
    names = [key.lifter for key in ordered]
    places = {name: place for place, name in enumerate(sorted(set(names)))}
    return SetTable(
        set_id=set_id,
        done_s=done_s,
        session=session,
        sessions=tuple(ordered),
        task=task,
        tasks=tuple(TaskKey(*key) for key in tasks),
        day=np.array([date.fromisoformat(key.day).toordinal() for key in ordered], np.int64)[session],
        lifter=np.array([places[name] for name in names], np.int64)[session],
        numbers=numbers,
    )


def _floats(values: Sequence[float | None]) -> FloatArray:
    return np.array(values, float)  # None becomes NaN
