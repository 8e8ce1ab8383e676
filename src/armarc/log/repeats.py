"""Repeated sets in the log as a test–retest study of this lifter and this sensor."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from armarc.errors import UsageError
from armarc.log.measures import SetMeasure
from armarc.log.reading import LoggedSet
from armarc.log.relevance import lifters_spread
from armarc.log.repeatability import (
    Icc,
    PairedError,
    intraclass,
    paired_error,
    sd_interval,
    series_df,
)
from armarc.log.table import SetTable, as_table, first_seen, grouped
from armarc.recording import FloatArray

BETWEEN, WITHIN = "days", "sets"
_FIRST, _SECOND = slice(None, -1), slice(1, None)

ADVICE = (
    "For publishing, Hopkins (2000, Sports Med 30:1-15) advises about 50 people and three trials or more; with a "
    "few sets of one person these are rough."
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Repeatability:
    """How well one measure repeats.

    Parameters
    ----------
    measure : SetMeasure
    across : str
        ``"days"``: session means of one task on different days; ``"sets"``: sets of one session.
    targets : int
        Tasks (lifter, exercise, variant, side, load) with at least two repeats.
    repeats : int
        Values in all.
    error : PairedError or None
        From neighbouring repeats of the same task.
    icc : dict of Icc
        Empty where it cannot be given.
    why_no_icc : str
    icc_caution : str
        What has to be known of the correlation; empty without one.
    worthwhile : float or None
        0.2 × pure SD between lifters, with three lifters or more.
    """

    measure: SetMeasure
    across: str
    targets: int
    repeats: int
    error: PairedError | None
    icc: dict[str, Icc]
    why_no_icc: str
    icc_caution: str
    worthwhile: float | None

    def to_dict(self) -> dict[str, object]:
        """JSON-ready."""
        error = self.error
        record: dict[str, object] = {
            "measure": self.measure.key,
            "unit": self.measure.unit,
            "across": self.across,
            "targets": self.targets,
            "repeats": self.repeats,
            "pairs": 0 if error is None else error.pairs,
        }
        for key in ("mean", "bias", "sd_change", "typical_error", "typical_error_low", "typical_error_high"):
            record[key] = None if error is None else getattr(error, key)
        record["cv_pct"] = None if error is None else error.cv_pct
        for key in ("detectable", "detectable_low", "detectable_high"):
            record[key] = None if error is None else getattr(error, key)
        record["limits_of_agreement"] = None if error is None else list(error.limits)
        record["limits_half_width"] = None if error is None else error.limit_half_width
        record["worthwhile"] = self.worthwhile
        record["icc"] = {
            form: {"value": one.value, "low": one.low, "high": one.high} for form, one in self.icc.items()
        }
        record["why_no_icc"] = self.why_no_icc or None
        record["icc_caution"] = self.icc_caution or None
        return record


def repeatability_of(
    sets: Sequence[LoggedSet] | SetTable,
    measure: SetMeasure,
    *,
    across: str = BETWEEN,
    everyone: SetTable | None = None,
) -> Repeatability:
    """Typical error, limits of agreement and intraclass correlation of one measure.

    Parameters
    ----------
    sets : sequence of LoggedSet, or SetTable with the values of the measure
    measure : SetMeasure
    across : str
        ``"days"`` or ``"sets"``.
    everyone : SetTable or None
        Sets of all lifters, whose spread tells what is worthwhile; None for `sets`.

    Raises
    ------
    UsageError
        For another `across`.
    """
    if across not in (BETWEEN, WITHIN):
        raise UsageError(f"{across!r} is no way to repeat", f"choose {BETWEEN} or {WITHIN}")
    table = as_table(sets, measure)
    series = [values for values in repeated_values(table, measure, across) if len(values) > 1]
    error = _chained_error(series) if sum(len(values) - 1 for values in series) >= 3 else None
    icc, why = _icc(series)
    spread = lifters_spread(table if everyone is None else everyone, measure)
    return Repeatability(
        measure=measure,
        across=across,
        targets=len(series),
        repeats=sum(map(len, series)),
        error=error,
        icc=icc,
        why_no_icc=why,
        icc_caution=_icc_caution(table, len(series)) if icc else "",
        worthwhile=None if spread is None else spread.worthwhile,
    )


def repeated_values(
    sets: Sequence[LoggedSet] | SetTable, measure: SetMeasure, across: str
) -> list[FloatArray]:
    """Values of the same task, in order of time: one list per target."""
    table = as_table(sets, measure).in_time
    known = ~np.isnan(table.of(measure))
    values, session = table.of(measure)[known], table.session[known]
    target = table.target[known]
    # A number for each target and session, counted in order of time; where sets repeat, it is a target of its own.
    both, part = np.unique(target * len(table.sessions) + session, return_inverse=True)
    if across == WITHIN:
        by_target = np.argsort(
            np.argsort(first_seen(target))[np.unique(target, return_inverse=True)[1]], kind="stable"
        )
        return grouped(part[by_target], values[by_target])
    means = np.bincount(part, weights=values) / np.bincount(part)
    seen = first_seen(part)
    return grouped(both[seen] // len(table.sessions), means[seen])


def _chained_error(series: Sequence[FloatArray]) -> PairedError:
    """Error of neighbouring pairs; its interval knows that a value in the middle of a series is used twice.

    One degree of freedom in all goes to the mean change.
    """
    error = paired_error(*(np.concatenate([values[part] for values in series]) for part in (_FIRST, _SECOND)))
    df = sum(series_df(len(values)) for values in series) - 1
    low, high = sd_interval(error.typical_error, max(df, 1.0))
    return replace(error, typical_error_low=low, typical_error_high=high)


def _icc_caution(table: SetTable, targets: int) -> str:
    """An intraclass correlation tells targets apart: say so where these are no people."""
    lifters = len(np.unique(table.lifter))
    if lifters >= targets:
        return ""
    who = "one lifter" if lifters == 1 else f"{lifters} lifters"
    return (
        f"the ICC tells apart {targets} tasks (exercise, variant, side, load) of {who}: tasks that differ much make "
        "it large; it says nothing about telling people apart"
    )


def _icc(series: Sequence[FloatArray]) -> tuple[dict[str, Icc], str]:
    if len(series) < 3:
        return {}, "an intraclass correlation needs three tasks or lifters that were repeated"
    trials = min(map(len, series))
    scores = np.array([values[:trials] for values in series], float)
    if np.ptp(scores) == 0:
        return {}, "all values are equal"
    return intraclass(scores), ""
