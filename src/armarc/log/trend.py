"""One measure over sessions: smoothed course, error, and whether anything really changed."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np

from armarc.log.effects import digits_for, signed
from armarc.log.measures import SetMeasure
from armarc.log.reading import LoggedSet
from armarc.log.relevance import Relevant, smallest_relevant
from armarc.log.repeatability import detectable_change, series_df
from armarc.log.serial import change_of_ends, widening
from armarc.log.smoothing import lowess, median_slope
from armarc.log.table import SetTable, as_table
from armarc.recording import FloatArray

FEWEST_SESSIONS = 4
"""With fewer no error can be told from the sessions themselves."""

COMPARED_SESSIONS = 3
"""How many sessions at each end are compared."""

ODD = 3.0
"""Neighbours that differ by more robust standard deviations than this are odd: one in 400 of normal ones."""


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
        95 % interval; it allows for neighbouring sessions that resemble each other (`armarc.log.serial`).
    p : float
        Of no change, from the same.
    """

    sessions: int
    difference: float
    low: float
    high: float
    p: float

    @property
    def is_real(self) -> bool:
        """Whether it is more than the error explains."""
        return self.low > 0 or self.high < 0

    def is_within(self, relevant: float | None) -> bool:
        """Whether the whole interval lies inside a smallest relevant difference: then nothing changed."""
        return relevant is not None and -relevant < self.low and self.high < relevant


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
        Smallest change between two single sessions that is not error (95 %), by Student's t: few sessions tell their
        error badly.
    worthwhile : float or None
        Smallest change worth anything.
    worthwhile_from : str
        Where that comes from, or why there is none.
    slope_per_week, slope_low, slope_high : float or None
        Median slope (Theil–Sen) with its 95 % interval, which allows for sessions that resemble each other as that
        of `change` does.
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
        digits = max(self.measure.digits, 1)
        if self.change is None:
            need = FEWEST_SESSIONS - len(self.points)
            if need > 0:
                return f"Too few sessions to tell a change from error: {need} more needed."
            if self.typical_error is None:
                return "No verdict: the sessions do not differ at all."
            amount = self.measure.amount(signed(self.points[-1].value - self.points[0].value, digits))
            return f"Changed by {amount} from first to last without any scatter: no error can be told."
        c = self.change
        places = digits_for((c.high - c.low) / 2, digits)
        amount = self.measure.amount(signed(c.difference, places))
        span = f"95 % interval {signed(c.low, places)} to {signed(c.high, places)}"
        which = f"last {c.sessions} against first {c.sessions} sessions"
        what = f"{amount} ({span}; {which})"
        limit = self.measure.amount(shown(self.worthwhile, digits))
        if not c.is_real:
            if c.is_within(self.worthwhile):
                return f"No real change: {what} lies inside the smallest change worth speaking of, {limit}."
            return f"Unclear: {what} may be error, or a change: more sessions would tell."
        if self.worthwhile is None:
            return f"Real change: {what}."
        if abs(c.difference) < self.worthwhile:
            return f"Real but small: {what}, below the smallest change worth speaking of, {limit}."
        return f"Real change: {what}, above the smallest change worth speaking of, {limit}."


def shown(value: float | None, digits: int) -> str:
    """A number with at least two digits that say something; a dash for none."""
    if value is None:
        return "–"
    return f"{value:.{digits}f}" if value == 0 or abs(value) >= 10 ** (1 - digits) else f"{value:.2g}"


def session_points(sets: Sequence[LoggedSet] | SetTable, measure: SetMeasure) -> tuple[Point, ...]:
    """Mean of the measure per session, in order of days; sessions without a value are left out."""
    table = as_table(sets, measure)
    values = table.of(measure)
    known = ~np.isnan(values)
    session, values, set_id = table.session[known], values[known], table.set_id[known]
    count = np.bincount(session, minlength=len(table.sessions))
    total = np.bincount(session, weights=values, minlength=len(table.sessions))
    ends = np.cumsum(count).tolist()
    ordered = set_id[np.lexsort((set_id, session))].tolist()
    return tuple(
        Point(
            day=date.fromisoformat(key.day),
            value=float(total[place] / count[place]),
            sets=int(count[place]),
            set_ids=tuple(ordered[ends[place] - int(count[place]) : ends[place]]),
        )
        for place, key in enumerate(table.sessions)
        if count[place]
    )


def trend_of(
    points: Sequence[Point],
    measure: SetMeasure,
    relevant: Relevant | None = None,
) -> Trend:
    """Work out the course of one measure.

    Parameters
    ----------
    points : sequence of Point
        In order.
    measure : SetMeasure
    relevant : Relevant or None
        Smallest relevant difference; None for the working limit of the measure's unit.
    """
    values = np.array([point.value for point in points], float)
    days = np.array([point.day.toordinal() for point in points], float)
    error = error_from_neighbours(values)
    relevant = smallest_relevant(measure) if relevant is None else relevant
    slope, low, high = _slope(days, values)
    # An interval of no width would say that nothing can be wrong.
    change = None if error is None else change_between_ends(values)
    return Trend(
        measure=measure,
        points=tuple(points),
        smooth=tuple(float(v) for v in lowess(days, values)),
        typical_error=error,
        detectable=None if error is None else detectable_change(error, series_df(len(points))),
        worthwhile=relevant.value,
        worthwhile_from=relevant.origin,
        slope_per_week=slope,
        slope_low=low,
        slope_high=high,
        change=None if change is None or change.low == change.high else change,
    )


def error_from_neighbours(values: FloatArray) -> float | None:
    """Typical error of one session, robust against single odd sessions; None with too few values, or all equal.

    SD of neighbouring differences over √2 (Hopkins 2000), about zero so that a slow trend adds nearly nothing; what
    is larger than `ODD` robust SDs (1.4826 × median) counts as that much.
    """
    if len(values) < FEWEST_SESSIONS:
        return None
    steps = np.abs(np.diff(values))
    border = ODD * 1.4826 * float(np.median(steps))
    error = math.sqrt(float(np.mean(np.minimum(steps, border or math.inf) ** 2)) / 2)
    return error if error > 0 else None


def change_between_ends(values: FloatArray) -> Change:
    """Mean of the last sessions minus mean of the first ones, with its 95 % interval."""
    m = min(COMPARED_SESSIONS, len(values) // 2)
    difference, half, p = change_of_ends(values, m)
    return Change(sessions=m, difference=difference, low=difference - half, high=difference + half, p=p)


def _slope(days: FloatArray, values: FloatArray) -> tuple[float | None, float | None, float | None]:
    if len(values) < FEWEST_SESSIONS or days[-1] <= days[0]:
        return None, None, None
    weeks = days / 7
    slope, low, high = median_slope(weeks, values)
    if low == high:
        return slope, None, None
    about = weeks - weeks.mean()
    # Sen's interval takes sessions for independent ones.
    wider = widening(values, about / float(about @ about))
    return slope, slope - wider * (slope - low), slope + wider * (high - slope)
