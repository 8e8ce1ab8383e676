"""What counts as one value in a comparison: sets of a session, and sessions of a lifter, resemble each other."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from armarc.log.measures import SetMeasure
from armarc.log.table import IntArray, SetTable
from armarc.recording import FloatArray


@dataclass(frozen=True, slots=True)
class Clusters:
    """Means of a measure over lifters or sessions.

    Parameters
    ----------
    keys : list
        Name of the lifter or number of the session, in the order of sessions.
    means : ndarray, shape (n,)
        A lifter's is the mean of their sessions' means.
    set_ids : list of list of int
        Sets with a value, of each.
    """

    keys: list[str | int]
    means: FloatArray
    set_ids: list[list[int]]

    def shared_with(self, other: Clusters) -> tuple[FloatArray, FloatArray]:
        """Means of both where both have one, in the order of the first, each of shape (n,)."""
        places = {key: place for place, key in enumerate(other.keys)}
        both = [(mine, places[key]) for mine, key in enumerate(self.keys) if key in places]
        return self.means[[a for a, _ in both]], other.means[[b for _, b in both]]


def single_sets(table: SetTable, measure: SetMeasure) -> Clusters:
    """Every set with a value by itself."""
    values = table.of(measure)
    known = ~np.isnan(values)
    ids = table.set_id[known].tolist()
    return Clusters(list(ids), values[known], [[number] for number in ids])


def clusters_of(table: SetTable, measure: SetMeasure, level: str) -> Clusters:
    """Means by session or by lifter.

    Parameters
    ----------
    table : SetTable
        With the values of the measure; sets without one are left out.
    measure : SetMeasure
    level : str
        One of `LEVELS`.
    """
    values = table.of(measure)
    known = ~np.isnan(values)
    session, values, set_id = table.session[known], values[known], table.set_id[known]
    places, first, part = np.unique(session, return_index=True, return_inverse=True)
    means = np.bincount(part, weights=values, minlength=len(places)) / np.bincount(part)
    if level == "session":
        ids = [table.sessions[place].id for place in places.tolist()]
        return Clusters(list(ids), means, _grouped(part, set_id, len(places)))
    lifter = table.lifter[known][first]
    _, earliest, who = np.unique(lifter, return_index=True, return_inverse=True)
    order = np.argsort(earliest)  # as their first sessions follow each other
    who = np.argsort(order)[who]
    names = [table.sessions[places[place]].lifter for place in earliest[order].tolist()]
    means = np.bincount(who, weights=means, minlength=len(names)) / np.bincount(who, minlength=len(names))
    return Clusters(list(names), means, _grouped(who[part], set_id, len(names)))


def _grouped(part: IntArray, set_id: IntArray, count: int) -> list[list[int]]:
    numbers = set_id[np.argsort(part, kind="stable")].tolist()
    ends = np.cumsum(np.bincount(part, minlength=count)).tolist()
    return [numbers[first:end] for first, end in zip([0, *ends], ends, strict=False)]
