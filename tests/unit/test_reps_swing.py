"""Body swing and what its standard error is made of."""

import math
from dataclasses import replace

import numpy as np
import pytest
from invented_motion import motion_of
from invented_reps import raises

from armarc.reps.swing import (
    DRIFTING_ACCELERATION_M_S2,
    FLOOR_M,
    PATH_PER_ACCELERATION,
    TAKEN_OUT,
    body_swing,
    eccentric_floor,
)

HZ = 100.0


def shoulder(travel_m, first, seconds, n, error=0.0):
    """Acceleration of a minimum-jerk travel there and back within `seconds` from sample `first`."""
    a = np.zeros((n, 3))
    half = seconds / 2
    t = np.arange(round(seconds * HZ) + 1) / HZ
    tau = (t % half) / half
    sign = np.where(t < half, 1.0, -1.0)
    a[first : first + len(t), 2] = sign * travel_m * (60 * tau - 180 * tau**2 + 120 * tau**3) / half**2
    return a + error


@pytest.mark.parametrize("travel_cm", [0.0, 1.0, 2.0, 4.0, 6.0])
def test_the_travel_of_the_concentric_is_found(travel_cm):
    motion = motion_of(raises())
    a = shoulder(travel_cm / 100, 110, 1.8, len(motion.time_s))
    found = body_swing(motion, a, 108.0, 292.0, DRIFTING_ACCELERATION_M_S2)
    drift = DRIFTING_ACCELERATION_M_S2 * 1.84**2 / PATH_PER_ACCELERATION
    # A share of the assumed drift is taken out in quadrature.
    expected = math.sqrt(max((travel_cm / 100) ** 2 - (TAKEN_OUT * drift) ** 2, 0.0))
    assert found.travel_m == pytest.approx(expected, abs=3e-4)
    assert found.se_m >= FLOOR_M


def test_a_constant_acceleration_error_costs_nothing():
    motion = motion_of(raises())
    clean = shoulder(0.04, 110, 1.8, len(motion.time_s))
    assert body_swing(motion, clean + 0.4, 108.0, 292.0, 0.03).travel_m == pytest.approx(
        body_swing(motion, clean, 108.0, 292.0, 0.03).travel_m, abs=1e-12
    )


def test_errors_grow_with_the_square_of_the_duration_and_with_the_lever_arms():
    motion = motion_of(raises(up_s=4.0))
    a = np.zeros((len(motion.time_s), 3))
    short, long = (body_swing(motion, a, 100.0, 100.0 + n, 0.1).se_m for n in (150, 300))
    assert math.sqrt(long**2 - FLOOR_M**2) == pytest.approx(4 * math.sqrt(short**2 - FLOOR_M**2), rel=1e-9)
    unsure = replace(motion, mounting=replace(motion.mounting, lever_se_m=0.02))
    assert body_swing(unsure, a, 100.0, 500.0, 0.1).se_m > body_swing(motion, a, 100.0, 500.0, 0.1).se_m


def test_what_seems_to_move_the_shoulder_while_lowering_sets_the_floor():
    motion = motion_of(raises())
    n = len(motion.time_s)
    ramped = np.zeros((n, 3))
    ramped[350:551, 0] = np.linspace(0, 0.2, 201)
    floor = eccentric_floor(motion, ramped, [(350.0, 550.0)])
    # An error that grows by 0.2 m/s² moves the path by 0.2·T²/12 at its end, which reads as 15.6/12 of it.
    assert floor == pytest.approx(0.2 * PATH_PER_ACCELERATION / 12, rel=0.01)
    assert eccentric_floor(motion, ramped, []) == DRIFTING_ACCELERATION_M_S2
    assert eccentric_floor(motion, ramped, [(350.0, 360.0)]) == DRIFTING_ACCELERATION_M_S2


def test_too_short_or_filled_concentrics_have_none():
    motion = motion_of(raises())
    a = np.zeros((len(motion.time_s), 3))
    assert body_swing(motion, a, 100.0, 115.0, 0.03) is None
    missing = np.zeros(len(a), bool)
    missing[200] = True
    assert body_swing(replace(motion, missing=missing), a, 100.0, 300.0, 0.03) is None
