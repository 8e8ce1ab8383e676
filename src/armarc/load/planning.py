"""What start velocity and load would do, by simulation, under stated assumptions."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from armarc.load.capacity import ShoulderCapacity
from armarc.load.forward import Raises, Shoulders, shoulders, simulate_raises
from armarc.load.planar_load import PlanarLoad
from armarc.recording import BoolArray, FloatArray

RUN_UP_RAD = math.radians(10)
"""Over which the shoulder brings the arm to its start velocity when the body does not."""
COARSE_STEP_S = 0.004
SEARCH_STEP_S = 0.008
"""Enough to tell whether the top is reached."""
NO_GAIN, TOO_SHALLOW = 0.01, 0.05
"""Below the first there is no optimum to speak of; below the second it is smaller than what strength tests
differ by from day to day (concentric peak torque 15-19 %: Mayer 1994, Int J Sports Med 15:S26)."""
BAND_TOLERANCE = 0.02
HELD_ANGLES = 91

AIMS: dict[str, str] = {
    "peak": "largest moment",
    "loaded-peak": "largest moment inside the loaded range",
    "mean": "mean moment over time",
    "loaded-mean": "mean moment over time inside the loaded range",
    "loaded-impulse": "moment impulse inside the loaded range",
    "work": "work of the shoulder per degree",
}
_AIM_VALUES: dict[str, Callable[[Raises, float], FloatArray]] = {
    "peak": lambda r, start: r.peak_n_m,
    "loaded-peak": lambda r, start: r.loaded_peak_n_m,
    "mean": lambda r, start: r.mean_n_m,
    "loaded-mean": lambda r, start: np.where(
        r.loaded_s > 0, r.loaded_impulse_n_m_s / np.where(r.loaded_s > 0, r.loaded_s, 1.0), np.nan
    ),
    "loaded-impulse": lambda r, start: r.loaded_impulse_n_m_s,
    "work": lambda r, start: r.work_j / np.maximum(r.highest_rad - start, 1e-9),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class RaisePlan:
    """What is held the same through a plan.

    Parameters
    ----------
    load : PlanarLoad
    capacity : ShoulderCapacity
    start_rad, top_rad : float, rad
    loaded_range_rad : tuple of float, rad
    by_shoulder : bool
        The shoulder supplies the start velocity itself, over `RUN_UP_RAD`; otherwise the body does, for
        nothing.
    """

    load: PlanarLoad
    capacity: ShoulderCapacity
    start_rad: float = math.radians(5)
    top_rad: float = math.radians(90)
    loaded_range_rad: tuple[float, float] = (math.radians(30), math.radians(60))
    by_shoulder: bool = False

    def run(
        self,
        start_rate_rad_s: FloatArray,
        scale: FloatArray | float = 1.0,
        *,
        lanes: Shoulders | None = None,
        step_s: float = 0.001,
        keep_course: bool = False,
    ) -> Raises:
        """Simulate lanes."""
        return simulate_raises(
            self.load,
            shoulders(self.capacity) if lanes is None else lanes,
            start_rate_rad_s=start_rate_rad_s,
            scale=scale,
            start_rad=self.start_rad,
            top_rad=self.top_rad,
            loaded_range_rad=self.loaded_range_rad,
            run_up_rad=RUN_UP_RAD if self.by_shoulder else None,
            step_s=step_s,
            keep_course=keep_course,
        )


def aim_values(raises: Raises, aim: str, start_rad: float) -> FloatArray:
    """The measure an aim looks at, per lane."""
    return _AIM_VALUES[aim](raises, start_rad)


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """What a sweep says about one aim.

    Parameters
    ----------
    aim : str
    best_rad_s : float or None, rad/s
        Best start velocity among those that reach the top; None when none does.
    gain : float or None
        Over the start from rest, as a share.
    verdict : str
        ``"rest"``: no start velocity is better by 1 %. ``"shallow"``: better by less than 5 %.
        ``"optimum"``: by more. ``"needed"``: from rest the top is not reached, so there is nothing to compare
        with. ``"unreachable"``: no start velocity of the sweep reaches the top.
    band_rad_s : tuple of float or None, rad/s
        Start velocities that come within 2 % of the best.
    """

    aim: str
    best_rad_s: float | None
    gain: float | None
    verdict: str
    band_rad_s: tuple[float, float] | None


def judge(start_rate_rad_s: FloatArray, values: FloatArray, usable: BoolArray, aim: str) -> Finding:
    """Find the best start velocity and say whether it matters.

    Parameters
    ----------
    start_rate_rad_s : ndarray, shape (k,), rad/s
        Rising, the first one 0.
    values : ndarray, shape (k,)
        Larger is better.
    usable : ndarray of bool, shape (k,)
        Reached the top.
    aim : str
    """
    good = usable & np.isfinite(values)
    if not good.any():
        return Finding(aim=aim, best_rad_s=None, gain=None, verdict="unreachable", band_rad_s=None)
    best = int(np.argmax(np.where(good, values, -np.inf)))
    near = good & (values >= values[best] - BAND_TOLERANCE * abs(values[best]))
    low, high = best, best
    while low > 0 and near[low - 1]:
        low -= 1
    while high < len(values) - 1 and near[high + 1]:
        high += 1
    band = (float(start_rate_rad_s[low]), float(start_rate_rad_s[high]))
    if not good[0]:
        return Finding(
            aim=aim, best_rad_s=float(start_rate_rad_s[best]), gain=None, verdict="needed", band_rad_s=band
        )
    gain = float(values[best] / values[0] - 1) if values[0] > 0 else 0.0
    verdict = "rest" if gain < NO_GAIN else "shallow" if gain < TOO_SHALLOW else "optimum"
    return Finding(
        aim=aim, best_rad_s=float(start_rate_rad_s[best]), gain=gain, verdict=verdict, band_rad_s=band
    )


def _edge(test: Callable[[FloatArray], BoolArray], low: FloatArray, high: FloatArray) -> FloatArray:
    """Largest value that passes, per lane; `low` passes, `high` does not. Good to 1e-4 of their distance."""
    # Few lanes cost the same however wide the grid is.
    levels, rounds = (101, 2) if len(low) <= 4 else (11, 4)
    for _ in range(rounds):
        grid = low[:, None] + (high - low)[:, None] * np.linspace(0, 1, levels)
        passed = test(grid)
        passed[:, 0] = True
        last = levels - 1 - np.argmax(passed[:, ::-1], axis=1)
        rows = np.arange(len(low))
        low, high = grid[rows, last], grid[rows, np.minimum(last + 1, levels - 1)]
    return low


LARGEST_SCALE = 8.0
"""Where the search for the heaviest load ends, in multiples of the described one."""


def liftable_scale(plan: RaisePlan, start_rate_rad_s: FloatArray) -> FloatArray:
    """Heaviest load, in multiples of the described one, that just reaches the top from each start velocity.

    Parameters
    ----------
    plan : RaisePlan
    start_rate_rad_s : ndarray, shape (k,), rad/s

    Returns
    -------
    ndarray, shape (k,)
        NaN where not even the bare arm gets there, `LARGEST_SCALE` where more would do.
    """
    k = len(start_rate_rad_s)

    def reaches(scale: FloatArray) -> BoolArray:
        rates = np.repeat(start_rate_rad_s, scale.shape[1])
        return plan.run(rates, scale.ravel(), step_s=SEARCH_STEP_S).reached.reshape(scale.shape)

    ends = reaches(np.tile([1e-9, LARGEST_SCALE], (k, 1)))
    found = _edge(reaches, np.full(k, 1e-9), np.full(k, LARGEST_SCALE))
    found = np.where(ends[:, 1], LARGEST_SCALE, found)
    return np.where(ends[:, 0], found, np.nan)


def held_scale(plan: RaisePlan) -> tuple[float, float]:
    """Heaviest load that can be held still at every angle between start and top.

    Returns
    -------
    scale, angle_rad : float
        In multiples of the described load, infinite where it never weighs on the shoulder; and where it is reached.
    """
    angle = np.linspace(plan.start_rad, plan.top_rad, HELD_ANGLES)
    bare = plan.load.still_moment(angle, 0.0)
    weighs = plan.load.still_moment(angle, 1.0) - bare
    spare = plan.capacity.full_n_m(angle, np.zeros(HELD_ANGLES)) - bare
    with np.errstate(divide="ignore", invalid="ignore"):
        scale = np.where(weighs > 1e-9, np.maximum(spare, 0.0) / weighs, np.inf)
    at = int(np.argmin(scale))
    return float(scale[at]), float(angle[at])


def heaviest_peaks(plan: RaisePlan, lanes: Shoulders, scale: FloatArray) -> FloatArray:
    """Smallest peak capacity that lifts each lane's load from rest and holds it still at every angle, N m."""
    k = len(scale)

    def fails(peak: FloatArray) -> BoolArray:
        many = peak.shape[1]
        wide = _repeated(lanes, many, peak.ravel())
        done = plan.run(np.zeros(k * many), np.repeat(scale, many), lanes=wide, step_s=SEARCH_STEP_S)
        return np.asarray(~done.reached.reshape(peak.shape))

    low, high = np.full(k, 0.1), np.full(k, 1000.0)
    enough = ~fails(np.stack([low, high], axis=1))[:, 1]
    # Refine on a logarithm: strengths span decades.
    found = np.exp(_edge(lambda grid: fails(np.exp(grid)), np.log(low), np.log(high)))
    # The edge found still fails; the next level up passes.
    step = math.exp((math.log(1000.0) - math.log(0.1)) / 10**4)
    return np.where(enough, np.maximum(found * step, _holding_peaks(plan, lanes, scale)), np.nan)


def _holding_peaks(plan: RaisePlan, lanes: Shoulders, scale: FloatArray) -> FloatArray:
    """Smallest peak capacity that holds each lane's load still anywhere between start and top, N m."""
    needed = np.zeros(len(scale))
    for angle in np.linspace(plan.start_rad, plan.top_rad, HELD_ANGLES):
        at = np.full(len(scale), angle)
        share = np.broadcast_to(lanes.share(at), at.shape)
        with np.errstate(divide="ignore"):
            needed = np.maximum(needed, plan.load.still_moment(at, scale) / share)
    return needed


def _repeated(lanes: Shoulders, times: int, peak_n_m: FloatArray) -> Shoulders:
    """Repeat every lane `times` times with new peaks."""

    def wide(value: FloatArray | float) -> FloatArray | float:
        return np.repeat(value, times) if np.ndim(value) else value

    share = lanes.share
    if isinstance(share, BellLanes):
        share = BellLanes(
            peak_rad=np.repeat(share.peak_rad, times), width_rad=np.repeat(share.width_rad, times)
        )
    return Shoulders(
        peak_n_m=peak_n_m,
        share=share,
        fastest_rad_s=wide(lanes.fastest_rad_s),
        hill_shape=wide(lanes.hill_shape),
        activation_s=wide(lanes.activation_s),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class BellLanes:
    """A bell-shaped capacity per lane."""

    peak_rad: FloatArray
    width_rad: FloatArray

    def __call__(self, angle_rad: FloatArray) -> FloatArray:
        """Share of the peak at every lane's angle."""
        return np.asarray(np.exp(-(((angle_rad - self.peak_rad) / self.width_rad) ** 2)))


@dataclass(frozen=True, slots=True, kw_only=True)
class Exploration:
    """How a finding fares when the assumptions are drawn at random.

    Parameters
    ----------
    aim : str
    draws : int
        Sets of assumptions with which the load reaches the top from rest.
    with_optimum : int
        Those with a start velocity more than 1 % better than rest.
    quartiles_rad_s : tuple of float or None
        Of the best start velocity among those.
    median_gain : float or None
    """

    aim: str
    draws: int
    with_optimum: int
    quartiles_rad_s: tuple[float, float, float] | None
    median_gain: float | None


def explore(
    plan: RaisePlan,
    start_rate_rad_s: FloatArray,
    aim: str,
    *,
    heaviest_scale: float | None,
    draws: int = 80,
) -> Exploration:
    """Draw plausible shoulders and see how often a start velocity helps.

    Capacity peaks at 0-90°, 35-110° wide; unloaded speed 600-2500 °/s; Hill shape 0.15-0.6; rise of effort
    0-0.1 s. Each shoulder is scaled anew to the heaviest strict load, or keeps the plan's peak where that is
    not known.

    Parameters
    ----------
    plan : RaisePlan
    start_rate_rad_s : ndarray, shape (k,), rad/s
        The first one 0.
    aim : str
    heaviest_scale : float or None
    draws : int
    """
    rng = np.random.default_rng(1)  # the same shoulders for every plan
    lanes = Shoulders(
        peak_n_m=plan.capacity.peak_n_m,
        share=BellLanes(
            peak_rad=np.radians(rng.uniform(0, 90, draws)), width_rad=np.radians(rng.uniform(35, 110, draws))
        ),
        fastest_rad_s=np.radians(rng.uniform(600, 2500, draws)),
        hill_shape=rng.uniform(0.15, 0.6, draws),
        activation_s=rng.uniform(0, 0.1, draws),
    )
    peaks = np.full(draws, plan.capacity.peak_n_m)
    if heaviest_scale is not None:
        peaks = heaviest_peaks(replace(plan, by_shoulder=False), lanes, np.full(draws, heaviest_scale))
    k = len(start_rate_rad_s)
    wide = _repeated(lanes, k, np.repeat(np.where(np.isfinite(peaks), peaks, 1.0), k))
    done = plan.run(np.tile(start_rate_rad_s, draws), lanes=wide, step_s=COARSE_STEP_S)
    values = aim_values(done, aim, plan.start_rad).reshape(draws, k)
    reached = done.reached.reshape(draws, k) & np.isfinite(peaks)[:, None]
    best, gains, count = [], [], 0
    for value, ok in zip(values, reached, strict=True):
        found = judge(start_rate_rad_s, value, ok, aim)
        if found.gain is None or found.best_rad_s is None:
            continue
        count += 1
        if found.verdict != "rest":
            best.append(found.best_rad_s)
            gains.append(found.gain)
    quartiles = tuple(float(q) for q in np.percentile(best, [25, 50, 75])) if best else None
    return Exploration(
        aim=aim,
        draws=count,
        with_optimum=len(best),
        quartiles_rad_s=quartiles,  # type: ignore[arg-type]
        median_gain=float(np.median(gains)) if gains else None,
    )
