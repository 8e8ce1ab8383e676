"""Logged sets as JSON-ready objects, schema ``armarc.log/1``."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from armarc.log.pain import pain_words
from armarc.log.reading import LoggedSet

SCHEMA = "armarc.log/1"


def logged_record(entry: LoggedSet, reps: Sequence[dict[str, Any]] | None = None) -> dict[str, Any]:
    """One set with its labels and summary, and its reps when given."""
    record: dict[str, Any] = {
        "id": entry.id,
        "done_at": entry.done_at.isoformat(timespec="seconds"),
        "day": entry.day.isoformat(),
        "session": entry.session,
        "lifter": entry.lifter,
        "exercise": entry.exercise,
        "variant": entry.variant,
        "side": entry.side,
        "load_kg": entry.load_kg,
        "rir": entry.rir,
        "rpe": entry.rpe,
        "pain": entry.pain,
        "pain_place": entry.pain_place,
        "pain_at_deg": entry.pain_at_deg,
        "note": entry.note,
        "tags": list(entry.tags),
        "reps": entry.reps,
        "summary": entry.summary,
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


def title_of(entry: LoggedSet) -> str:
    """One line that names a set for people."""
    parts = [
        f"Set {entry.id}",
        entry.done_at.strftime("%Y-%m-%d %H:%M"),
        entry.lifter,
        f"{entry.exercise} ({entry.variant})" if entry.variant else entry.exercise,
    ]
    parts += [f"{entry.side} arm"] if entry.side else []
    parts += [f"{entry.load_kg:.4g} kg"] if entry.load_kg is not None else []
    parts += [f"{entry.reps} rep{'s' * (entry.reps != 1)}", reserve_words(entry), pain_words(entry)]
    return "  ·  ".join(part for part in parts if part)
