"""The body for which a logged set's shoulder moment was worked out."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any

import sqlalchemy as sa

from armarc.errors import ArmarcError
from armarc.load.lifter import Lifter

_REFERENCE_BODIES = {
    "body mass not given: reference 73 kg (de Leva 1996": Lifter(),
    "body mass not given: reference 61.9 kg (de Leva 1996": Lifter(sex="female"),
    "body mass not given: reference 73 kg (Dempster": Lifter(segment_table="winter"),
}
"""How results without a body say whose it was, where nobody had stated one."""


def body_of_load(load: Any) -> Lifter | None:
    """The body of a set's ``load``; None where it does not tell.

    Results of older versions hold no body, but say when mass and stature were those of the reference body. A grip or a
    male sex that had been stated beside that is not told; both change nothing or next to nothing.
    """
    if not isinstance(load, Mapping):
        return None
    record = load.get("body")
    if isinstance(record, Mapping):
        try:
            return Lifter.from_record(record)
        except (ArmarcError, TypeError):
            return None
    said = load.get("assumptions")
    if not isinstance(said, list) or "arm lengths estimated from stature" not in said:
        return None
    lines = [line for line in said if isinstance(line, str)]
    if not any(line.startswith("stature not given") for line in lines):
        return None
    return next(
        (body for words, body in _REFERENCE_BODIES.items() if any(line.startswith(words) for line in lines)),
        None,
    )


def keep_bodies(connection: sa.Connection) -> None:
    """Write into every logged load the body it was for, where an older version only hinted at it.

    What cannot be read is left as it is; that is said where it is looked at.
    """
    sets = sa.table("training_set", sa.column("id", sa.Integer), sa.column("other", sa.JSON))
    content = sa.cast(sets.c.other, sa.Text)
    rows = connection.execute(sa.select(sets.c.id, content.label("text")).where(content.like('%"load"%')))
    known = []
    for set_id, text in rows:
        try:
            other = json.loads(text)
        except (TypeError, ValueError, RecursionError):
            continue
        load = other.get("load") if isinstance(other, dict) else None
        body = body_of_load(load)
        if body is not None and isinstance(load, dict) and "body" not in load:
            known.append({"row": set_id, "whole": {**other, "load": {"body": body.record(), **load}}})
    if known:
        changed = sa.update(sets).where(sets.c.id == sa.bindparam("row"))
        connection.execute(changed.values(other=sa.bindparam("whole", type_=sa.JSON)), known)
