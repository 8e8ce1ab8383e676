"""Find sets in the log and read them back."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from datetime import UTC, date, datetime
from typing import Any

import sqlalchemy as sa

from armarc.errors import LogError, UsageError
from armarc.log import schema
from armarc.log.rows import is_numbers, is_texts, rep_of, rep_record, set_record
from armarc.log.store import DAMAGED_HINT, Store
from armarc.reps.types import Rep

_SETS = schema.training_set
_PART = 500
_DAY = re.compile(r"\d{4}-\d{2}-\d{2}")


@dataclass(frozen=True, slots=True, kw_only=True)
class Filter:
    """Which sets; None or empty lets everything through.

    Parameters
    ----------
    lifter, exercise, variant, side, tag, session : str or None
        ``variant=""`` means sets without a variant. Exercise and lifter ignore upper and lower case.
    load_kg : float or None, kg
        Within 0.05 kg, so that 17.5 lb and 7.94 kg agree.
    since, until : date or None
        First and last day, both included.
    ids : tuple of int or None
    pain : bool
        Only sets after which pain was said.
    removed : bool
        Sets that were removed instead of those that were not.
    """

    lifter: str | None = None
    exercise: str | None = None
    variant: str | None = None
    side: str | None = None
    tag: str | None = None
    session: str | None = None
    load_kg: float | None = None
    since: date | None = None
    until: date | None = None
    ids: tuple[int, ...] | None = None
    pain: bool = False
    removed: bool = False

    def conditions(self) -> list[sa.ColumnElement[bool]]:
        """SQL conditions on the sets."""
        out: list[sa.ColumnElement[bool]] = [
            _SETS.c.removed_at.is_not(None) if self.removed else _SETS.c.removed_at.is_(None)
        ]
        of_session: list[sa.ColumnElement[bool]] = []
        if self.lifter is not None:
            of_session.append(_same(schema.lifter.c.name, self.lifter))
        if self.session is not None:
            of_session.append(schema.session.c.label == _composed(self.session))
        if self.since is not None:
            of_session.append(schema.session.c.day >= self.since.isoformat())
        if self.until is not None:
            of_session.append(schema.session.c.day <= self.until.isoformat())
        if of_session:
            joined = schema.session.join(schema.lifter, schema.lifter.c.id == schema.session.c.lifter_id)
            chosen = sa.select(schema.session.c.id).select_from(joined).where(*of_session)
            out.append(_SETS.c.session_id.in_(chosen))
        if self.exercise is not None:
            out.append(_same(_SETS.c.exercise, self.exercise))
        if self.variant is not None:
            out.append(_same(_SETS.c.variant, self.variant))
        if self.side is not None:
            out.append(_SETS.c.side == self.side)
        if self.load_kg is not None:
            out.append(_SETS.c.load_kg.between(self.load_kg - 0.05, self.load_kg + 0.05))
        if self.ids is not None:
            out.append(_SETS.c.id.in_(self.ids))
        if self.pain:
            out.append(_SETS.c.pain > 0)
        if self.tag is not None:
            tagged = sa.select(schema.tag.c.set_id).where(schema.tag.c.tag == _composed(self.tag).casefold())
            out.append(_SETS.c.id.in_(tagged))
        return out


@dataclass(frozen=True, slots=True, kw_only=True)
class LoggedSet:
    """One set of the log with its labels; its numbers are read with `result_of`."""

    id: int
    done_at: datetime
    day: date
    session_id: int
    session: str
    lifter: str
    exercise: str
    variant: str
    side: str | None
    load_kg: float | None
    rir: float | None
    rpe: float | None
    pain: float | None
    pain_place: str
    pain_at_deg: float | None
    note: str
    reps: int
    start_s: float
    end_s: float
    summary: dict[str, Any]
    measurement_id: int
    tags: tuple[str, ...] = field(default=())

    @property
    def condition(self) -> tuple[str, str, str | None, float | None]:
        """What must agree before two sets may be compared as the same task."""
        return (self.exercise, self.variant, self.side, self.load_kg)


_AS_STORED = tuple(LoggedSet.__dataclass_fields__.keys() - {"done_at", "day", "session", "tags"})


def sets_query(where: Filter, *columns: Any) -> sa.Select[Any]:
    """Select `columns` from sets."""
    return sa.select(*columns).select_from(_SETS).where(*where.conditions())


def _joined(query: sa.Select[Any]) -> sa.Select[object]:
    """The same with the session and the lifter of each set."""
    query = query.join(schema.session, schema.session.c.id == _SETS.c.session_id)
    return query.join(schema.lifter, schema.lifter.c.id == schema.session.c.lifter_id)


def list_sets(
    store: Store, where: Filter | None = None, *, limit: int | None = None, offset: int = 0
) -> list[LoggedSet]:
    """Sets, newest first."""
    return list(iterate_sets(store, where, limit=limit, offset=offset))


def iterate_sets(
    store: Store, where: Filter | None = None, *, limit: int | None = None, offset: int = 0
) -> Iterator[LoggedSet]:
    """Sets, newest first, read while they are used."""
    chosen = sets_query(
        where or Filter(),
        # Not `other`: it may hold curves, which lists do not need.
        *(column for column in _SETS.c if column.name not in ("other", "removed_at")),
        schema.session.c.day,
        schema.session.c.label,
        schema.lifter.c.name.label("lifter"),
    )
    chosen = _joined(chosen).order_by(_SETS.c.done_at.desc(), _SETS.c.id.desc()).limit(limit).offset(offset)
    with store.reading() as connection:
        found = connection.execution_options(yield_per=_PART).execute(chosen)
        for rows in found.partitions():
            tags = _tags(connection, [row.id for row in rows])
            for row in rows:
                yield _logged(row, tags.get(row.id, ()))


def tagged_sets(store: Store, where: Filter) -> dict[str, list[int]]:
    """Numbers of the sets that carry each tag."""
    chosen = sets_query(where, schema.tag.c.tag, _SETS.c.id).join(
        schema.tag, schema.tag.c.set_id == _SETS.c.id
    )
    out: dict[str, list[int]] = {}
    with store.reading() as connection:
        for name, set_id in connection.execute(chosen):
            out.setdefault(name, []).append(set_id)
    return out


def names_in(store: Store, what: str) -> list[str]:
    """Names of the lifters or exercises that have sets in the log, most sets first.

    Parameters
    ----------
    store : Store
    what : str
        ``"lifter"`` or ``"exercise"``.
    """
    column = schema.lifter.c.name if what == "lifter" else _SETS.c.exercise
    chosen = _joined(sets_query(Filter(), column)).group_by(column).order_by(sa.func.count().desc(), column)
    with store.reading() as connection:
        return [str(name) for name in connection.execute(chosen).scalars()]


def list_lifters(store: Store) -> list[str]:
    """Names of everybody in the log, in order."""
    with store.reading() as connection:
        return list(
            connection.execute(sa.select(schema.lifter.c.name).order_by(schema.lifter.c.name)).scalars()
        )


def count_sets(store: Store, where: Filter | None = None) -> int:
    """How many sets pass the filter."""
    with store.reading() as connection:
        return int(connection.execute(sets_query(where or Filter(), sa.func.count())).scalar_one())


LARGEST_ID = 2**31 - 1


def get_set(store: Store, set_id: int) -> LoggedSet:
    """One set, removed or not.

    Raises
    ------
    LogError
        If there is none with that number.
    """
    # A number beyond what the database counts to is no set either.
    for removed in (False, True) if 0 < set_id <= LARGEST_ID else ():
        found = list_sets(store, Filter(ids=(set_id,), removed=removed))
        if found:
            return found[0]
    raise LogError(f"there is no set {set_id} in the log", "armarc log list shows the numbers")


def reps_by_set(store: Store, set_ids: Sequence[int]) -> dict[int, list[dict[str, object]]]:
    """Published rep records of many sets."""
    out: dict[int, list[dict[str, object]]] = {set_id: [] for set_id in set_ids}
    with store.reading() as connection:
        for start in range(0, len(set_ids), 500):
            part = list(set_ids[start : start + 500])
            chosen = sa.select(schema.rep).where(schema.rep.c.set_id.in_(part))
            for row in connection.execute(chosen.order_by(schema.rep.c.set_id, schema.rep.c.rep)):
                out[row.set_id].append(rep_record(dict(row._mapping)))
    return out


def measured_reps(store: Store, set_ids: Sequence[int]) -> dict[int, list[Rep]]:
    """Reps of many sets, SI."""
    return {set_id: list(map(rep_of, reps)) for set_id, reps in reps_by_set(store, set_ids).items()}


def result_of(store: Store, set_ids: Sequence[int]) -> dict[str, Any]:
    """A result in the form of ``armarc process --json`` holding these sets of one recording.

    Raises
    ------
    LogError
        If the sets come from several recordings, or one is not there.
    """
    logged = [get_set(store, set_id) for set_id in set_ids]
    measurements = {entry.measurement_id for entry in logged}
    if len(measurements) != 1:
        raise LogError("these sets come from several recordings", "show them one by one")
    reps = reps_by_set(store, list(set_ids))
    table = schema.measurement
    with store.reading() as connection:
        found = connection.execute(sa.select(table).where(table.c.id == measurements.pop())).one()
        rows = {
            row.id: dict(row._mapping)
            for row in connection.execute(sa.select(_SETS).where(_SETS.c.id.in_(list(set_ids))))
        }
    if not (isinstance(found.document, dict) and isinstance(found.settings, dict)):
        raise LogError("the recording of these sets is damaged in the log", DAMAGED_HINT)
    return {
        **found.document,
        "settings": found.settings,
        "sets": [set_record(rows[set_id], reps[set_id]) for set_id in set_ids],
    }


def recording_of(store: Store, set_id: int) -> tuple[str, bytes | None, dict[str, Any]]:
    """File name, raw bytes (None when not kept) and settings of the recording a set comes from."""
    chosen = (
        sa.select(schema.recording, schema.measurement.c.settings)
        .join(schema.measurement, schema.measurement.c.recording_id == schema.recording.c.id)
        .join(_SETS, _SETS.c.measurement_id == schema.measurement.c.id)
        .where(_SETS.c.id == set_id)
    )
    with store.reading() as connection:
        row = connection.execute(chosen).one_or_none()
    if row is None:
        raise LogError(f"there is no set {set_id} in the log", "armarc log list shows the numbers")
    return row.file_name, store.vault.get(row.sha256, row.suffix) if row.kept else None, row.settings


def recording_ids(store: Store, set_ids: Sequence[int] | None = None) -> list[int]:
    """Recordings the sets come from; all recordings with sets for None."""
    chosen = (
        sa.select(schema.measurement.c.recording_id)
        .join(_SETS, _SETS.c.measurement_id == schema.measurement.c.id)
        .where(_SETS.c.removed_at.is_(None))
        .distinct()
    )
    if set_ids is not None:
        chosen = chosen.where(_SETS.c.id.in_(list(set_ids)))
    with store.reading() as connection:
        return sorted(connection.execute(chosen).scalars())


def choose_sets(store: Store, words: Sequence[str], where: Filter | None = None) -> list[int]:
    """Numbers of the sets that words name: ``12``, ``12-15``, ``last``, ``last-3``, ``2026-03-01``.

    A day means all of its sets; ``last-3`` the last three. Order as given, each set once.

    Raises
    ------
    UsageError
        If a word is none of these.
    LogError
        If it names a set that is not there.
    """
    out: dict[int, None] = {}
    base = where or Filter()
    for word in words:
        found = _choose(store, word.strip(), base)
        if not found:
            raise LogError(f"no set in the log for {word!r}", "armarc log list shows what there is")
        out |= dict.fromkeys(found)
    return list(out)


def _choose(store: Store, word: str, base: Filter) -> list[int]:
    from dataclasses import replace

    if match := re.fullmatch(r"last(?:-(\d{1,4}))?", word):
        newest = list_sets(store, base, limit=int(match[1] or 1))
        return [entry.id for entry in reversed(newest)]
    if _DAY.fullmatch(word):
        day = parse_day(word)
        chosen = list_sets(store, replace(base, since=day, until=day))
        return [entry.id for entry in reversed(chosen)]
    if match := re.fullmatch(r"(\d{1,9})(?:-(\d{1,9}))?", word):
        first, last = int(match[1]), int(match[2] or match[1])
        if last < first:
            raise UsageError(f"{word!r} runs backwards", f"write {last}-{first}")
        inside = [_SETS.c.id.between(first, last)]
        with store.reading() as connection:
            chosen_ids = connection.execute(sets_query(base, _SETS.c.id).where(*inside).order_by(_SETS.c.id))
            return [int(value) for value in chosen_ids.scalars()]
    raise UsageError(
        f"{word!r} names no set", "give a number, a range 12-15, a day 2026-03-01, last or last-3"
    )


def parse_day(text: str) -> date:
    """Read a day.

    Raises
    ------
    UsageError
        If it is none.
    """
    try:
        return date.fromisoformat(text.strip())
    except ValueError:
        raise UsageError(f"{text!r} is not a day", "write it as 2026-03-01") from None


def _composed(text: str) -> str:
    """Text as labels are stored: composed, single spaces; what cannot be stored matches nothing."""
    line = " ".join(unicodedata.normalize("NFC", text).split())
    return line.encode("utf-8", "replace").decode().replace("\0", "?")


def _same(column: sa.Column[str], text: str) -> sa.ColumnElement[bool]:
    """Equal, or equal but for upper and lower case (which SQLite knows for the Latin alphabet only)."""
    wanted = _composed(text)
    return sa.or_(column == wanted, sa.func.lower(column) == wanted.lower())


def _tags(connection: sa.Connection, set_ids: Sequence[int]) -> dict[int, tuple[str, ...]]:
    out: dict[int, tuple[str, ...]] = {}
    for start in range(0, len(set_ids), 500):
        part = list(set_ids[start : start + 500])
        chosen = sa.select(schema.tag).where(schema.tag.c.set_id.in_(part)).order_by(schema.tag.c.tag)
        for row in connection.execute(chosen):
            out[row.set_id] = (*out.get(row.set_id, ()), row.tag)
    return out


def _logged(row: Any, tags: tuple[str, ...]) -> LoggedSet:
    side = "" if row.side is None else row.side
    texts = (row.label, row.lifter, row.exercise, row.variant, side, row.pain_place, row.note)
    fits = is_texts(texts) and isinstance(row.summary, dict) and isinstance(row.reps, int)
    fits = fits and is_numbers(
        (row.load_kg, row.rir, row.rpe, row.pain, row.pain_at_deg, row.start_s, row.end_s)
    )
    try:
        done_at, day = datetime.fromtimestamp(row.done_at, tz=UTC).astimezone(), date.fromisoformat(row.day)
    except (TypeError, ValueError, OverflowError, OSError):
        fits = False
    if not fits:
        raise LogError(f"set {row.id} in the log is damaged", DAMAGED_HINT)
    columns = {name: getattr(row, name) for name in _AS_STORED}
    return LoggedSet(**columns, done_at=done_at, day=day, session=row.label, tags=tags)
