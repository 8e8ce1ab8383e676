"""Edit and remove logged sets; every change is written down and can be undone."""

from __future__ import annotations

import contextlib
import time
import uuid
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import sqlalchemy as sa

from armarc.errors import LogError, UsageError
from armarc.log import schema
from armarc.log.labels import SAID_AFTER, Labels
from armarc.log.location import author_of, is_own
from armarc.log.measuring import chests_in_use
from armarc.log.store import Store
from armarc.log.writing import apply_state, record_change, session_for, state_of


@dataclass(frozen=True, slots=True, kw_only=True)
class Undone:
    """What was taken back: the action, who had made it and when, the sets it touched, and what they have again.

    ``values`` are the fields of the first set whose value came back: what stood there, and what stands there now.
    """

    action: str
    author: str
    made_at: float
    set_ids: tuple[int, ...]
    values: dict[str, tuple[Any, Any]]


def edit_sets(
    store: Store,
    set_ids: Sequence[int],
    labels: Labels,
    *,
    untag: Sequence[str] = (),
    clear: Sequence[str] = (),
    when: datetime | None = None,
) -> int:
    """Change labels of sets; what `labels` leaves at None stays as it is.

    Parameters
    ----------
    store : Store
    set_ids : sequence of int
    labels : Labels
        ``tags`` are added.
    untag : sequence of str
        Tags to take away.
    clear : sequence of str
        Fields to empty: ``variant``, ``side``, ``load_kg``, ``rir``, ``rpe``, ``pain`` (with its
        place and angle), ``pain_at_deg``, ``note``.
    when : datetime or None
        New time of the first set; the others keep their distance to it.

    Returns
    -------
    int
        How many sets really changed.

    Raises
    ------
    UsageError, LogError
    """
    said = labels.checked()
    emptied = _emptied(clear)
    names = ("exercise", "variant", "side", "load_kg", *SAID_AFTER)
    new = {name: getattr(said, name) for name in names if getattr(said, name) is not None}
    if both := sorted(set(new) & set(emptied)):
        raise UsageError(f"{both[0]} is both set and cleared", "do one of them")
    batch = uuid.uuid4().hex
    changed = 0
    with store.writing() as connection:
        rows = {set_id: state_of(connection, set_id) for set_id in set_ids}
        shift_s = (
            0.0 if when is None or not rows else when.timestamp() - min(r["done_at"] for r in rows.values())
        )
        for set_id, before in rows.items():
            after = {**before, **new, **emptied, "done_at": before["done_at"] + shift_s}
            after["tags"] = sorted({*before["tags"], *said.tags} - {name.casefold() for name in untag})
            if said.lifter is not None or said.session is not None or when is not None:
                after["session_id"] = session_for(
                    connection, before["session_id"], said, after["done_at"], when
                )
            changed += record_change(connection, batch, "edit", set_id, before, after)
    return changed


def remove_sets(store: Store, set_ids: Sequence[int]) -> int:
    """Take sets out of every list and count; `undo` brings them back. Returns how many were removed."""
    batch, now, count = uuid.uuid4().hex, time.time(), 0
    with store.writing() as connection:
        for set_id in set_ids:
            before = state_of(connection, set_id)
            if before["removed_at"] is None:
                after = {**before, "removed_at": now}
                count += record_change(connection, batch, "remove", set_id, before, after)
    return count


def undo(store: Store, *, anyone: bool = False) -> Undone | None:
    """Take back the last change of one's own that still stands; None when there is none.

    Parameters
    ----------
    store : Store
    anyone : bool
        The last change of anybody.

    Raises
    ------
    LogError
        Somebody has changed the same since; nothing was taken back. Tags of others stay as they are.
    """
    table = schema.change
    with store.writing() as connection:
        me = author_of(connection)
        standing = connection.execute(
            sa.select(table.c.batch, table.c.author)
            .where(table.c.undone_at.is_(None))
            .order_by(table.c.id.desc())
        )
        last = next((row.batch for row in standing if anyone or is_own(row.author, me, connection)), None)
        standing.close()
        if last is None:
            return None
        rows = connection.execute(
            sa.select(table).where(table.c.batch == last).order_by(table.c.id.desc())
        ).all()
        for row in rows:
            _refuse_changed_since(connection, row)
            before = dict(row.before)
            if "tags" in before:
                now = set(state_of(connection, row.set_id)["tags"])
                was, became = set(before["tags"]), set(row.after["tags"])
                before["tags"] = sorted((now - (became - was)) | (was - became))
            apply_state(connection, row.set_id, before)
        connection.execute(sa.update(table).where(table.c.batch == last).values(undone_at=time.time()))
        ids = tuple(sorted({row.set_id for row in rows}))
        first = rows[-1]
        return Undone(
            action=first.action,
            author=first.author,
            made_at=first.made_at,
            set_ids=ids,
            values={key: (first.after.get(key), value) for key, value in first.before.items()},
        )


def _refuse_changed_since(connection: sa.Connection, row: sa.Row[Any]) -> None:
    table = schema.change
    later = connection.execute(
        sa.select(table.c.before, table.c.author)
        .where(table.c.set_id == row.set_id, table.c.id > row.id)
        .where(table.c.undone_at.is_(None), table.c.batch != row.batch)
        .order_by(table.c.id)
    ).all()
    for other in later:
        if both := sorted((set(other.before) & set(row.before)) - {"tags"}):
            raise LogError(
                f"set {row.set_id} cannot be taken back: {both[0]} was changed since"
                + (f" by {other.author}" if other.author else ""),
                "take that back first (armarc log undo --anyone), or edit the set",
            )


def others_changes(store: Store) -> int:
    """How many changes of others still stand."""
    table = schema.change
    with store.reading() as connection:
        me = author_of(connection)
        rows = connection.execute(sa.select(table.c.batch, table.c.author).where(table.c.undone_at.is_(None)))
        return len({row.batch for row in rows if not is_own(row.author, me, connection)})


class _OnlyLooking(Exception):
    """Ends a transaction that is not to be kept."""


def purge_removed(store: Store, *, anyone: bool = False, dry_run: bool = False) -> tuple[int, int, int]:
    """Delete removed sets for good, and recordings no set needs any more; cannot be undone.

    Parameters
    ----------
    store : Store
    anyone : bool
        Also sets that somebody else has added or removed.
    dry_run : bool
        Only count; nothing is deleted.

    Returns
    -------
    tuple of int
        Sets and recordings deleted, and removed sets that stay because they are somebody else's.
    """
    sets, measured, kept = schema.training_set, schema.measurement, schema.recording
    with contextlib.suppress(_OnlyLooking), store.writing() as connection:
        owners = _owners_of_removed(connection)
        me = author_of(connection)
        gone = [
            set_id
            for set_id, names in owners.items()
            if anyone or all(is_own(name, me, connection) for name in names)
        ]
        for start in range(0, len(gone), 500):
            part = gone[start : start + 500]
            connection.execute(sa.delete(sets).where(sets.c.id.in_(part)))
            # The journal of a deleted set holds its numbers and notes: it goes too.
            connection.execute(sa.delete(schema.change).where(schema.change.c.set_id.in_(part)))
        used = sa.select(sets.c.measurement_id)
        connection.execute(sa.delete(measured).where(measured.c.id.not_in(used)))
        needed = sa.select(measured.c.recording_id)
        chests = chests_in_use(connection)
        unmeasured = sa.select(kept.c.id, kept.c.sha256, kept.c.suffix).where(kept.c.id.not_in(needed))
        orphans = [row for row in connection.execute(unmeasured) if row.sha256 not in chests]
        connection.execute(sa.delete(kept).where(kept.c.id.in_([row.id for row in orphans])))
        in_use = sa.select(sets.c.session_id)
        connection.execute(sa.delete(schema.session).where(schema.session.c.id.not_in(in_use)))
        if dry_run:
            raise _OnlyLooking
    if dry_run:
        return len(gone), len(orphans), len(owners) - len(gone)
    # The files go after the rows are gone for certain, and only if nobody has added them again since.
    with store.writing() as connection:
        again = set(connection.execute(sa.select(kept.c.sha256)).scalars())
        for row in orphans:
            if row.sha256 not in again:
                store.vault.drop(row.sha256, row.suffix)
    return len(gone), len(orphans), len(owners) - len(gone)


def _owners_of_removed(connection: sa.Connection) -> dict[int, set[str]]:
    """Removed sets, each with who added its recording and who removed it."""
    sets, measured, kept, change = (
        schema.training_set,
        schema.measurement,
        schema.recording,
        schema.change,
    )
    rows = connection.execute(
        sa.select(sets.c.id, kept.c.added_by)
        .join(measured, measured.c.id == sets.c.measurement_id)
        .join(kept, kept.c.id == measured.c.recording_id)
        .where(sets.c.removed_at.is_not(None))
    ).all()
    removers = connection.execute(
        sa.select(change.c.set_id, change.c.author, change.c.after)
        .join(sets, sets.c.id == change.c.set_id)
        .where(sets.c.removed_at.is_not(None), change.c.undone_at.is_(None))
        .order_by(change.c.id)
    )
    removed_by = {row.set_id: row.author for row in removers if "removed_at" in row.after}
    return {row.id: {row.added_by, removed_by.get(row.id, row.added_by)} for row in rows}


def _emptied(clear: Sequence[str]) -> dict[str, object]:
    empty: dict[str, object] = {
        "variant": "",
        "note": "",
        "side": None,
        "load_kg": None,
        "rir": None,
        "rpe": None,
        "pain": None,
        "pain_at_deg": None,
    }
    aliases = {"load": "load_kg"}
    out = {}
    for name in clear:
        key = aliases.get(name, name)
        if key not in empty:
            raise UsageError(f"{name!r} cannot be cleared", f"choose from: {', '.join(empty)}")
        out[key] = empty[key]
    if "pain" in out:
        out |= {"pain_place": "", "pain_at_deg": None}
    return out
