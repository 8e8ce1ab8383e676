"""Personal bests: loads at clean reps, and load × clean reps, from what was done and nothing else."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from armarc.log.measures import SetMeasure, find_measure
from armarc.log.reading import LoggedSet
from armarc.log.repeatability import detectable_change, series_df
from armarc.log.table import SetLabels, SetTable, as_table
from armarc.log.trend import FEWEST_SESSIONS, error_from_neighbours
from armarc.recording import FloatArray

CLEAN, LOAD = find_measure("clean_reps"), find_measure("load_kg")
WORK = SetMeasure(key="load_clean_reps_kg", title="Load × clean reps", unit="kg", digits=0)
BEST = (CLEAN, LOAD)
"""What bests are made of."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Best:
    """The best set of one measure at one task.

    Parameters
    ----------
    measure : SetMeasure
        `CLEAN` (at the load of `entry`) or `WORK`.
    entry : SetLabels
        The set it was done in; the first one that reached the value.
    value : float
    second : float or None
        Best value of the other sessions: at the same load for `CLEAN`.
    error : float or None
        Typical error of a session's best, robust; None with fewer than four sessions.
    sets, sessions : int
        How many it was chosen from.
    """

    measure: SetMeasure
    entry: SetLabels
    value: float
    second: float | None
    error: float | None
    sets: int
    sessions: int

    @property
    def inside_error(self) -> bool | None:
        """Whether it is no further above the other sessions than error explains; None where that is not known."""
        if self.second is None or self.error is None:
            return None
        return self.value - self.second <= detectable_change(self.error, series_df(self.sessions))

    @property
    def words(self) -> str:
        """What to think of it."""
        known = {None: "error not known yet", True: "inside the error", False: "beyond the error"}
        return known[self.inside_error]


def personal_bests(sets: Sequence[LoggedSet] | SetTable) -> list[Best]:
    """Bests per lifter, exercise, variant and side, the newest first.

    A load with its clean reps is left out where a heavier one was lifted for as many, and of
    a task with a single set there is no best yet.

    Parameters
    ----------
    sets : sequence of LoggedSet, or SetTable
        With the values of `BEST`. Sets whose clean reps are not known (measured before there were any) take no part.
    """
    table = as_table(sets, *BEST)
    lifts = table.take(~np.isnan(table.of(CLEAN))).by_lift()
    found = [best for one in lifts if len(one) >= 2 for best in _of_lift(one)]
    return sorted(found, key=lambda best: best.entry.done_at, reverse=True)


def unknown_words(sets: Sequence[LoggedSet] | SetTable) -> str:
    """Which sets say nothing of clean reps, because they were measured before those were told; empty for none."""
    unknown = int(np.isnan(as_table(sets, CLEAN).of(CLEAN)).sum())
    if not unknown:
        return ""
    sets_take = "1 set takes" if unknown == 1 else f"{unknown} sets take"
    return (
        f"{sets_take} no part, measured before there were clean reps; "
        "`armarc log reprocess --all` measures again what has its recording."
    )


def _of_lift(table: SetTable) -> list[Best]:
    load = table.of(LOAD)
    out: list[Best] = []
    most = 0.0
    for kg in [*np.unique(load[~np.isnan(load)])[::-1].tolist(), math.nan]:
        at_load = table.take(np.isnan(load) if math.isnan(kg) else load == kg)
        # No load stated is no load to compare with: it has a best of its own.
        if not len(at_load):
            continue
        best = _best(at_load, CLEAN, at_load.of(CLEAN))
        if best.value > (0 if math.isnan(kg) else most):
            out.append(best)
            most = max(most, best.value)
    loaded = table.take(~np.isnan(load))
    work = loaded.of(CLEAN) * loaded.of(LOAD)
    if len(loaded) and work.max() > 0:
        out.append(_best(loaded, WORK, work))
    return out


def _best(table: SetTable, measure: SetMeasure, values: FloatArray) -> Best:
    """The best of some sets of one lift, oldest first."""
    best = int(np.argmax(values))
    others = values[table.session != table.session[best]]
    different, first, part = np.unique(table.session, return_index=True, return_inverse=True)
    most = np.full(len(different), -math.inf)
    np.maximum.at(most, part, values)
    by_session = most[np.argsort(first)].tolist()
    return Best(
        measure=measure,
        entry=table.labels(best),
        value=float(values[best]),
        second=float(others.max()) if len(others) else None,
        error=_error(by_session),
        sets=len(table),
        sessions=len(by_session),
    )


def _error(by_session: list[float]) -> float | None:
    """Typical error of a session's best; none at all where all sessions agree to the rep."""
    if len(by_session) >= FEWEST_SESSIONS and len(set(by_session)) == 1:
        return 0.0
    return error_from_neighbours(np.array(by_session))
