"""Least share held while lowering: the limits of mechanics, a pendulum, and simulated lowerings."""

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from armarc.api import process
from armarc.reps.lowering import held_share, lowering_window, lowest_tenth
from armarc.simulate import SimulationOptions, plan_session, simulate_session

G = 9.80665


def test_held_still_free_fall_and_pushed_down():
    angle = np.radians([20.0, 60.0, 110.0])
    assert held_share(angle, np.zeros(3), 0.6) == pytest.approx(1)
    assert held_share(angle, -G * np.sin(angle) / 0.6, 0.6) == pytest.approx(0, abs=1e-12)
    assert np.all(held_share(angle, -1.5 * G * np.sin(angle) / 0.6, 0.6) < 0)


@pytest.mark.parametrize("held", [0.0, 0.3, 0.8])
def test_a_pendulum_held_back_by_a_share_of_gravity(held):
    # θ̈ = −(1 − held) g sin θ / R, integrated by SciPy: the share comes back at every angle.
    reach = 0.58

    def fall(_, y):
        return [y[1], -(1 - held) * G * math.sin(y[0]) / reach]

    done = solve_ivp(fall, (0, 0.35), [math.radians(100), 0.0], rtol=1e-9, atol=1e-11, dense_output=True)
    time = np.linspace(0, 0.35, 701)
    angle, rate = done.sol(time)
    found = held_share(angle, np.gradient(rate, time, edge_order=2), reach)
    assert found[2:-2] == pytest.approx(held, abs=2e-4)


def test_lowest_tenth_is_a_median_and_no_single_outlier():
    values = np.ones(200)
    values[50] = -9
    assert lowest_tenth(values) == 1
    assert lowest_tenth(np.linspace(0, 1, 101)) == pytest.approx(0.045)


@pytest.mark.parametrize("eccentric_s", [0.5, 0.8, 2.0, 4.0])
def test_simulated_lowerings_read_what_the_true_arm_did(eccentric_s):
    options = replace(SimulationOptions(reps=4, sway_m=0.001), eccentric_s=eccentric_s, variation=0.0)
    recording, truth = simulate_session(plan_session(options, 3), 3)
    session = process(recording, exercise="lateral-raise", side="right")
    series = truth.series
    acceleration = np.gradient(series.angle_rate_rad_s, series.time_s)
    for rep, true in zip(session.sets[0].reps, truth.sets[0].reps, strict=True):
        a, b = np.searchsorted(series.time_s, [true.top_end_s, true.end_s])
        inside = lowering_window(series.elevation_rad[a:b], float(series.elevation_rad[b]), true.top_rad)
        shares = held_share(series.elevation_rad[a:b][inside], acceleration[a:b][inside], truth.reach_m)
        assert rep.least_held_share == pytest.approx(lowest_tenth(shares), abs=0.05)
        assert abs(rep.least_held_share - lowest_tenth(shares)) < 3 * rep.least_held_se_share
        assert ("dropped" in rep.quality) == (lowest_tenth(shares) < 0.5)
