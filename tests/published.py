"""Reps for tests, from the keys people read."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

from armarc.measures import columns
from armarc.reps.types import Rep


def rep_of(record: dict[str, Any]) -> SimpleNamespace:
    """What a summary reads of a `Rep`, from a record with published keys; what is not said is None."""
    fields: dict[str, Any] = {}
    for column in columns(Rep):
        value = record.get(column.key)
        number = column.kind == "number" and value is not None
        fields[column.field.removeprefix("phases.")] = value / column.unit.factor if number else value
    fields["quality"] = tuple(record.get("quality") or ())
    phases = SimpleNamespace(
        **{name: fields[name] for name in ("start_s", "top_start_s", "top_end_s", "end_s")}
    )
    return SimpleNamespace(**fields, phases=phases)
