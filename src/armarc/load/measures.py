"""The measures of one rep's load, from its dynamics."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from armarc.load.mechanics import Dynamics
from armarc.load.table import LoadMeasures
from armarc.recording import BoolArray, FloatArray
from armarc.reps.lowering import lowering_window, lowest_tenth

SWING_FLOOR = 0.10
"""A smaller share of body swing work is not told from none with a wrist sensor."""


LEAST_HOLD_S = 0.1
LEAST_STILL = 0.2
"""Share of the largest static moment below which a share of it says nothing (working limits)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PhaseTimes:
    """The four instants, s, on the clock of the movement."""

    start_s: float
    top_start_s: float
    top_end_s: float
    end_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class SwingShare:
    """A share of body swing work, known only where it exceeds the smallest that counts as detected."""

    words: str
    share: float | None = None
    se: float | None = None
    floor: float | None = None


def swing_share(share: float | None, se: float | None) -> SwingShare:
    """What may be said of a share with this standard error."""
    if share is None or se is None:
        return SwingShare(words="not measured")
    floor = max(SWING_FLOOR, 2 * se)
    if abs(share) <= floor:
        return SwingShare(words="none detected", floor=floor)
    return SwingShare(words="detected", share=share, se=se, floor=floor)


def integrals_up_to(time_s: FloatArray, values: FloatArray, instants_s: Sequence[float]) -> FloatArray:
    """Trapezoid integrals from the first sample to instants that may fall between samples.

    Parameters
    ----------
    time_s : ndarray, shape (n,), s
    values : ndarray, shape (…, n)
    instants_s : sequence of k floats, s
        Those beyond an end count as the end.

    Returns
    -------
    ndarray, shape (…, k)
    """
    steps = np.diff(time_s)
    total = np.zeros(values.shape)
    np.cumsum(0.5 * (values[..., 1:] + values[..., :-1]) * steps, axis=-1, out=total[..., 1:])
    t = np.clip(instants_s, time_s[0], time_s[-1])
    i = np.minimum(np.searchsorted(time_s, t, side="right") - 1, len(steps) - 1)
    gone, before = t - time_s[i], values[..., i]
    end = before + gone / steps[i] * (values[..., i + 1] - before)
    return np.asarray(total[..., i] + 0.5 * (before + end) * gone)


def inside_share(angle_rad: FloatArray, window: tuple[float, float]) -> FloatArray:
    """Share of every step between neighbours that lies inside a window of angles, shape (n - 1,)."""
    low = np.minimum(angle_rad[1:], angle_rad[:-1])
    high = np.maximum(angle_rad[1:], angle_rad[:-1])
    span = high - low
    overlap = np.clip(np.minimum(high, window[1]) - np.maximum(low, window[0]), 0.0, None)
    still = (low >= window[0]) & (high <= window[1])
    return np.where(span > 1e-12, overlap / np.where(span > 1e-12, span, 1.0), np.where(still, 1.0, 0.0))


def load_measures(
    time_s: FloatArray,
    angle_rad: FloatArray,
    done: Dynamics,
    phases: PhaseTimes,
    loaded_range_rad: tuple[float, float] | None,
    swing_power_w: FloatArray | None = None,
    drive_s: tuple[float, float] = (0.0, 0.0),
) -> LoadMeasures:
    """Work out the measures of one rep, but for the least share held.

    Parameters
    ----------
    time_s, angle_rad : ndarray, shape (n,)
        Evenly sampled.
    done : Dynamics
    phases : PhaseTimes
    loaded_range_rad : tuple of float, rad, or None
    swing_power_w : ndarray, shape (n,), W, or None
        Power of the shoulder's force through its swing; None leaves the body's shares out.
    drive_s : tuple of float, s
        Rest at the bottom and peak of θ̇.
    """
    only = Courses(done.moment_n_m, done.moment_power_w, swing_power_w)
    return measures_of_courses(time_s, angle_rad, [only], phases, loaded_range_rad, drive_s)[0]


class Courses(NamedTuple):
    """What the measures of a rep are read from, shape (n,) each; see `load_measures`.

    ``still_n_m`` is the moment that would hold the arm still at each instant; None leaves the least share held out.
    """

    moment_n_m: FloatArray
    moment_power_w: FloatArray
    swing_power_w: FloatArray | None = None
    still_n_m: FloatArray | None = None


def measures_of_courses(
    time_s: FloatArray,
    angle_rad: FloatArray,
    courses: Sequence[Courses],
    phases: PhaseTimes,
    loaded_range_rad: tuple[float, float] | None,
    drive_s: tuple[float, float] = (0.0, 0.0),
) -> list[LoadMeasures]:
    """As `load_measures`, of one movement with several courses of its moment at once; all know the swing, or none."""
    p = phases
    moment = np.array([one.moment_n_m for one in courses])
    power = np.array([one.moment_power_w for one in courses])
    swings = [one.swing_power_w for one in courses if one.swing_power_w is not None]
    rising, falling, under_load = _phases(time_s, p)
    peaks = under_load.nonzero()[0][moment[:, under_load].argmax(axis=1)].tolist()
    up_peaks = rising.nonzero()[0][moment[:, rising].argmax(axis=1)].tolist()
    lowered = moment[:, falling].max(axis=1) if falling.any() else np.full(len(moment), math.nan)
    fastest = power[:, rising].max(axis=1)
    step_s = float(time_s[-1] - time_s[0]) / (len(time_s) - 1)
    together = np.array(
        [moment, power, moment * np.gradient(angle_rad, step_s), *([swings] if swings else [])]
    )
    instants = (p.start_s, p.top_start_s, p.top_end_s, p.end_s, *drive_s)
    integrals = integrals_up_to(time_s, together, instants).swapaxes(0, 1).tolist()
    first, top = np.interp([p.start_s, p.top_start_s], time_s, angle_rad)
    windows = () if loaded_range_rad is None else (loaded_range_rad,)
    loaded = (
        loaded_shares(time_s, angle_rad, moment, phases, windows)
        if windows
        else [[(None, None)]] * len(moment)
    )
    out = []
    for k, (at, up_at, (turned_by, worked, over, *swung)) in enumerate(
        zip(peaks, up_peaks, integrals, strict=True)
    ):
        impulse, held, work = turned_by[3] - turned_by[0], turned_by[2] - turned_by[1], worked[1] - worked[0]
        swing = whole = drive_whole = drive = None
        if swung:
            swing, drive = swung[0][1] - swung[0][0], swung[0][5] - swung[0][4]
            whole, drive_whole = work + swing, worked[5] - worked[4] + drive
        still = courses[k].still_n_m
        out.append(
            LoadMeasures(
                peak_moment_n_m=float(moment[k, at]),
                peak_moment_at_rad=float(angle_rad[at]),
                peak_concentric_moment_n_m=float(moment[k, up_at]),
                peak_concentric_moment_at_rad=float(angle_rad[up_at]),
                peak_eccentric_moment_n_m=float(lowered[k]),
                mean_moment_n_m=impulse / max(p.end_s - p.start_s, 1e-9),
                mean_moment_over_angle_n_m=(over[1] - over[0]) / max(float(top - first), 1e-9),
                moment_impulse_n_m_s=impulse,
                concentric_work_j=work,
                eccentric_work_j=worked[2] - worked[3],
                peak_power_w=float(fastest[k]),
                loaded_impulse_share=loaded[k][0][0],
                loaded_work_share=loaded[k][0][1],
                swing_work_j=swing,
                body_swing_work_share=_share(swing, whole),
                drive_work_j=drive_whole,
                drive_swing_work_j=drive,
                drive_swing_work_share=_share(drive, drive_whole),
                hold_moment_n_m=None
                if p.top_end_s - p.top_start_s < LEAST_HOLD_S
                else held / (p.top_end_s - p.top_start_s),
                least_held_with_load_share=None
                if still is None
                else _least_held(angle_rad, moment[k], still, falling),
                peak_moment_phase="concentric" if rising[at] else "eccentric" if falling[at] else "hold",
            )
        )
    return out


def _phases(time_s: FloatArray, p: PhaseTimes) -> tuple[BoolArray, BoolArray, BoolArray]:
    """Samples in which the arm is raised, lowered, and both with what lies between."""
    rising = (time_s >= p.start_s - 1e-9) & (time_s <= p.top_start_s + 1e-9)
    falling = (time_s >= p.top_end_s - 1e-9) & (time_s <= p.end_s + 1e-9)
    if not rising.any():
        rising[int(np.argmin(np.abs(time_s - p.start_s)))] = True
    return rising, falling, (time_s >= p.start_s - 1e-9) & (time_s <= p.end_s + 1e-9) | rising


def loaded_shares(
    time_s: FloatArray,
    angle_rad: FloatArray,
    moment_n_m: FloatArray,
    phases: PhaseTimes,
    windows_rad: Sequence[tuple[float, float]],
) -> list[list[tuple[float | None, float | None]]]:
    """Shares of the moment's impulse and of the raising work inside windows of angles.

    Parameters
    ----------
    time_s, angle_rad : ndarray, shape (n,)
    moment_n_m : ndarray, shape (k, n)
    phases : PhaseTimes
    windows_rad : sequence of w tuples of float, rad

    Returns
    -------
    list of k lists of w tuples of float or None
        None where there is nothing to take a share of.
    """
    rising, _, under_load = _phases(time_s, phases)
    mean = 0.5 * (moment_n_m[:, 1:] + moment_n_m[:, :-1])
    inside = np.array([inside_share(angle_rad, window) for window in windows_rad])
    shares = []
    for steps in (
        np.diff(time_s) * (under_load[1:] & under_load[:-1]),
        np.diff(angle_rad) * (rising[1:] & rising[:-1]),
    ):
        course = mean * steps
        parts = zip((course @ inside.T).tolist(), course.sum(axis=1).tolist(), strict=True)
        shares.append([[_share(part, whole) for part in each] for each, whole in parts])
    return [list(zip(*of_moment, strict=True)) for of_moment in zip(*shares, strict=True)]


def _least_held(
    angle_rad: FloatArray, moment_n_m: FloatArray, still_n_m: FloatArray, falling: BoolArray
) -> float | None:
    """Least moment over the static one while lowering; None where the load hardly weighs on the shoulder there."""
    if not falling.any():
        return None
    angle, moment, still = angle_rad[falling], moment_n_m[falling], still_n_m[falling]
    inside = lowering_window(angle, float(angle[-1]), float(angle[0]))
    inside &= still > LEAST_STILL * float(np.abs(still).max())
    return lowest_tenth(moment[inside] / still[inside]) if inside.any() else None


def _share(part: float | None, whole: float | None) -> float | None:
    return None if part is None or whole is None or whole <= 0 else part / whole


def by_angle(
    time_s: FloatArray,
    angle_rad: FloatArray,
    values: FloatArray,
    start_s: float,
    stop_s: float,
    grid: FloatArray,
) -> FloatArray:
    """Read a course off at given angles during one phase.

    Parameters
    ----------
    time_s, angle_rad, values : ndarray, shape (n,)
    start_s, stop_s : float, s
        The phase; it may rise or fall.
    grid : ndarray, shape (k,), rad

    Returns
    -------
    ndarray, shape (k,)
        NaN at angles the phase did not pass. Where the angle wavers, its first passage counts.
    """
    use = (time_s > start_s) & (time_s < stop_s)
    t = np.concatenate([[start_s], time_s[use], [stop_s]])
    angle, value = np.interp(t, time_s, angle_rad), np.interp(t, time_s, values)
    if angle[-1] < angle[0]:
        angle, value = angle[::-1], value[::-1]
    # Only records count: a later sample below an earlier one is a waver.
    record = np.concatenate([[True], angle[1:] > np.maximum.accumulate(angle)[:-1]])
    return np.asarray(np.interp(grid, angle[record], value[record], left=np.nan, right=np.nan))
