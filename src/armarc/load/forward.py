"""Forward simulation of a raise: a shoulder at full effort against an arm and its load.

One plane, fixed shoulder, concentric only::

    I(θ) θ̈ = a(t) M₀ f(θ) h(θ̇) - load(θ, θ̇, θ̈)

``a`` rises from what holds the arm still at the start toward 1; ``f`` is the capacity by angle, ``h`` Hill's
curve. Many raises run side by side (lanes), each with its own start velocity, load or shoulder. Not modelled:
the shoulder blade, tendon, fatigue, pacing below full effort, the eccentric.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from armarc.errors import UsageError
from armarc.load.capacity import RESTING_ACTIVATION, ShoulderCapacity, hill
from armarc.load.planar_load import PlanarLoad
from armarc.recording import BoolArray, FloatArray

LONGEST_S = 8.0
GATE_RAD = (math.radians(10), math.radians(20))
"""Start gate, as rise above the start."""
CRAWL_RAD_S = math.radians(0.5)
"""A raise that slows down and creeps at less than this has stalled: it would only creep closer for ever."""
Share = Callable[[FloatArray], FloatArray]
"""Isometric capacity of every lane as a share of its peak, from the angle of every lane (rad)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Shoulders:
    """The shoulder of every lane; arrays of shape (k,) or single numbers."""

    peak_n_m: FloatArray | float
    share: Share
    fastest_rad_s: FloatArray | float
    hill_shape: FloatArray | float
    activation_s: FloatArray | float

    def full_n_m(self, angle_rad: FloatArray, rate_rad_s: FloatArray) -> FloatArray:
        """Moment at full activation, shape (k,), N m."""
        return np.asarray(
            self.peak_n_m * self.share(angle_rad) * hill(rate_rad_s, self.fastest_rad_s, self.hill_shape)
        )


def shoulders(capacity: ShoulderCapacity) -> Shoulders:
    """Make lanes that share one capacity."""
    return Shoulders(
        peak_n_m=capacity.peak_n_m,
        share=capacity.curve,
        fastest_rad_s=capacity.fastest_rad_s,
        hill_shape=capacity.hill_shape,
        activation_s=capacity.activation_s,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Raises:
    """What came of every lane; arrays of shape (k,), NaN where there is nothing to say.

    Parameters
    ----------
    reached : ndarray of bool
        Got to the top.
    possible : ndarray of bool
        The shoulder could supply the start velocity itself (always true when the body does).
    highest_rad : ndarray, rad
        Where it stopped: the top, or the angle of the stall.
    duration_s : ndarray, s
    peak_n_m, peak_at_rad : ndarray
        Largest shoulder moment and its angle.
    mean_n_m : ndarray, N m
        Over time.
    work_j : ndarray, J
        Moment over angle: the work of the shoulder.
    loaded_s, loaded_impulse_n_m_s, loaded_peak_n_m : ndarray
        Inside the loaded range: time, moment over time, largest moment.
    fastest_rad_s : ndarray, rad/s
        Largest rate on the way.
    gate_rad_s : ndarray, rad/s
        Start velocity as a measured rep has it: the width of `GATE_RAD` over the time it takes to pass it.
    time_s : ndarray, shape (m,), s; angle_rad, rate_rad_s, moment_n_m : ndarray, shape (m, k)
        The courses, NaN after the end of a lane; empty unless asked for.
    """

    reached: BoolArray
    possible: BoolArray
    highest_rad: FloatArray
    duration_s: FloatArray
    peak_n_m: FloatArray
    peak_at_rad: FloatArray
    mean_n_m: FloatArray
    work_j: FloatArray
    loaded_s: FloatArray
    loaded_impulse_n_m_s: FloatArray
    loaded_peak_n_m: FloatArray
    fastest_rad_s: FloatArray
    gate_rad_s: FloatArray
    time_s: FloatArray
    angle_rad: FloatArray
    rate_rad_s: FloatArray
    moment_n_m: FloatArray


def simulate_raises(
    load: PlanarLoad,
    lanes: Shoulders,
    *,
    start_rate_rad_s: FloatArray,
    scale: FloatArray | float = 1.0,
    start_rad: float = math.radians(5),
    top_rad: float = math.radians(90),
    loaded_range_rad: tuple[float, float] = (math.radians(30), math.radians(60)),
    run_up_rad: float | None = None,
    step_s: float = 0.001,
    keep_course: bool = False,
) -> Raises:
    """Run every lane from the start angle to the top or to its stall.

    Parameters
    ----------
    load : PlanarLoad
    lanes : Shoulders
    start_rate_rad_s : ndarray, shape (k,), rad/s
    scale : ndarray, shape (k,), or float
        How many times the described load.
    start_rad, top_rad : float, rad
    loaded_range_rad : tuple of float, rad
    run_up_rad : float or None, rad
        None: the body supplies the start velocity for nothing, and holds still afterwards. Otherwise the
        shoulder itself does, with an even acceleration over this angle from rest.
    step_s : float, s
        Step of the classical fourth-order Runge-Kutta method.
    keep_course : bool

    Raises
    ------
    UsageError
        When the start is not below the top.
    """
    if not start_rad < top_rad:
        raise UsageError("the raise has to start below its top")
    w0 = np.atleast_1d(np.asarray(start_rate_rad_s, float))
    k = len(w0)
    s = np.broadcast_to(np.asarray(scale, float), (k,))
    theta, omega = np.full(k, start_rad), w0.copy()
    tally = _Tally(k, loaded_range_rad, start_rad, keep_course)
    hold = load.still_moment(theta, s)
    now = np.zeros(k)
    possible = np.ones(k, bool)
    if run_up_rad is not None:
        run_up_rad = min(run_up_rad, top_rad - start_rad)
        run = w0 > 0
        alpha = np.where(run, w0**2 / (2 * run_up_rad), 0.0)
        for i in range(41):
            angle = np.where(run, start_rad + run_up_rad * (i / 40) ** 2, start_rad)
            rate = np.sqrt(2 * alpha * (angle - start_rad))
            moment = load.moving_moment(angle, rate, alpha, s)
            possible &= moment <= lanes.full_n_m(angle, rate) * (1 + 1e-9)
            with np.errstate(divide="ignore", invalid="ignore"):
                now = np.where(run, rate / np.where(alpha > 0, alpha, 1.0), 0.0)
            tally.add(now, angle, rate, moment, run | (i == 0))
            theta, hold = angle, moment
    else:
        tally.add(now, theta, omega, hold, np.ones(k, bool))
    full = lanes.full_n_m(theta, omega)
    with np.errstate(divide="ignore", invalid="ignore"):
        first = np.where(full > 0, hold / full, 1.0)
    first = np.clip(first, RESTING_ACTIVATION, 1.0)
    tau = np.broadcast_to(np.asarray(lanes.activation_s, float), (k,))
    instant = tau <= 0
    slow = np.where(instant, 1.0, tau)

    def moment_at(t: float, angle: FloatArray, rate: FloatArray) -> FloatArray:
        effort = np.where(instant, 1.0, 1 - (1 - first) * np.exp(-t / slow))
        return np.asarray(effort * lanes.full_n_m(angle, rate))

    def rate_of_change(t: float, angle: FloatArray, rate: FloatArray) -> FloatArray:
        return load.acceleration(moment_at(t, angle, rate), angle, rate, s)

    running = possible & (theta < top_rad - 1e-12)
    reached = possible & ~running
    t, h, begun = 0.0, step_s, now
    # From rest the effort must first exceed what holds the arm: a still lane is only a stall once it has
    # moved or its effort is full.
    moved = omega > 0
    while np.any(running) and t < LONGEST_S:
        k1 = rate_of_change(t, theta, omega)
        k2 = rate_of_change(t + h / 2, theta + h / 2 * omega, omega + h / 2 * k1)
        k3 = rate_of_change(t + h / 2, theta + h / 2 * omega + h * h / 4 * k1, omega + h / 2 * k2)
        k4 = rate_of_change(t + h, theta + h * omega + h * h / 2 * k2, omega + h * k3)
        next_theta = theta + h * omega + h * h / 6 * (k1 + k2 + k3)
        next_omega = omega + h / 6 * (k1 + 2 * k2 + 2 * k3 + k4)
        still = ~moved & (next_omega <= 0)
        next_theta = np.where(still, theta, next_theta)
        next_omega = np.where(still, 0.0, next_omega)
        moved |= next_omega > 0
        t += h
        full_effort = t > 10 * np.where(instant, 0.0, tau) + 0.1
        slowing = omega - next_omega
        creeps = moved & (next_omega < CRAWL_RAD_S) & (slowing > 0) & (slowing < 0.1 * omega)
        stalled = running & (((next_omega <= 0) & (moved | full_effort)) | (creeps & full_effort))
        over = running & (next_theta >= top_rad)
        # The last step is cut where the lane ends, by straight lines.
        gone = np.ones(k)
        gone = np.where(over, (top_rad - theta) / np.where(over, next_theta - theta, 1.0), gone)
        halts = stalled & (next_omega <= 0) & (slowing > 0)
        gone = np.where(halts, omega / np.where(halts, slowing, 1.0), gone)
        end_theta = np.where(over, top_rad, theta + gone * (next_theta - theta))
        end_omega = omega + gone * (next_omega - omega)
        end_theta = np.where(stalled, np.maximum(end_theta, theta), end_theta)
        tally.add(begun + t - h + gone * h, end_theta, end_omega, moment_at(t, end_theta, end_omega), running)
        theta, omega = np.where(running, end_theta, theta), np.where(running, end_omega, omega)
        reached |= over
        running = running & ~over & ~stalled
    return tally.finish(reached, possible, theta)


class _Tally:
    """Adds up the measures of every lane, step by step (trapezoids)."""

    def __init__(self, k: int, loaded: tuple[float, float], start_rad: float, keep: bool) -> None:
        self.low, self.high = loaded
        self.gates = [start_rad + edge for edge in GATE_RAD]
        self.passed = [np.full(k, np.nan) for _ in GATE_RAD]
        self.keep = keep
        self.rows: list[tuple[FloatArray, FloatArray, FloatArray, FloatArray]] = []
        self.t = self.theta = self.moment = np.full(k, np.nan)
        self.time, self.impulse, self.work = np.zeros(k), np.zeros(k), np.zeros(k)
        self.loaded_s, self.loaded_impulse = np.zeros(k), np.zeros(k)
        self.peak, self.peak_at = np.full(k, -np.inf), np.full(k, np.nan)
        self.loaded_peak, self.fastest = np.full(k, -np.inf), np.zeros(k)

    def add(
        self, t: FloatArray, theta: FloatArray, omega: FloatArray, moment: FloatArray, on: BoolArray
    ) -> None:
        fresh = np.isnan(self.t)
        dt = np.where(on & ~fresh, t - self.t, 0.0)
        turn = np.where(on & ~fresh, theta - self.theta, 0.0)
        mean = np.where(on & ~fresh, 0.5 * (moment + self.moment), 0.0)
        self.time, self.impulse, self.work = (
            self.time + dt,
            self.impulse + mean * dt,
            self.work + mean * turn,
        )
        below = np.where(np.isnan(self.theta), theta, self.theta)
        overlap = np.minimum(theta, self.high) - np.maximum(below, self.low)
        inside = (theta >= self.low) & (theta <= self.high)
        share = np.where(
            turn > 1e-12,
            np.clip(overlap, 0, None) / np.where(turn > 1e-12, turn, 1),
            np.where(inside, 1.0, 0.0),
        )
        for gate, passed in zip(self.gates, self.passed, strict=True):
            through = np.isnan(passed) & (turn > 0) & (below < gate) & (theta >= gate)
            passed[through] = (t - dt * (theta - gate) / np.where(turn > 0, turn, 1.0))[through]
        self.loaded_s = self.loaded_s + dt * share
        self.loaded_impulse = self.loaded_impulse + mean * dt * share
        higher = on & (moment > self.peak)
        self.peak = np.where(higher, moment, self.peak)
        self.peak_at = np.where(higher, theta, self.peak_at)
        self.loaded_peak = np.where(on & inside & (moment > self.loaded_peak), moment, self.loaded_peak)
        # A moment that falls is largest at the lower edge, which no step need hit.
        for edge in (self.low, self.high):
            at_edge = self.moment + (moment - self.moment) * (edge - below) / np.where(turn > 0, turn, 1.0)
            higher = (turn > 0) & (below < edge) & (theta >= edge) & (at_edge > self.loaded_peak)
            self.loaded_peak = np.where(higher, at_edge, self.loaded_peak)
        self.fastest = np.where(on & (omega > self.fastest), omega, self.fastest)
        self.t = np.where(on, t, self.t)
        self.theta = np.where(on, theta, self.theta)
        self.moment = np.where(on, moment, self.moment)
        if self.keep:
            gap = np.nan
            self.rows.append(tuple(np.where(on, v, gap) for v in (t, theta, omega, moment)))  # type: ignore[arg-type]

    def finish(self, reached: BoolArray, possible: BoolArray, theta: FloatArray) -> Raises:
        k = len(theta)
        course = np.array(self.rows).reshape(-1, 4, k) if self.keep else np.zeros((0, 4, k))
        with np.errstate(divide="ignore", invalid="ignore"):
            mean = np.where(self.time > 0, self.impulse / self.time, np.nan)
        none = ~possible

        def known(value: FloatArray) -> FloatArray:
            return np.where(none | ~np.isfinite(value), np.nan, value)

        return Raises(
            reached=reached,
            possible=possible,
            highest_rad=known(theta),
            duration_s=known(self.time),
            peak_n_m=known(self.peak),
            peak_at_rad=known(self.peak_at),
            mean_n_m=known(mean),
            work_j=known(self.work),
            loaded_s=known(self.loaded_s),
            loaded_impulse_n_m_s=known(self.loaded_impulse),
            loaded_peak_n_m=known(self.loaded_peak),
            fastest_rad_s=known(self.fastest),
            gate_rad_s=known((GATE_RAD[1] - GATE_RAD[0]) / (self.passed[1] - self.passed[0])),
            time_s=course[:, 0],
            angle_rad=course[:, 1],
            rate_rad_s=course[:, 2],
            moment_n_m=course[:, 3],
        )
