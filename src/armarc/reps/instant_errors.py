"""How firm a rep's instants are, and what that leaves in its mean rates.

An instant is where θ̇ passes a level beside the place where θ passes a mark. Where the arm sets off or stops briskly,
errors of both move it little. Where it creeps (a hold that sinks as fast as the level, or past the mark) a small one
takes it seconds away, and it is as likely there as here. So mark and level are moved by their errors, one at a time,
and the instants looked for again: the root mean square of their distances holds for both kinds, and a mean rate, taken
between the moved instants, is off by no more than they allow.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from armarc.recording import FloatArray
from armarc.reps.phases import EDGE_SHARE, Course, Instants
from armarc.reps.uncertainty import TILT_IN_RANGE, WOBBLE_AT_THE_ENDS, WOBBLE_RATE_RAD_S, AngleErrors
from armarc.reps.unseen import leaning, leans

STEPS = (-1.465, -0.6, 0.6, 1.465)
"""Standard errors by which a mark or a level is moved. With no step these are the middles of equal fifths of a normal
distribution, 14 % farther out, so that their variance is its own."""
FIFTHS = len(STEPS) + 1
LEAST_MARK, MOST_MARK = 0.02, 0.4
"""Shares of the range in which an instant is looked for where the range may be another (working limits)."""
ELSEWHERE_S = 0.25
"""An instant that may lie this far from where it was found is not determined (working limit: longer than a start or a
stop takes, shorter than a hold anybody speaks of)."""
WITHIN_REACH = 3.0
"""Standard errors of the top within which the vertical overhead lies where an arm may have passed it (a working
limit)."""
SHAKE_S, SHAKEN = 0.25, 2
"""A rate that stops at its level for less than this may be the strap that shook, not the arm: where the mean over so
long in its place has an instant elsewhere, that is as likely as two of the fifths (working limits)."""
INSTANT_FLOOR_S = 0.00075
"""Three quarters of a millisecond of interpolation."""
RATE_FLOOR_RAD_S, RATE_PER_SCALE_RAD_S = math.radians(0.02), math.radians(15)
"""What the sensor leaves in θ̇ near a rest, by itself and per unit of the gyroscope's scale error: this much at the
bottom, where the arm passes beside the vertical, …"""
AT_THE_TOP = 0.37
"""… and this share of it at the top (synthetic sets)."""
UNSEEN_IN_RATE = 0.008
"""Share of a phase's peak rate by which θ̇ is off where it begins or ends, whatever the set shows: shoulder and strap
answer what sets the arm off and stops it (looked at: one person with markers, whose fast raises need it and more; in a
physics engine 0.3–0.6 %, so this lies between)."""
ELBOW_GIVES_RAD_S, ELBOW_GIVES_AT_TOP_RAD_S = math.radians(2.3), math.radians(1.1)
"""How much faster or slower a forearm, which a wrist's sensor is on, turns than the arm line where the arm sets off or
stops: an elbow is never quite still. By gyroscopes on forearm and upper arm 2.3–4.0 °/s at the bottom and 1.1–1.6 at
the top, in three people who raise at 60 to 240 °/s at most; the least of them, as more comes with the peak rate."""
COMES_AND_GOES = math.pi / (2 * math.sqrt(2))
"""Rate of an error that grows from nothing to its size as half a cosine, root mean square, in sizes per duration."""


@dataclass(frozen=True, slots=True, kw_only=True)
class InstantErrors:
    """Where the four instants may be instead: mark moved, level moved, and as often as that counts without shaking.

    Parameters
    ----------
    apart_s : ndarray, shape (4, 2 × steps + shaken), s
        Distances of start, start and end of the hold, and end from where they were found.
    mean_up_rad_s, mean_down_rad_s : float, rad/s
        What of the standard errors of the mean rates comes from the instants.
    overhead_s : tuple of two floats, s
        What an arm that may have passed the vertical overhead leaves in start and end of the hold; else 0.
    """

    apart_s: FloatArray
    mean_up_rad_s: float
    mean_down_rad_s: float
    overhead_s: tuple[float, float] = (0.0, 0.0)

    @property
    def se_s(self) -> tuple[float, float, float, float]:
        """Standard errors of the instants, s."""
        start, top_start, top_end, end = np.sqrt(
            (self.apart_s**2).sum(axis=1) / FIFTHS + INSTANT_FLOOR_S**2
        ).tolist()
        reached, left = self.overhead_s
        return start, math.hypot(top_start, reached), math.hypot(top_end, left), end

    @property
    def is_undetermined(self) -> bool:
        """Whether an error that is likely enough takes an instant somewhere else."""
        return bool(np.abs(self.apart_s).max() > ELSEWHERE_S)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Bound:
    """One of the four instants, as `Course` looks for it.

    ``passed`` is where θ passes the mark, ``passes`` says where it passes another one; ``mark_se`` (share of the
    range) and ``level_se`` are the standard errors of the mark and of θ̇; ``limits`` are the neighbours it does not go
    beyond.
    """

    found: float
    passed: float | None
    passes: Callable[[float], float | None]
    looked_for: Callable[[float, float], float | None]
    looked_for_calmed: Callable[[float, float], float | None]
    elsewhere: float
    mark_se: Callable[[float], float]
    level: float
    level_se: float
    limits: tuple[float, float]

    def places(self) -> list[float]:
        """Where it is with the mark moved by each step, then with the level moved by each."""
        if self.passed is None:
            return [self.found] * (2 * len(STEPS) + SHAKEN)
        # A mark moved further takes it no less far: mostly nowhere, however large the error.
        firm = all(self._at_mark(mark) == self.found for mark in (LEAST_MARK, MOST_MARK))
        mark_se = 0.0 if firm else self.mark_se(self.passed)
        marks = [self.found if firm else self._at_mark(EDGE_SHARE + step * mark_se) for step in STEPS]
        levels = [self._place(self.passed, moved_level(self.level, step * self.level_se)) for step in STEPS]
        calm = self._within(self.looked_for_calmed(self.passed, self.level))
        # The mean over a while also rounds the corners where an arm sets off and stops: no place of its own.
        calm = calm if abs(calm - self.found) > self.elsewhere else self.found
        return [*marks, *levels, *[calm] * SHAKEN]

    def _at_mark(self, mark: float) -> float:
        return self._place(self.passes(min(max(mark, LEAST_MARK), MOST_MARK)), self.level)

    def _place(self, passed: float | None, level: float) -> float:
        return self._within(None if passed is None else self.looked_for(passed, level))

    def _within(self, place: float | None) -> float:
        return self.found if place is None else min(max(place, self.limits[0]), self.limits[1])


def instant_errors(
    angle_rad: FloatArray,
    rate_rad_s: FloatArray,
    span: tuple[int, int, int],
    at: Instants,
    errors: AngleErrors,
    range_se_rad: float,
    top_se_rad: float,
) -> InstantErrors:
    """See how far the instants of a rep move with the errors of θ and θ̇.

    Parameters
    ----------
    angle_rad, rate_rad_s : ndarray, shape (n,), rad and rad/s
    span : three ints
        First sample, top and stop, as the instants were found.
    at : Instants
    errors : AngleErrors
    range_se_rad, top_se_rad : float, rad
        Of the rep's range of motion, and of its top.
    """
    first, top, stop = span
    course = Course(
        angle_rad=angle_rad,
        rate_rad_s=rate_rad_s,
        first=first,
        top=top,
        stop=stop,
        bottom_rad=at.bottom_rad,
        bottom_after_rad=at.bottom_after_rad,
        top_rad=at.top_rad,
        is_begun=at.is_begun,
    ).followed()
    width = 2 * round(SHAKE_S / 2 * errors.rate_hz) + 1
    # Of this rep alone, and so counted from its first sample.
    calm = replace(
        course, rate_rad_s=_running_mean(rate_rad_s[first:stop], width), first=0, stop=stop - first
    )
    elsewhere = ELSEWHERE_S * errors.rate_hz
    begun, over = math.floor(at.start), math.ceil(at.end)
    peak_up = float(rate_rad_s[begun : top + 1].max())
    peak_down = float(-rate_rad_s[top : over + 1].min())

    def calmed(looked_for: Callable[[float, float], float | None]) -> Callable[[float, float], float | None]:
        def looked_for_calmed(passed: float, level: float) -> float | None:
            place = looked_for(passed - first, level)
            return None if place is None else place + first

        return looked_for_calmed

    def mark_se(rests: int, way: float) -> Callable[[float], float]:
        def share(passed: float) -> float:
            step = step_se(errors, rests, round(passed))
            return math.hypot(step, EDGE_SHARE * range_se_rad) / max(way, 1e-6)

        return share

    # Level, peak, length and way of the raise and of the lowering.
    up = (course.on_up_rad_s, peak_up, at.top_start - at.start, at.top_rad - at.bottom_rad)
    down = (course.on_down_rad_s, peak_down, at.end - at.top_end, at.top_rad - at.bottom_after_rad)
    rows = (
        ("start", course.rises, course.passes_rising, up, round(at.start), (first, at.top_start)),
        ("top_start", course.reaches, course.passes_reaching, up, top, (at.start, at.end)),
        ("top_end", course.falls, course.passes_falling, down, top, (at.top_start, at.end)),
        ("end", course.lands, course.passes_landing, down, min(over, stop - 1), (at.top_end, stop - 1)),
    )
    bounds = []
    for name, passed, passes, (level, peak, length, way), rests, limits in rows:
        place: float = getattr(at, name)
        rate_se = slow_rate_se(errors, place, (peak, level), length, is_top=name.startswith("top"))
        bounds.append(
            _Bound(
                found=place,
                passed=None if name in at.unseen else passed,
                passes=passes,
                looked_for=getattr(course, name),
                looked_for_calmed=calmed(getattr(calm, name)),
                elsewhere=elsewhere,
                mark_se=mark_se(rests, way),
                level=level,
                level_se=rate_se,
                limits=limits,
            )
        )
    found, places = np.array([one.found for one in bounds]), np.array([one.places() for one in bounds])
    overhead = (0.0, 0.0)
    if errors.has_zero and math.pi - at.top_rad < WITHIN_REACH * top_se_rad:
        overhead = _beside_the_vertical(course, at, top_se_rad)
    return InstantErrors(
        apart_s=(places - found[:, None]) / errors.rate_hz,
        mean_up_rad_s=_mean_rate_se(angle_rad, found[:2], places[:2], errors.rate_hz),
        mean_down_rad_s=_mean_rate_se(angle_rad, found[2:], places[2:], errors.rate_hz),
        overhead_s=(overhead[0] / errors.rate_hz, overhead[1] / errors.rate_hz),
    )


def _beside_the_vertical(course: Course, at: Instants, top_se_rad: float) -> tuple[float, float]:
    """How far start and end of the hold may lie off, in samples, where the arm may have passed the vertical overhead.

    Elevation falls again behind it. An arm that points elsewhere by one standard error is there as much earlier or
    later as it takes for this last part of its way.
    """
    up, down = (
        min(top_se_rad / max(way, 1e-6), MOST_MARK)
        for way in (at.top_rad - at.bottom_rad, at.top_rad - at.bottom_after_rad)
    )
    passed, left = course.passes_reaching(up), course.passes_falling(down)
    return (
        0.0 if passed is None else max(at.top_start - passed, 0.0),
        0.0 if left is None else max(left - at.top_end, 0.0),
    )


def moved_level(level: float, step: float) -> float:
    """A level with an error: an arm that rests is seen to rest, so it may come near to nothing and never below."""
    return level + step if step >= 0 else level**2 / (level - step)


def slow_rate_se(
    errors: AngleErrors, at: float, rates_rad_s: tuple[float, float], samples: float, *, is_top: bool
) -> float:
    """Standard error of θ̇ where a phase begins or ends, rad/s.

    Parameters
    ----------
    errors : AngleErrors
    at : float
        Fractional sample index of the instant.
    rates_rad_s : two floats, rad/s
        Largest θ̇ of the phase, and θ̇ at the instant.
    samples : float
        Length of the phase: in this time what a body leaves in an angle comes or goes.
    is_top : bool
        Whether the instant bounds the hold.
    """
    peak, level = rates_rad_s
    low = min(max(math.floor(at), 0), len(errors.angle_rad) - 2)
    sensor = RATE_FLOOR_RAD_S + RATE_PER_SCALE_RAD_S * errors.tolerance.gyroscope
    elbow = ELBOW_GIVES_AT_TOP_RAD_S if is_top else ELBOW_GIVES_RAD_S
    parts = [
        sensor * (AT_THE_TOP if is_top else 1.0),
        UNSEEN_IN_RATE * peak,
        elbow if errors.has_zero and not errors.body.above_elbow else 0.0,
        0.0 if is_top else errors.shoulder_share * peak,
        COMES_AND_GOES * errors.moved_rad / max(samples / errors.rate_hz, 0.1),
        # An elbow's error comes with the angle, so it changes as slowly as that does here.
        COMES_AND_GOES * errors.body.doubt_rad / errors.body.swept_rad * level,
        WOBBLE_RATE_RAD_S * errors.body.wobble_rad,
        *errors.lean(leaning, low),
    ]
    if not errors.is_fitted:
        # Which way the arm points was not fitted to its movement: what turning the axis does to the rate.
        around = [max(low - 1, 0), min(low + 2, len(errors.angle_rad) - 1)]
        worth = np.array([-1.0, 1.0]) * errors.rate_hz / (around[1] - around[0])
        parts += errors.spread(around, worth, linear=1.0)
    return math.hypot(*parts)


def step_se(errors: AngleErrors, one: int, other: int) -> float:
    """Standard error of a small difference of θ between two samples, rad: a mark's from its end of the range."""
    moved = abs(float(errors.angle_rad[one] - errors.angle_rad[other]))
    # What a body leaves in an angle comes with it, over the whole range.
    share = COMES_AND_GOES * min(moved / errors.body.swept_rad, 1.0)
    leant = np.subtract(errors.lean(leans, one), errors.lean(leans, other))
    return math.hypot(
        share * errors.bent_rad,
        share * errors.body.doubt_rad,
        math.sqrt(2) * WOBBLE_AT_THE_ENDS * errors.body.wobble_rad,
        TILT_IN_RANGE * errors.tilt_rad,
        *leant.tolist(),
        errors.untested_share * moved,
        *errors.spread([one, other], np.array([1.0, -1.0]), linear=errors.beside),
    )


def peak_instant_se(errors: AngleErrors, rate_rad_s: FloatArray, peak: int) -> float:
    """Standard error of the instant of a peak rate, s: anywhere within one error of a rate of the peak.

    Parameters
    ----------
    errors : AngleErrors
    rate_rad_s : ndarray, shape (n,), rad/s
        θ̇ of the phase.
    peak : int
        Index of its largest value.
    """
    error = RATE_FLOOR_RAD_S + RATE_PER_SCALE_RAD_S * errors.tolerance.gyroscope
    below = rate_rad_s < rate_rad_s[peak] - math.hypot(error, WOBBLE_RATE_RAD_S * errors.body.wobble_rad)
    before, after = np.flatnonzero(below[:peak]), np.flatnonzero(below[peak:])
    first = int(before[-1]) if len(before) else 0
    last = peak + int(after[0]) if len(after) else len(rate_rad_s) - 1
    # A value spread evenly over a width has 1/√12 of it for its standard deviation.
    return math.hypot(INSTANT_FLOOR_S, (last - first) / errors.rate_hz / math.sqrt(12))


def _running_mean(curve: FloatArray, width: int) -> FloatArray:
    """The mean over `width` samples (odd) about every sample."""
    half = width // 2
    total = np.zeros(len(curve) + 2 * half + 1)
    total[1 : half + 1], total[half + 1 : -half], total[-half:] = curve[0], curve, curve[-1]
    total.cumsum(out=total)
    return np.asarray((total[width:] - total[:-width]) / width)


def _mean_rate_se(angle_rad: FloatArray, found: FloatArray, places: FloatArray, rate_hz: float) -> float:
    """Root mean square of what moved ends, one at a time, do to the mean rate between them, rad/s."""
    if found[1] <= found[0]:
        return 0.0
    begins = np.concatenate([found[:1], places[0], np.full(len(places[1]), found[0])])
    stops = np.concatenate([found[1:], np.full(len(places[0]), found[1]), places[1]])
    kept = stops > begins
    begins, stops = begins[kept], stops[kept]
    rates = (_values_at(angle_rad, stops) - _values_at(angle_rad, begins)) * rate_hz / (stops - begins)
    return float(np.sqrt(((rates - rates[0]) ** 2).sum() / FIFTHS))


def _values_at(curve: FloatArray, places: FloatArray) -> FloatArray:
    low = np.minimum(places.astype(np.intp), len(curve) - 2)
    return np.asarray(curve[low] + (places - low) * (curve[low + 1] - curve[low]))
