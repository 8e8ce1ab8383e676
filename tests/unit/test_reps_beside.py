"""A rep or two between picking up and putting down count where a set shows what a rep is; handling does not.

Raises of an invented arm as in `test_reps_edges`: about a shoulder that stands still, while what is handled moves it.
"""

import math

import numpy as np
import pytest
from invented_reps import ramp
from scipy.ndimage import gaussian_filter1d
from scipy.spatial.transform import Rotation

from armarc.exercises import find_exercise
from armarc.reps.counting import count_sets, counting_rules

HZ, ARM_M, GRAVITY_M_S2, UP_S = 100.0, 0.55, 9.80665, 1.6


def counted(*what, exercise="front-raise", known=(), seed=4, explain=True):
    """Movements of 4 s, "rep", "handled" (the shoulder goes forward and down) or "stretch", and seconds of rest.

    Sizes differ by a few degrees; handled ones turn by 60–95°, stretches go up to 130°.
    """
    rng = np.random.default_rng(seed)
    length_s = 4 + sum(4.0 if isinstance(one, str) else one for one in what)
    t = np.arange(round(length_s * HZ)) / HZ
    angle, shoulder, at_s = np.full(len(t), 10.0), np.zeros((len(t), 3)), 2.0
    for one in what:
        if not isinstance(one, str):
            at_s += one
            continue
        at = t - at_s
        way = ramp(at / UP_S) - ramp((at - UP_S - 0.3) / UP_S)
        size = (
            rng.uniform(50, 85) if one == "handled" else (120 if one == "stretch" else 80) + rng.normal(0, 2)
        )
        angle += size * way
        if one == "handled":
            shoulder += 0.25 * (way * ramp(at / UP_S))[:, None] * [1.0, 0.0, -0.6]
        at_s += 4.0
    angle = np.radians(gaussian_filter1d(angle, 0.03 * HZ))
    pose = Rotation.from_rotvec(np.outer(-angle, [0, 1, 0]))
    place = shoulder + pose.apply([0, 0, -ARM_M])
    acceleration = np.gradient(np.gradient(place, axis=0), axis=0) * HZ**2
    force = pose.inv().apply(acceleration + np.array([0.0, 0.0, GRAVITY_M_S2])) + rng.normal(
        0, 0.05, (len(t), 3)
    )
    steps = (pose[:-1].inv() * pose[1:]).as_rotvec() * HZ
    turning = np.vstack([steps, steps[-1:]])
    rules = counting_rules(find_exercise(exercise))
    return count_sets(pose.as_quat(scalar_first=True), turning, force, HZ, rules, known, explain=explain)


def sizes(found):
    return [len(one) for one in found.sets]


SET = (*["rep"] * 6, 15.0)
ROUND = ("handled", 3.0)


@pytest.mark.parametrize("few", [1, 2, 3])
@pytest.mark.parametrize("seed", range(3))
def test_few_reps_between_picking_up_and_putting_down_count(few, seed):
    found = counted(*SET, *ROUND, *["rep"] * few, 3.0, *ROUND, 15.0, *ROUND, "rep", 3.0, *ROUND, seed=seed)
    assert sizes(found) == [6, few, 1]
    assert not any(m.is_doubtful for one in found.sets for m in one)
    assert len(found.left_out) == 4


@pytest.mark.parametrize("seed", range(3))
def test_handling_as_often_counts_nowhere(seed):
    assert sizes(counted(*SET, *ROUND, *ROUND, 15.0, *ROUND, *ROUND, *ROUND, seed=seed)) == [6]


def test_what_an_earlier_stretch_showed_tells_a_later_one():
    """A running stream lets go of the samples of a set that is done."""
    first = counted(*SET, explain=False)
    assert first.templates[0].shown is not None
    assert sizes(counted(*ROUND, "rep", 3.0, *ROUND, known=first.templates)) == [1]
    assert sizes(counted(*ROUND, "rep", 3.0, *ROUND, 15.0, "rep")) != [1, 1]


def test_a_late_last_rep_belongs_to_its_set():
    """It follows after a breather of less than a rest."""
    assert sizes(counted(*["rep"] * 6, 5.0, "rep", 15.0)) == [7]


def test_what_nobody_named_is_left_to_its_own_likeness():
    found = counted(*SET, *ROUND, "rep", 3.0, *ROUND, exercise="unknown")
    assert all(one.shown is None for one in found.templates)


def test_reps_of_a_set_show_where_its_shoulder_lies():
    shown = counted(*SET, explain=False).templates[0].shown
    # Along and across the arm the angle's acceleration and its squared rate feel the same radius.
    radii = np.linalg.norm(shown.lever[:2], axis=1)
    assert radii == pytest.approx([ARM_M, ARM_M], rel=0.05)
    assert math.degrees(math.exp(shown.usual[0])) == pytest.approx(80, abs=3)


@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize("few", [1, 2])
def test_heavy_singles_count_where_no_set_shows_what_a_rep_is(few, seed):
    """Clean raises from hanging to hanging, alike over the whole recording, show it."""
    reps = *["rep"] * few, 12.0, *ROUND, 30.0, "rep", 30.0
    found = counted(*ROUND, 12.0, *reps, *ROUND, 30.0, "rep", seed=seed)
    assert sizes(found) == [few, 1, 1]
    assert not any(m.is_doubtful for one in found.sets for m in one)


@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize("else_", [("rep",), ("stretch", 30.0, "handled"), ("handled", 30.0, "handled"), ()])
def test_one_raise_among_handling_shows_none(else_, seed):
    """Neither do a stretch and a weight racked with a straight arm."""
    assert sizes(counted(*ROUND, 15.0, *else_, 30.0, *ROUND, seed=seed)) == []
