"""What turns about the elbow is no raise; nothing that turns about the shoulder is taken for it.

Segments: upper arm 0.28 m, elbow to wrist 0.27 m (de Leva 1996, J Biomech 29:1223, from memory). The rest is geometry.
"""

import math

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from armarc.reps.counting import count_sets
from armarc.reps.largest_run import CountingRules
from armarc.reps.not_counted import ELBOW, SWING

GRAVITY_M_S2, UPPER_ARM_M, FOREARM_M = 9.80665, 0.28, 0.26
RAISE = CountingRules(smallest_rad=math.radians(30), rest_s=10.0, curves=("tilt",), is_raise=True)
UNNAMED = CountingRules(
    smallest_rad=math.radians(25), rest_s=10.0, curves=("tilt", "yaw"), has_bottom=False, is_named=False
)
RATE_HZ = 100.0


def course(*moves):
    """Angles along minimum-jerk moves, (to rad, s) each; the same angle is a rest."""
    parts, now = [np.zeros(1)], 0.0
    for target, seconds in moves:
        x = np.arange(1, round(seconds * RATE_HZ) + 1) / round(seconds * RATE_HZ)
        parts.append(now + (target - now) * (10 * x**3 - 15 * x**4 + 6 * x**5))
        now = target
    return np.concatenate(parts)


def counted(upper_rad, elbow_rad, rules=RAISE, tip_rad=None, slip=None):
    """Count an arm in the sagittal plane: upper arm from straight down, elbow bent on top of it, shoulder half a metre
    above hips about which the trunk tips. A strap may have slipped, by a rotation vector in sensor axes."""
    tip = np.zeros(len(upper_rad)) if tip_rad is None else tip_rad

    def along(angle):
        return np.stack([np.sin(angle), np.zeros(len(angle)), -np.cos(angle)], axis=1)

    shoulder = 0.5 * np.stack([np.sin(tip), np.zeros(len(tip)), np.cos(tip)], axis=1)
    place = shoulder + UPPER_ARM_M * along(upper_rad) + FOREARM_M * along(upper_rad + elbow_rad)
    sensor = Rotation.from_rotvec(np.outer(-(upper_rad + elbow_rad), [0, 1, 0]))
    sensor = sensor if slip is None else sensor * Rotation.from_rotvec(slip)
    acceleration = np.gradient(np.gradient(place, 1 / RATE_HZ, axis=0), 1 / RATE_HZ, axis=0)
    force = sensor.inv().apply(acceleration + np.array([0, 0, GRAVITY_M_S2]))
    steps = (sensor[:-1].inv() * sensor[1:]).as_rotvec() * RATE_HZ
    return count_sets(
        sensor.as_quat(scalar_first=True), np.vstack([steps, steps[-1:]]), force, RATE_HZ, rules
    )


def raises(reps, elbow_deg=0.0, seconds=1.4):
    """Upper arm and elbow through raises with an elbow kept as it is."""
    up = math.radians(85)
    moves = [step for _ in range(reps) for step in ((up, seconds), (0.0, 1.3 * seconds), (0.0, 0.4))]
    upper = course((0.0, 2.0), *moves, (0.0, 2.0))
    return upper, np.full(len(upper), math.radians(elbow_deg))


def sips(times, pauses_s, held_s=1.5, elbow_deg=120.0):
    """A bottle led to the mouth: the elbow bends, the upper arm comes along a little."""
    moves = [
        step
        for k in range(times)
        for step in ((1.0, 0.9), (1.0, held_s * (1 + 0.4 * (k % 2))), (0.0, 0.9), (0.0, pauses_s))
    ]
    share = course((0.0, 2.0), *moves, (0.0, 2.0))
    return math.radians(15) * share, math.radians(8) + math.radians(elbow_deg) * share


def swung(times, forward_deg, back_deg, seconds=0.9):
    """A straight arm loosened up: to and fro through where it hangs."""
    ways = [(math.radians(forward_deg), seconds), (-math.radians(back_deg), seconds)]
    upper = course((0.0, 1.0), *(way for _ in range(times) for way in ways), (0.0, seconds), (0.0, 2.0))
    return upper, np.zeros(len(upper))


def one_after_another(*parts):
    return [np.concatenate(angles) for angles in zip(*parts, strict=True)]


@pytest.mark.parametrize("times", [1, 2, 3, 5])
@pytest.mark.parametrize("elbow_deg", [80.0, 120.0])
def test_sips_and_looks_at_a_watch_are_no_set_of_raises(times, elbow_deg):
    found = counted(*sips(times, pauses_s=4.5, elbow_deg=elbow_deg))
    assert found.sets == ()
    assert len(found.left_out) >= times


def test_why_they_are_left_out_is_said():
    assert ELBOW in {out.reason for out in counted(*sips(4, pauses_s=4.5)).left_out}


@pytest.mark.parametrize("elbow_deg", [0.0, 30.0, 60.0, 90.0])
@pytest.mark.parametrize("reps", [3, 8])
def test_raises_with_a_bent_elbow_stay(reps, elbow_deg):
    found = counted(*raises(reps, elbow_deg))
    assert [len(one) for one in found.sets] == [reps]
    assert not any(m.is_doubtful for m in found.sets[0])


@pytest.mark.parametrize("tip_deg", [8.0, 15.0])
@pytest.mark.parametrize("seconds", [0.8, 1.4, 2.0])
def test_raises_with_a_tipping_trunk_stay(tip_deg, seconds):
    """The hips throw the shoulder so that the reach looks shorter than it is."""
    upper, elbow = raises(6, seconds=seconds)
    found = counted(upper, elbow, tip_rad=math.radians(tip_deg) * np.sin(upper) ** 2)
    assert [len(one) for one in found.sets] == [6]


@pytest.mark.parametrize("rep", [3, 4, 5])
@pytest.mark.parametrize("slip_deg", [(8, 8, 0), (-8, 8, 8), (8, -8, -8), (-10, -5, 0)])
@pytest.mark.parametrize("way", ["up", "down"])
def test_a_rep_during_which_the_strap_slips_stays_and_the_set_whole(rep, slip_deg, way):
    """On the other way the sensor still turns about the shoulder; an elbow would bend on both."""
    upper, elbow = raises(9, seconds=1.8)
    up_s, down_s, pause_s = 1.8, 1.3 * 1.8, 0.4
    at_s = 2.0 + rep * (up_s + down_s + pause_s) + (0.4 * up_s if way == "up" else up_s + 0.3 * down_s)
    share = course((0.0, at_s), (1.0, 0.3))
    share = np.concatenate([share, np.ones(len(upper) - len(share))])
    found = counted(upper, elbow, slip=np.outer(share, np.radians(slip_deg)))
    assert [len(one) for one in found.sets] == [9]


def test_sips_right_after_a_short_set_leave_it_whole():
    found = counted(*one_after_another(raises(3), sips(4, pauses_s=3.0)))
    assert [len(one) for one in found.sets] == [3]
    assert len({out.reason for out in found.left_out} & {ELBOW}) == 1


def test_curls_between_raises_are_kept_and_known_to_be_another_exercise():
    still = np.zeros(1200)
    found = counted(
        *one_after_another(
            raises(6), (still, still), sips(8, pauses_s=0.3, held_s=0.2), (still, still), raises(6)
        )
    )
    assert [len(one) for one in found.sets] == [6, 8, 6]
    shoulder, elbow = UPPER_ARM_M + FOREARM_M, FOREARM_M
    reaches = [look.reach_m for look in found.templates]
    assert reaches == pytest.approx([shoulder, elbow, shoulder], abs=0.03)
    assert [math.isnan(look.arm_m) for look in found.templates] == [True, False, True]


def test_curls_in_a_row_that_were_called_a_raise_are_kept():
    """Nothing else was done: whatever it is called, it is the set; a sensor above the elbow shows the same."""
    found = counted(*sips(8, pauses_s=0.3, held_s=0.2))
    assert [len(one) for one in found.sets] == [8]


def test_curls_nobody_named_stay_and_sips_are_doubted():
    curls = counted(*sips(8, pauses_s=0.3, held_s=0.2), rules=UNNAMED)
    assert [len(one) for one in curls.sets] == [8]
    assert not any(m.is_doubtful for m in curls.sets[0])
    drunk = counted(*sips(4, pauses_s=4.5), rules=UNNAMED)
    assert [len(one) for one in drunk.sets] == [4]
    assert all(m.is_doubtful for m in drunk.sets[0])


def test_one_odd_movement_among_raises_is_no_set():
    """A weight put away with a bent elbow, at once after the last of the raises."""
    share = course((1.0, 1.2), (1.0, 0.5), (0.0, 1.4))
    away = [math.radians(40) * share, math.radians(50) * share]
    found = counted(*one_after_another(raises(8), away, raises(5)))
    assert sum(len(one) for one in found.sets) == 13


@pytest.mark.parametrize("reps", [2, 6])
@pytest.mark.parametrize(
    ("forward_deg", "back_deg", "seconds"), [(60, 30, 0.9), (35, 25, 0.9), (80, 40, 1.2)]
)
def test_arms_swung_through_where_they_hang_are_no_set(reps, forward_deg, back_deg, seconds):
    found = counted(*one_after_another(swung(6, forward_deg, back_deg, seconds), raises(8), raises(reps)))
    assert sum(len(one) for one in found.sets) == 8 + reps
    assert sum(out.reason == SWING for out in found.left_out) >= 4


@pytest.mark.parametrize("back_deg", [0, 8, 15])
def test_a_raise_may_begin_a_little_behind_where_the_arm_hangs(back_deg):
    ways = [(math.radians(85), 1.2), (-math.radians(back_deg), 1.5)]
    upper = course((0.0, 2.0), *(way for _ in range(6) for way in ways), (0.0, 0.8), (0.0, 2.0))
    assert [len(one) for one in counted(upper, np.zeros(len(upper))).sets] == [6]


def test_of_a_movement_nobody_named_a_pendulum_is_one():
    assert [len(one) for one in counted(*swung(6, 60, 30), UNNAMED).sets] in ([6], [7])


def test_beside_sets_of_something_unnamed_a_pendulum_is_doubted():
    """Who loosens up before a set swings the arms, and so does who walks; a session of pendulums stays what it is."""
    still = np.zeros(1500)
    found = counted(*one_after_another(swung(6, 60, 30), (still, still), raises(8)), UNNAMED)
    assert [len(one) for one in found.sets] in ([6, 8], [7, 8])
    assert [all(m.is_doubtful for m in one) for one in found.sets] == [True, False]
    found = counted(*one_after_another(swung(6, 60, 30), (still, still), swung(8, 60, 30)), UNNAMED)
    assert not any(m.is_doubtful for one in found.sets for m in one)
