"""One measure over sessions: smoothed course, error, and whether anything really changed."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np
from scipy import special

from armarc.log.measures import SetMeasure
from armarc.log.reading import LoggedSet
from armarc.log.repeatability import detectable_change, smallest_worthwhile
from armarc.log.smoothing import lowess, median_slope
from armarc.log.table import SetTable, as_table
from armarc.recording import FloatArray

FEWEST_SESSIONS = 4
"""With fewer no error can be told from the sessions themselves."""

COMPARED_SESSIONS = 3
"""How many sessions at each end are compared."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Point:
    """One session: mean of the measure over its sets."""

    day: date
    value: float
    sets: int
    set_ids: tuple[int, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """The last sessions against the first ones.

    Parameters
    ----------
    sessions : int
        How many at each end.
    difference : float
    low, high : float
        95 % interval from the typical error.
    """

    sessions: int
    difference: float
    low: float
    high: float

    @property
    def is_real(self) -> bool:
        """Whether it is more than the error explains."""
        return self.low > 0 or self.high < 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Trend:
    """Course of one measure.

    Parameters
    ----------
    measure : SetMeasure
    points : tuple of Point
        One per session, in order.
    smooth : tuple of float
        Robust local lines through the points.
    typical_error : float or None
        Error of one session, from the differences of neighbouring sessions.
    detectable : float or None
        Smallest change between two single sessions that is not error (95 %).
    worthwhile : float or None
        Smallest change worth anything.
    worthwhile_from : str
        Where that comes from, or why there is none.
    slope_per_week, slope_low, slope_high : float or None
        Median slope (Theil–Sen) with its 95 % interval.
    change : Change or None
    """

    measure: SetMeasure
    points: tuple[Point, ...]
    smooth: tuple[float, ...]
    typical_error: float | None
    detectable: float | None
    worthwhile: float | None
    worthwhile_from: str
    slope_per_week: float | None
    slope_low: float | None
    slope_high: float | None
    change: Change | None

    def words(self) -> str:
        """The verdict for a lifter."""
        unit, digits = self.measure.unit, max(self.measure.digits, 1)
        if self.change is None:
            need = FEWEST_SESSIONS - len(self.points)
            return (
                f"Too few sessions to tell a change from error: {need} more needed."
                if need > 0
                else "No verdict: the sessions do not differ at all."
            )
        c = self.change
        amount = f"{c.difference:+.{digits}f} {unit}".strip()
        span = f"95 % interval {c.low:+.{digits}f} to {c.high:+.{digits}f}"
        which = f"last {c.sessions} against first {c.sessions} sessions"
        if not c.is_real:
            return f"No real change: {amount} ({span}; {which}) lies inside the error of the sessions."
        size = abs(c.difference)
        if self.worthwhile is None:
            return f"Real change: {amount} ({span}; {which})."
        if size < self.worthwhile:
            return (
                f"Real but small: {amount} ({span}; {which}), below the smallest worthwhile change of "
                f"{self.worthwhile:.{digits}f} {unit}."
            )
        return f"Real and worthwhile change: {amount} ({span}; {which})."


def session_points(sets: Sequence[LoggedSet] | SetTable, measure: SetMeasure) -> tuple[Point, ...]:
    """Mean of the measure per session, in order of days; sessions without a value are left out."""
    table = as_table(sets, measure)
    values = table.of(measure)
    known = ~np.isnan(values)
    session, values, set_id = table.session[known], values[known], table.set_id[known]
    count = np.bincount(session, minlength=len(table.sessions))
    total = np.bincount(session, weights=values, minlength=len(table.sessions))
    by_session = np.split(set_id[np.lexsort((set_id, session))], np.cumsum(count)[:-1])
    return tuple(
        Point(
            day=date.fromisoformat(key.day),
            value=float(total[place] / count[place]),
            sets=int(count[place]),
            set_ids=tuple(by_session[place].tolist()),
        )
        for place, key in enumerate(table.sessions)
        if count[place]
    )


def trend_of(
    points: Sequence[Point],
    measure: SetMeasure,
    *,
    worthwhile: float | None = None,
    between_sd: float | None = None,
) -> Trend:
    """Work out the course of one measure.

    Parameters
    ----------
    points : sequence of Point
        In order.
    measure : SetMeasure
    worthwhile : float or None
        The lifter's own smallest worthwhile change; goes before `between_sd`.
    between_sd : float or None
        SD between lifters, from which the smallest worthwhile change follows.
    """
    values = np.array([point.value for point in points], float)
    days = np.array([point.day.toordinal() for point in points], float)
    error, df = error_from_neighbours(values)
    why = "your own number"
    if worthwhile is None and between_sd is not None and error is not None:
        worthwhile = smallest_worthwhile(between_sd, error) or None
        why = "0.2 × the SD between the lifters of this log without the error (Hopkins 2000)"
    if worthwhile is None:
        why = "not known: it needs several lifters in the log, or your own number (--worthwhile)"
    slope, low, high = _slope(days, values)
    return Trend(
        measure=measure,
        points=tuple(points),
        smooth=tuple(float(v) for v in lowess(days, values)),
        typical_error=error,
        detectable=None if error is None else detectable_change(error),
        worthwhile=worthwhile,
        worthwhile_from=why,
        slope_per_week=slope,
        slope_low=low,
        slope_high=high,
        change=None if error is None else change_between_ends(values, error, df),
    )


def error_from_neighbours(values: FloatArray) -> tuple[float | None, float]:
    """Typical error of one session, and its degrees of freedom.

    SD of neighbouring differences over √2 (Hopkins 2000), taken about zero so that a slow trend adds nearly
    nothing to it; the degrees of freedom match the variance of that estimate for independent errors,
    2(n−1)²/(3n−4) (von Neumann 1941, Ann Math Stat 12:367, from memory).

    Returns
    -------
    tuple
        ``(None, 0)`` with fewer than `FEWEST_SESSIONS` values, or when all are equal.
    """
    n = len(values)
    if n < FEWEST_SESSIONS:
        return None, 0.0
    error = math.sqrt(float(np.mean(np.diff(values) ** 2)) / 2)
    if error <= 0:
        return None, 0.0
    return error, 2 * (n - 1) ** 2 / (3 * n - 4)


def change_between_ends(values: FloatArray, error: float, df: float) -> Change:
    """Mean of the last sessions minus mean of the first ones, with its 95 % interval."""
    m = min(COMPARED_SESSIONS, len(values) // 2)
    difference = float(values[-m:].mean() - values[:m].mean())
    half = float(special.stdtrit(df, 0.975)) * error * math.sqrt(2 / m)
    return Change(sessions=m, difference=difference, low=difference - half, high=difference + half)


def _slope(days: FloatArray, values: FloatArray) -> tuple[float | None, float | None, float | None]:
    if len(values) < FEWEST_SESSIONS or days[-1] <= days[0]:
        return None, None, None
    return median_slope(days / 7, values)
