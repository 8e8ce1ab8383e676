"""Look through a log for damage."""

from __future__ import annotations

import time
from dataclasses import dataclass

import sqlalchemy as sa

from armarc.errors import LogError
from armarc.log import schema
from armarc.log.reading import Filter, get_set, list_sets, reps_by_set
from armarc.log.store import Store
from armarc.log.vault import FolderVault, is_kept_name, sha256_of

_LEFTOVER_AGE_S = 3600.0
_AT_ONCE = 200


@dataclass(frozen=True, slots=True, kw_only=True)
class Checked:
    """What was looked at and what was found.

    ``problems`` are damage; ``remarks`` are harmless, such as recordings kept by a program that was ended
    before it wrote its sets.
    """

    sets: int
    reps: int
    recordings: int
    problems: tuple[str, ...]
    remarks: tuple[str, ...]


def check_log(store: Store) -> Checked:
    """Check the database, every reference in it, and every kept recording against its hash."""
    problems: list[str] = []
    remarks: list[str] = []
    table = schema.recording
    with store.reading() as connection:
        if connection.dialect.name == "sqlite":
            found = connection.exec_driver_sql("PRAGMA integrity_check").scalars().all()
            problems += [f"database: {line}" for line in found if line != "ok"]
            broken = connection.exec_driver_sql("PRAGMA foreign_key_check").all()
            problems += [f"{row[0]} row {row[1]} points to a {row[2]} that is not there" for row in broken]
        count = {
            t.name: connection.execute(sa.select(sa.func.count()).select_from(t)).scalar_one()
            for t in (schema.training_set, schema.rep, table)
        }
        counted = (
            sa.select(schema.training_set.c.id, schema.training_set.c.reps, sa.func.count(schema.rep.c.rep))
            .outerjoin(schema.rep, schema.rep.c.set_id == schema.training_set.c.id)
            .group_by(schema.training_set.c.id, schema.training_set.c.reps)
        )
        numbers = []
        for set_id, said, there in connection.execute(counted):
            numbers.append(set_id)
            if said != there:
                problems.append(f"set {set_id} should have {said} reps, {there} are there")
        kept = connection.execute(
            sa.select(table.c.id, table.c.sha256, table.c.suffix, table.c.file_name, table.c.kept)
        )
        rows = kept.all()
    problems += _unreadable(store, numbers)
    for row in rows:
        if not row.kept:
            continue
        if not is_kept_name(row.sha256, row.suffix):
            problems.append(f"recording row {row.id} names {row.sha256[:80]!r}, which armarc never wrote")
            continue
        content = store.vault.get(row.sha256, row.suffix)
        if content is None:
            problems.append(f"the recording {row.file_name} ({row.sha256[:12]}) is missing")
        elif sha256_of(content) != row.sha256:
            problems.append(f"the recording {row.file_name} ({row.sha256[:12]}) was changed or damaged")
    strays = store.vault.names() - {row.sha256 for row in rows}
    if strays:
        remarks.append(f"{len(strays)} kept recordings belong to no set (harmless)")
    if isinstance(store.vault, FolderVault):
        old = [p for p in store.vault.leftovers() if time.time() - p.stat().st_mtime > _LEFTOVER_AGE_S]
        if old:
            remarks.append(f"{len(old)} half-written files of programs that were ended (harmless)")
    return Checked(
        sets=count["training_set"],
        reps=count["rep"],
        recordings=count["recording"],
        problems=tuple(problems),
        remarks=tuple(remarks),
    )


def _unreadable(store: Store, set_ids: list[int]) -> list[str]:
    """What is said of the sets whose content is not what armarc writes, which the database cannot know."""
    problems = []
    for start in range(0, len(set_ids), _AT_ONCE):
        part = set_ids[start : start + _AT_ONCE]
        if _readable(store, part):
            continue
        for set_id in part:
            try:
                get_set(store, set_id)
                reps_by_set(store, [set_id])
            except LogError as error:
                problems.append(f"set {set_id}: {error.message}")
    return problems


def _readable(store: Store, set_ids: list[int]) -> bool:
    """Whether all of these sets can be read: many at once, as one by one takes five times as long."""
    try:
        there = {
            entry.id
            for removed in (False, True)
            for entry in list_sets(store, Filter(ids=tuple(set_ids), removed=removed))
        }
        reps_by_set(store, set_ids)
    except LogError:
        return False
    return there == set(set_ids)
