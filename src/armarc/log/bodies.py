"""Bodies in a log of an older version."""

from __future__ import annotations

import json

import sqlalchemy as sa


def keep_bodies(connection: sa.Connection) -> None:
    """Write into every logged load the body it was for, where an older version only hinted at it.

    What cannot be read is left as it is; that is said where it is looked at.
    """
    from armarc.load.records import (
        body_of_load,
    )  # hardly any log is that old, and all that measures comes with it

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
