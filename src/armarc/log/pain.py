"""Pain that was said after sets: found again, and the caution that belongs in front of it."""

from __future__ import annotations

from collections.abc import Sequence

import sqlalchemy as sa

from armarc.errors import UsageError
from armarc.exercises import find_exercise
from armarc.log import schema
from armarc.log.labels import CAUTION
from armarc.log.reading import Filter, LoggedSet, sets_query
from armarc.log.store import Store

MOST_NAMED = 5


def caution_for(exercise: str) -> str:
    """The caution that goes in front of a set with pain: the general one, then the exercise's own."""
    try:
        own = find_exercise(exercise).caution
    except UsageError:
        own = ""  # an exercise that the catalogue has no more
    return f"{CAUTION} {own}".strip()


def has_pain(entry: LoggedSet) -> bool:
    """Whether pain was said after a set, by a number or a tag."""
    return bool(entry.pain) or "pain" in entry.tags


def with_pain(store: Store, set_ids: Sequence[int]) -> set[int]:
    """Those of these sets after which pain was said."""
    tagged = sa.select(schema.tag.c.set_id).where(schema.tag.c.tag == "pain")
    said = sa.or_(schema.training_set.c.pain > 0, schema.training_set.c.id.in_(tagged))
    found: set[int] = set()
    with store.reading() as connection:
        for start in range(0, len(set_ids), 500):
            where = Filter(ids=tuple(set_ids[start : start + 500]))
            chosen = sets_query(where, schema.training_set.c.id).where(said)
            found.update(connection.execute(chosen).scalars())
    return found


def pain_words(entry: LoggedSet) -> str:
    """Pain that was said after a set; empty where there was none."""
    if not entry.pain:
        return ""
    place = f", {entry.pain_place}" if entry.pain_place else ""
    at = f", at {entry.pain_at_deg:.0f}°" if entry.pain_at_deg is not None else ""
    return f"pain {entry.pain:g} of 10{place}{at}"


def sentence_of(painful: Sequence[LoggedSet]) -> str:
    """Which sets had pain, newest first, in one sentence; empty for none."""
    if not painful:
        return ""
    named = [f"set {one.id} ({one.day.day} {one.day:%b}, {pain_words(one)})" for one in painful[:MOST_NAMED]]
    more = len(painful) - len(named)
    count = f"{len(painful)} set{'s' * (len(painful) != 1)} with pain: "
    return count + "; ".join(named) + (f"; and {more} more (armarc log list --pain)" if more else "") + "."
