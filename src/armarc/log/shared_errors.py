"""What measuring adds to the error of a difference: errors that all reps of a set, and all sets of a recording, share.

A body that is no rigid arm and a strap that sits askew make the same error in every rep of a set, and nearly the same
in every set of a recording: the scatter of the reps does not show it. Between recordings the strap is put on anew.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import sqlalchemy as sa

from armarc.log import schema
from armarc.log.reading import reps_by_set
from armarc.log.store import Store
from armarc.reps.summary import fullness

_SETS = schema.training_set
_PART = 500


@dataclass(frozen=True, slots=True, kw_only=True)
class RepsOfSet:
    """Published records of a set's reps, and the recording they were measured in.

    Parameters
    ----------
    recording : int
        A number that sets of one recording share.
    reps : sequence of dict
    """

    recording: int
    reps: Sequence[dict[str, object]]

    @property
    def fullest(self) -> list[dict[str, object]]:
        """Records of the reps that the set's own means go over, as `armarc.reps.summary.full_reps`."""
        full = [fullness(flags) if isinstance(flags := rep.get("quality"), list) else 0 for rep in self.reps]
        return [rep for rep, each in zip(self.reps, full, strict=True) if each == max(full)]

    def error_of(self, key: str) -> float:
        """Root mean square of the reps' standard errors of a measure; 0 where it has none."""
        known = [float(se) for rep in self.reps if isinstance(se := rep.get(f"{key}_se"), int | float)]
        return math.sqrt(float(np.mean(np.square(known)))) if known else 0.0


def reps_with_recordings(store: Store, set_ids: Sequence[int]) -> dict[int, RepsOfSet]:
    """Published rep records of many sets, and which of them come from one recording."""
    reps = reps_by_set(store, set_ids)
    measured_in: dict[int, int] = {}
    with store.reading() as connection:
        for start in range(0, len(set_ids), _PART):
            part = list(set_ids[start : start + _PART])
            chosen = sa.select(_SETS.c.id, _SETS.c.measurement_id).where(_SETS.c.id.in_(part))
            measured_in.update((number, measurement) for number, measurement in connection.execute(chosen))
    return {number: RepsOfSet(recording=measured_in[number], reps=found) for number, found in reps.items()}


def measuring_se(
    first: Sequence[Sequence[RepsOfSet]], second: Sequence[Sequence[RepsOfSet]], key: str
) -> float:
    """Standard error of the difference of two groups' means that no scatter within the groups shows.

    Parameters
    ----------
    first, second : sequence of sequence of RepsOfSet
        The sets of each value that is counted in a group: single sets, sessions, lifters; none empty.
    key : str
        Of a rep's measure.

    Notes
    -----
    Sets of one recording share their error as far as it is equally large; errors of different recordings are taken to
    be independent, which is on the safe side. With w the share of a recording in value i of n, and w̄ its mean over
    them, the scatter between the values holds Σ(Σw² − n·w̄²)·σ²/(n(n − 1)) of the variance of their mean: all of it
    where every value has recordings of its own, nothing where all are from one. That part is not counted twice.
    """
    shares = [_by_recording(group, key) for group in (first, second)]
    total = 0.0
    for recording in shares[0].keys() | shares[1].keys():
        (a, _, error_a), (b, _, error_b) = (each.get(recording, (0.0, 0.0, 0.0)) for each in shares)
        both = min(error_a, error_b) ** 2
        total += (a - b) ** 2 * both + a**2 * (error_a**2 - both) + b**2 * (error_b**2 - both)
    seen = sum(_in_scatter(len(group), each) for group, each in zip((first, second), shares, strict=True))
    return math.sqrt(max(total - seen, 0.0))


def _by_recording(group: Sequence[Sequence[RepsOfSet]], key: str) -> dict[int, tuple[float, float, float]]:
    """Mean share each recording has in the group's values, sum of its squared shares, error of a set there."""
    errors: dict[int, list[float]] = defaultdict(list)
    shares: dict[int, list[float]] = defaultdict(list)
    for sets in group:
        parts: dict[int, float] = defaultdict(float)
        for one in sets:
            errors[one.recording].append(one.error_of(key))
            parts[one.recording] += 1 / len(sets)
        for recording, part in parts.items():
            shares[recording].append(part)
    return {
        recording: (
            sum(shares[recording]) / len(group),
            sum(part**2 for part in shares[recording]),
            math.sqrt(float(np.mean(np.square(found)))),
        )
        for recording, found in errors.items()
    }


def _in_scatter(count: int, shares: Mapping[int, tuple[float, float, float]]) -> float:
    """Variance of the mean of `count` values, by their scatter, that comes from measuring."""
    if count < 2:
        return 0.0
    found = sum((squares - count * mean**2) * error**2 for mean, squares, error in shares.values())
    return found / (count * (count - 1))
