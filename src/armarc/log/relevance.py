"""The smallest difference worth speaking of: a person's own, that of a group of lifters, or a working limit."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from armarc.log.measures import SetMeasure
from armarc.log.reading import LoggedSet
from armarc.log.repeatability import smallest_worthwhile
from armarc.log.table import SetTable, as_table, grouped
from armarc.recording import FloatArray

WORKING_LIMITS = {"°/s": 3.0, "°": 2.5, "cm": 1.0, "s": 0.1}
"""By unit. Velocity, angle and swing: what the measuring itself is asked to keep to, so that less may be the sensor;
times: a tenth of a second, which nobody paces by. Working limits of our own, no source."""

FEWEST_LIFTERS = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class Relevant:
    """Smallest relevant difference of a measure, in its unit, and where it comes from; None where there is none."""

    value: float | None
    origin: str


def smallest_relevant(
    measure: SetMeasure, everyone: SetTable | None = None, *, own: float | None = None
) -> Relevant:
    """The smallest relevant difference: own number, spread between lifters, working limit of the unit.

    Parameters
    ----------
    measure : SetMeasure
    everyone : SetTable or None
        Sets of all lifters of the log at the same exercise and variant.
    own : float or None
    """
    if own is not None:
        return Relevant(value=own, origin="your own number")
    missing = "it needs three lifters in the log, or your own number (--worthwhile)"
    if everyone is not None and (spread := lifters_spread(everyone, measure)) is not None:
        if spread.worthwhile is not None:
            return Relevant(value=spread.worthwhile, origin=spread.words())
        missing = f"the {spread.lifters} lifters of this log differ no more than their own sessions do"
    limit = WORKING_LIMITS.get(measure.unit)
    if limit is not None:
        return Relevant(value=limit, origin=f"a working limit of our own, no source; {missing}")
    return Relevant(value=None, origin=f"not known: {missing}")


@dataclass(frozen=True, slots=True, kw_only=True)
class LiftersSpread:
    """How much lifters differ beyond their own sessions.

    Parameters
    ----------
    lifters : int
    sessions : float
        Harmonic mean of how many sessions a lifter has.
    between_sd : float
        SD of the lifters' means.
    typical_error : float
        Error of one session.
    """

    lifters: int
    sessions: float
    between_sd: float
    typical_error: float

    @property
    def worthwhile(self) -> float | None:
        """Smallest worthwhile change; None where error is all that is seen between the lifters."""
        return smallest_worthwhile(self.between_sd, self.typical_error, self.sessions) or None

    def words(self) -> str:
        """Where a smallest worthwhile change comes from."""
        return f"0.2 × the SD between {self.lifters} lifters of this log without the error (Hopkins 2000)"


def lifters_spread(sets: Sequence[LoggedSet] | SetTable, measure: SetMeasure) -> LiftersSpread | None:
    """SD between lifters; None with fewer than three lifters, or when nobody has two sessions.

    Notes
    -----
    The variance of lifters' means over k sessions holds TE²/k of error, not TE² (one-way analysis of variance); TE is
    the error of a session, from the differences of each lifter's neighbouring sessions, so that slow progress adds
    nearly nothing to it.
    """
    table = as_table(sets, measure)
    values = table.of(measure)
    known = ~np.isnan(values)
    session = table.session[known]
    count = np.bincount(session, minlength=len(table.sessions))
    total = np.bincount(session, weights=values[known], minlength=len(table.sessions))
    lifter = np.zeros(len(count), np.int64)
    lifter[table.session] = table.lifter
    places = np.flatnonzero(count)
    by_lifter = grouped(lifter[places], total[places] / count[places])
    steps = [np.diff(means) for means in by_lifter]
    if len(by_lifter) < FEWEST_LIFTERS or not any(map(len, steps)):
        return None
    return LiftersSpread(
        lifters=len(by_lifter),
        sessions=1 / float(np.mean([1 / len(means) for means in by_lifter])),
        between_sd=float(np.std([np.mean(means) for means in by_lifter], ddof=1)),
        typical_error=math.sqrt(float(np.mean(np.concatenate(steps) ** 2)) / 2),
    )


def holm(p_values: FloatArray) -> FloatArray:
    """P values corrected for how many there are, by Holm's steps (Holm 1979, Scand J Stat 6:65); NaN stays NaN.

    Parameters
    ----------
    p_values : ndarray, shape (n,)
    """
    return _by_size(p_values, lambda p: np.maximum.accumulate(p * np.arange(len(p), 0, -1)))


def false_discovery(p_values: FloatArray) -> FloatArray:
    """P values corrected so that of what passes a level no larger share is false on average; NaN stays NaN.

    Benjamini & Hochberg 1995, J R Stat Soc B 57:289: for a list of what changed, where Holm's correction leaves out
    true changes beside others. Where nothing changed, both are alike.

    Parameters
    ----------
    p_values : ndarray, shape (n,)
    """
    return _by_size(
        p_values, lambda p: np.minimum.accumulate((p * len(p) / np.arange(1, len(p) + 1))[::-1])[::-1]
    )


def _by_size(p_values: FloatArray, corrected: Callable[[FloatArray], FloatArray]) -> FloatArray:
    """What is known, smallest first, corrected, at most 1 and back in its place."""
    p = np.asarray(p_values, float)
    out = np.full(p.shape, np.nan)
    known = np.flatnonzero(~np.isnan(p))
    order = known[np.argsort(p[known], kind="stable")]
    out[order] = np.minimum(corrected(p[order]), 1.0)
    return out
