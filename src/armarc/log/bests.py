"""Personal bests, each among sets of the same task and load."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from armarc.log.measures import SetMeasure, find_measure
from armarc.log.reading import LoggedSet
from armarc.log.table import SetLabels, SetTable, as_table

BEST = tuple(map(find_measure, ("rom_deg", "mean_concentric_deg_s", "reps")))


@dataclass(frozen=True, slots=True, kw_only=True)
class Best:
    """The best set of one measure at one task and load.

    Parameters
    ----------
    measure : SetMeasure
    entry : SetLabels
        The set it was done in; the first one that reached the value.
    value : float
    second : float or None
        Next best value from another session.
    sets : int
        How many sets it was chosen from.
    """

    measure: SetMeasure
    entry: SetLabels
    value: float
    second: float | None
    sets: int


def personal_bests(sets: Sequence[LoggedSet] | SetTable, *, fewest_sets: int = 2) -> list[Best]:
    """Bests per lifter, exercise, variant, side and load, the newest first.

    Parameters
    ----------
    sets : sequence of LoggedSet, or SetTable
        With the values of `BEST`.
    fewest_sets : int
        Tasks with fewer sets have no best yet.
    """
    table = as_table(sets, *BEST).in_time
    order = np.argsort(table.target, kind="stable")
    borders = np.flatnonzero(np.diff(table.target[order])) + 1
    groups = np.split(order, borders) if len(order) else []
    out = []
    for group in sorted(groups, key=lambda rows: int(rows[0])):
        if len(group) < fewest_sets:
            continue
        for measure in BEST:
            values = table.of(measure)[group]
            if np.isnan(values).all():
                continue
            best = int(np.nanargmax(values))
            others = values[table.session[group] != table.session[group[best]]]
            others = others[~np.isnan(others)]
            out.append(
                Best(
                    measure=measure,
                    entry=table.labels(int(group[best])),
                    value=float(values[best]),
                    second=float(others.max()) if len(others) else None,
                    sets=int(np.count_nonzero(~np.isnan(values))),
                )
            )
    return sorted(out, key=lambda best: best.entry.done_at, reverse=True)
