"""Between the published records of a result and the rows of the log."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from typing import Any

from armarc.errors import InputError, LogError
from armarc.log.labels import Labels, check_side
from armarc.log.schema import REP_NUMBERS
from armarc.log.store import DAMAGED_HINT
from armarc.measures import columns, row_of
from armarc.reps.types import Rep

_SET_KEYS = ("set", "start_s", "end_s", "summary", "reps")
_REP_KEYS = ("rep", "start_verdict", "quality", *REP_NUMBERS)


def rep_row(record: dict[str, Any]) -> dict[str, Any]:
    """Columns of one rep; keys without a column, and values that do not fit one, go to ``other``."""
    row: dict[str, object] = dict.fromkeys(REP_NUMBERS)
    other = {key: value for key, value in record.items() if key not in _REP_KEYS}
    for name in REP_NUMBERS:
        value = record.get(name)
        if isinstance(value, int | float) and not isinstance(value, bool):
            row[name] = float(value)
        elif value is not None:
            other[name] = value
    verdict = record.get("start_verdict")
    quality = record.get("quality")
    try:
        number = int(record["rep"])
    except (KeyError, TypeError, ValueError):
        raise InputError("a rep of the result has no number", "process the recording again") from None
    return {
        **row,
        "rep": number,
        "start_verdict": None if verdict is None else str(verdict),
        "quality": [str(flag) for flag in quality] if isinstance(quality, list | tuple) else [],
        "other": other,
    }


def rep_record(row: dict[str, object]) -> dict[str, object]:
    """The published record of a rep, from its columns."""
    numbers = {name: row[name] for name in REP_NUMBERS}
    quality, other, verdict = row["quality"], row["other"], row["start_verdict"]
    if not (
        is_numbers(numbers.values())
        and isinstance(quality, list)
        and isinstance(other, dict)
        and is_texts([*quality, "" if verdict is None else verdict])
    ):
        raise LogError(f"rep {row['rep']} of set {row['set_id']} in the log is damaged", DAMAGED_HINT)
    return {
        "rep": row["rep"],
        **numbers,
        "start_verdict": verdict,
        "quality": quality,
        **other,
    }


def rep_of(record: Mapping[str, object]) -> Rep:
    """A logged rep, SI; what an odd result put in a measure's place is left out."""
    return row_of(Rep, {c.key: record[c.key] for c in columns(Rep) if c.fits(record.get(c.key))})


def is_numbers(values: Iterable[object]) -> bool:
    """Whether these are numbers or nothing: a damaged file of SQLite may hold any kind in any column."""
    return all(value is None or isinstance(value, int | float) for value in values)


def is_texts(values: Iterable[object]) -> bool:
    """Whether all of these are text."""
    return all(isinstance(value, str) for value in values)


def set_row(record: dict[str, Any], settings: dict[str, Any], labels: Labels) -> dict[str, Any]:
    """Columns of one set that come from its record, from the settings, and from what the person said."""
    return {
        "number": int(record.get("set") or 1),
        **said_by_result(record, settings),
        **{
            name: getattr(labels, name)
            for name in ("exercise", "variant", "side", "load_kg")
            if getattr(labels, name) is not None
        },
        "rir": labels.rir,
        "rpe": labels.rpe,
        "pain": labels.pain,
        "pain_place": labels.pain_place or "",
        "pain_at_deg": labels.pain_at_deg,
        "note": labels.note or "",
        **measured_part(record),
    }


def measured_part(record: dict[str, Any]) -> dict[str, Any]:
    """Columns of one set that a new measurement replaces."""
    start_s, end_s = float(record["start_s"]), float(record["end_s"])
    if not (math.isfinite(start_s) and math.isfinite(end_s)) or end_s < start_s:
        raise InputError(f"a set of the result runs from {start_s:g} s to {end_s:g} s")
    return {
        "start_s": start_s,
        "end_s": end_s,
        "reps": len(record["reps"]),
        "summary": {**(record.get("summary") or {}), **impulse_of(record)},
        "other": {key: value for key, value in record.items() if key not in _SET_KEYS},
    }


def impulse_of(record: dict[str, Any]) -> dict[str, float]:
    """Impulse of the shoulder moment inside the loaded range, summed over the set, where the result has it."""
    parts = []
    for rep in record["reps"]:
        whole, share = rep.get("moment_impulse_n_m_s"), rep.get("loaded_impulse_pct")
        if isinstance(whole, int | float) and isinstance(share, int | float):
            parts.append(whole * share / 100)
    return {"loaded_range_impulse_n_m_s": round(sum(parts), 3)} if parts else {}


def said_by_result(record: dict[str, object], settings: dict[str, object]) -> dict[str, object]:
    """Exercise, variant, side and load as the result states them, for the set or for all of its sets."""

    def stated(key: str) -> Any:
        value = record.get(key)
        return settings.get(key) if value is None else value

    load_kg = stated("load_kg")
    return {
        "exercise": str(stated("exercise") or "unknown"),
        "variant": str(stated("variant") or ""),
        "side": check_side(stated("side")),
        "load_kg": None if load_kg is None else float(load_kg),
    }


def set_record(row: dict[str, object], reps: list[dict[str, object]]) -> dict[str, object]:
    """The published record of a set."""
    if not (isinstance(row["other"], dict) and isinstance(row["number"], int)):
        raise LogError(f"set {row['id']} in the log is damaged", DAMAGED_HINT)
    return {
        "set": row["number"],
        "start_s": row["start_s"],
        "end_s": row["end_s"],
        "summary": row["summary"],
        "reps": reps,
        **row["other"],
    }
