"""A mass on a spring leans as statics says, and a hand that turns little leaves nothing."""

from __future__ import annotations

import math

import numpy as np
import pytest

from armarc.recording import STANDARD_GRAVITY_M_S2
from armarc.reps.unseen import (
    FOREARM_OFF_RAD,
    GIVES_S2,
    OVER_S,
    PER_M,
    USUAL_HAND_TURN_RAD,
    by_hand,
    leaning,
    leans,
    running_sum,
)

HZ = 200.0


def swinging(pull_m_s2, angle_rad):
    """Along the arm and nothing else."""
    return running_sum(pull_m_s2), angle_rad


def test_an_arm_at_rest_leans_by_its_weight():
    pulled, angle = swinging(np.full(100, STANDARD_GRAVITY_M_S2), np.zeros(100))
    by_pull, by_inertia = leans(pulled, angle, 50, HZ)
    assert by_pull == pytest.approx(GIVES_S2 * PER_M * STANDARD_GRAVITY_M_S2)
    assert math.degrees(by_pull) == pytest.approx(0.84, abs=0.01)
    assert by_inertia == 0
    assert leaning(pulled, angle, 50, HZ) == pytest.approx((0, 0), abs=1e-12)


def test_a_strap_that_may_give_more_may_lean_more():
    """Two independent errors of one strap: 3, 4, 5."""
    pulled, angle = swinging(np.full(100, 4.0), 0.5 * 30 * (np.arange(100) / HZ) ** 2)
    firm = leans(pulled, angle, 50, HZ)
    loose = leans(pulled, angle, 50, HZ, 4 / 3 * GIVES_S2 * PER_M)
    assert loose == pytest.approx([5 / 3 * each for each in firm])


def test_speeding_up_holds_the_case_back():
    t = np.arange(100) / HZ
    pulled, angle = swinging(10 * t, 0.5 * 30 * t**2)
    assert leans(pulled, angle, 50, HZ)[1] == pytest.approx(30 * GIVES_S2)
    by_pull, by_inertia = leaning(pulled, angle, 50, HZ)
    assert by_pull == pytest.approx(10 * GIVES_S2 * PER_M)
    assert by_inertia == pytest.approx(0, abs=1e-9)


def test_the_ends_of_a_motion_are_no_mistake():
    n = round(OVER_S * HZ)
    pulled, angle = swinging(np.ones(n), np.zeros(n))
    assert leans(pulled, angle, 0, HZ) == leans(pulled, angle, n - 1, HZ)
    assert leaning(pulled[:2], angle[:1], 0, HZ) == (0, 0)


def test_a_hand_that_turns_as_usual_leaves_nothing():
    assert by_hand(USUAL_HAND_TURN_RAD) == by_hand(-0.1) == 0
    assert by_hand(-1.2) == by_hand(1.2)
    assert by_hand(10.0) == pytest.approx(10.0 * FOREARM_OFF_RAD, rel=0.01)
