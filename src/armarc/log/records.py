"""Logged sets as JSON-ready objects (schema ``armarc.log/1``) and in words; pain that was said after them."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

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


SCHEMA = "armarc.log/1"
_KEYS = (
    *("id", "done_at", "day", "session", "lifter", "exercise", "variant", "side", "load_kg", "rir", "rpe"),
    *("pain", "pain_place", "pain_at_deg", "note", "tags", "reps", "summary"),
)


def logged_record(entry: LoggedSet, reps: Sequence[dict[str, object]] | None = None) -> dict[str, object]:
    """One set with its labels and summary, and its reps when given."""
    said = {key: getattr(entry, key) for key in _KEYS}
    record: dict[str, Any] = said | {
        "done_at": entry.done_at.isoformat(timespec="seconds"),
        "day": entry.day.isoformat(),
        "tags": list(entry.tags),
    }
    if reps is not None:
        record["rep_records"] = list(reps)
    return record


def reserve_words(entry: LoggedSet) -> str:
    """Reps in reserve in words; from the RPE where only that was given (Zourdos et al. 2016: 10 − RPE)."""
    if entry.rir is not None:
        return f"{entry.rir:g} RIR"
    if entry.rpe is None:
        return ""
    # Below 5 the scale speaks of light effort and names no number of reps.
    return f"RPE {entry.rpe:g} (about {10 - entry.rpe:g} RIR)" if entry.rpe >= 5 else f"RPE {entry.rpe:g}"


def when_words(entry: LoggedSet) -> str:
    """When a set was done by this machine's clock, and the day it belongs to where that is another: the day is that
    of the place where it was lifted, and filters and sessions go by it."""
    moment = entry.done_at.strftime("%Y-%m-%d %H:%M")
    return moment if entry.done_at.date() == entry.day else f"{moment} ({entry.day:%Y-%m-%d} there)"


def starts_words(entry: LoggedSet, between: str = "/") -> str:
    """How many starts were inside the band, of those that were judged; empty without a band."""
    band = entry.summary.get("in_band") or {}
    count, share = band.get("count"), band.get("share")
    if count is None:
        return ""
    return f"{count}{between}{round(count / share) if share else entry.reps}"


def title_of(entry: LoggedSet) -> str:
    """One line that names a set for people."""
    parts = [
        f"Set {entry.id}",
        when_words(entry),
        entry.lifter,
        f"{entry.exercise} ({entry.variant})" if entry.variant else entry.exercise,
    ]
    parts += [f"{entry.side} arm"] if entry.side else []
    parts += [f"{entry.load_kg:.4g} kg"] if entry.load_kg is not None else []
    parts += [f"{entry.reps} rep{'s' * (entry.reps != 1)}", reserve_words(entry), pain_words(entry)]
    return "  ·  ".join(part for part in parts if part)
