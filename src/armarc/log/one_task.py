"""One task of a log's many, which a trend keeps to, and what change of it is worth speaking of."""

from __future__ import annotations

from typing import Any

import numpy as np

from armarc.log.measures import SetMeasure
from armarc.log.reading import Filter
from armarc.log.relevance import Relevant, smallest_relevant
from armarc.log.store import Store
from armarc.log.table import SetTable, read_table


def main_task(sets: SetTable, *, one_load: bool) -> SetTable:
    """Sets of the one lifter, exercise, variant and arm with most sets, and of such the newest.

    Parameters
    ----------
    sets : SetTable
    one_load : bool
        Whether the load is part of the task.

    Returns
    -------
    SetTable
        All of them where there are none.
    """
    if not len(sets):
        return sets
    numbers, first, where, counts = np.unique(
        sets.target, return_index=True, return_inverse=True, return_counts=True
    )
    newest = np.full(len(numbers), -np.inf)
    np.maximum.at(newest, where, sets.done_s)
    found: dict[tuple[Any, ...], list[int]] = {}
    for place, row in enumerate(first.tolist()):
        one = sets.labels(row)
        task = (one.lifter, one.exercise, one.variant, one.side)
        found.setdefault((*task, one.load_kg) if one_load else task, []).append(place)
    most = max(
        found, key=lambda one: (int(counts[found[one]].sum()), float(newest[found[one]].max()), str(one))
    )
    return sets.take(np.isin(sets.target, numbers[found[most]]))


def relevant_for(
    store: Store,
    chosen: SetTable,
    measure: SetMeasure,
    own: float | None = None,
    everyone: SetTable | None = None,
) -> Relevant:
    """Smallest relevant change for a task: what lifters differ by is asked of the whole log, not of a filter.

    Parameters
    ----------
    store : Store
    chosen : SetTable
        Sets of one task.
    measure : SetMeasure
    own : float or None
        A number of the lifter's own, in the measure's unit.
    everyone : SetTable or None
        The whole log with that measure, where it has been read already.
    """
    if own is not None or not len(chosen):
        return smallest_relevant(measure, own=own)
    task = chosen.tasks[int(chosen.task[0])]
    if everyone is None:
        everyone = read_table(store, Filter(exercise=task.exercise, variant=task.variant), measure)
    else:
        alike = [
            _is_name(one.exercise, task.exercise) and _is_name(one.variant, task.variant)
            for one in everyone.tasks
        ]
        everyone = everyone.take(np.array(alike)[everyone.task])
    return smallest_relevant(measure, everyone)


def _is_name(name: str, wanted: str) -> bool:
    """As a filter compares them: SQLite tells upper from lower case of the Latin alphabet only, as bytes do."""
    return name == wanted or name.encode().lower() == wanted.lower().encode()
