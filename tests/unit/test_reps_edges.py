"""What is picked up or put down beside a set is none of its reps, or its count is said to be uncertain.

The arm is an invented one with a sensor at its end: raised about a shoulder that stands still, or that moves, as it
does when the trunk stoops or the elbow bends.
"""

import math

import numpy as np
import pytest
from invented_reps import ramp
from scipy.ndimage import gaussian_filter1d
from scipy.spatial.transform import Rotation

from armarc.api import NOTHING_KEPT, process
from armarc.exercises import find_exercise
from armarc.recording import Recording
from armarc.reps import edges
from armarc.reps.counting import count_sets, counting_rules
from armarc.reps.not_counted import AT_AN_END
from live_runs import run, sets_in

HZ, ARM_M, GRAVITY_M_S2 = 100.0, 0.55, 9.80665
CYCLE_S, UP_S = 4.0, 1.6


def session(before=(), reps=8, after=(), *, stoop_m=0.25, seed=3, within=()):
    """Angle (rad), angular velocity, orientation and specific force of raises to 90°; `before` and `after` hold the
    sizes (°) of movements during which the shoulder goes `stoop_m` forward and down and comes back, and `within` those
    of such movements after half of the reps."""
    rng = np.random.default_rng(seed)
    done = [*before, *(90 + rng.normal(0, 2, reps))]
    half = len(before) + reps // 2
    sizes = [*done[:half], *within, *done[half:], *after]
    stooped = {
        *range(len(before)),
        *range(half, half + len(within)),
        *range(len(done) + len(within), len(sizes)),
    }
    t = np.arange(round((len(sizes) * CYCLE_S + 4) * HZ)) / HZ
    angle, shoulder = np.full(len(t), 10.0), np.zeros((len(t), 3))
    for k, size in enumerate(sizes):
        at = t - 2 - k * CYCLE_S
        way = ramp(at / UP_S) - ramp((at - UP_S - 0.3) / UP_S)
        angle += (size - 10) * way
        if k in stooped:
            shoulder += stoop_m * (way * ramp(at / UP_S))[:, None] * [1.0, 0.0, -0.6]
    angle = np.radians(gaussian_filter1d(angle, 0.03 * HZ))
    pose = Rotation.from_rotvec(np.outer(-angle, [0, 1, 0]))
    place = shoulder + pose.apply([0, 0, -ARM_M])
    acceleration = np.gradient(np.gradient(place, axis=0), axis=0) * HZ**2
    up_m_s2 = np.array([0.0, 0.0, GRAVITY_M_S2])
    force = pose.inv().apply(acceleration + up_m_s2) + rng.normal(0, 0.05, (len(t), 3))
    steps = (pose[:-1].inv() * pose[1:]).as_rotvec() * HZ
    return np.vstack([steps, steps[-1:]]), pose, force


def counted(*args, missing_s=None, exercise="front-raise", **kwargs):
    turning, pose, force = session(*args, **kwargs)
    t = np.arange(len(force)) / HZ
    missing = None if missing_s is None else (t > missing_s[0]) & (t < missing_s[1])
    rules = counting_rules(find_exercise(exercise))
    return count_sets(pose.as_quat(scalar_first=True), turning, force, HZ, rules, missing=missing)


@pytest.mark.parametrize(("before", "after"), [((75,), ()), ((), (70,)), ((75, 95), (70,))])
def test_what_moves_the_shoulder_at_the_ends_of_a_set_is_left_out(before, after):
    found = counted(before, 8, after)
    assert [len(one) for one in found.sets] == [8]
    assert [out.reason for out in found.left_out].count(AT_AN_END) == len(before) + len(after)
    assert not any(m.is_doubtful for m in found.sets[0])


@pytest.mark.parametrize("within", [(60,), (70, 95), (70, 80, 95)])
def test_what_moves_the_shoulder_between_the_reps_is_none_of_them(within):
    """A weight racked and another one picked up: with a rest of 10 s between its reps the set ends there."""
    found = counted((), 12, (), within=within)
    assert [len(one) for one in found.sets] == ([12] if len(within) < 3 else [6, 6])
    assert len(found.left_out) == len(within)
    assert not any(m.is_doubtful for one in found.sets for m in one)


def test_between_the_reps_of_what_nobody_named_it_is_doubted():
    found = counted((), 12, (), within=(70, 95), exercise="unknown")
    assert [len(one) for one in found.sets] == [14]
    assert [k for k, m in enumerate(found.sets[0]) if m.is_doubtful] == [6, 7]


@pytest.mark.parametrize("seed", range(5))
def test_no_rep_between_others_is_doubted(seed):
    found = counted((), 12, (), stoop_m=0.0, seed=seed, within=(75,))
    assert [len(one) for one in found.sets] == [13]
    assert not any(m.is_doubtful for m in found.sets[0])


def test_what_was_mostly_filled_in_over_a_gap_is_not_judged():
    """A rep whose way up was lost feels like nothing; a movement of which little is missing is judged as ever."""
    start_s = 2 + 8 * CYCLE_S
    for filled_s, taken_off in ((0.1, 1), (0.8 * UP_S, 0)):
        found = counted((), 8, (75,), missing_s=(start_s, start_s + filled_s))
        assert [len(one) for one in found.sets] == [9 - taken_off]


@pytest.mark.parametrize("seed", range(5))
def test_first_and_last_reps_stay(seed):
    """So does a last one that fails at two thirds of the way."""
    for after in ((), (60,)):
        found = counted((), 8, after, stoop_m=0.0, seed=seed)
        assert [len(one) for one in found.sets] == [8 + len(after)]


def test_last_reps_that_fail_on_the_way_are_not_doubted():
    """Half the way takes less time and is slower, and the shoulder stands as still as before."""
    (only,) = counted((), 8, (62, 58), stoop_m=0.0).sets
    assert len(only) == 10
    assert not any(m.is_doubtful for m in only)


def test_in_between_the_count_is_said_to_be_uncertain():
    """From a shoulder that stands still to one that stoops there is a way on which nobody can tell."""
    ends = []
    for stoop_m in np.linspace(0.0, 0.25, 26):
        (only,) = counted((), 8, (70,), stoop_m=stoop_m).sets
        ends.append("out" if len(only) == 8 else "perhaps" if only[-1].is_doubtful else "in")
    assert ends[0] == "in"
    assert ends[-1] == "out"
    assert "perhaps" in ends
    assert ends == sorted(ends, key=["in", "perhaps", "out"].index)


def recorded(stoop_m):
    turning, _, force = session((), 8, (70,), stoop_m=stoop_m)
    return Recording(
        time_s=np.arange(len(force)) / HZ,
        specific_force_m_s2=force,
        angular_velocity_rad_s=turning,
        rate_hz=HZ,
    )


def flagged(one):
    return [rep.rep for rep in one.reps if "perhaps_no_rep" in rep.quality and not rep.clean]


def test_a_doubtful_rep_is_flagged_and_said():
    measured = process(recorded(0.1), exercise="front-raise", side="right", kept=NOTHING_KEPT)
    assert [flagged(one) for one in measured.sets] == [[9]]
    said = "set 1 has 8 or 9 reps: rep 9 may be picking up, putting down, reaching or circling"
    assert said in measured.warnings


def test_a_doubtful_rep_is_flagged_live():
    """Where the finished recording flags it: the set's last look is the same."""
    sets = [sets_in(run(recorded(m), exercise="front-raise", side="right")) for m in (0.0, 0.1)]
    assert [[flagged(one) for one in found] for found in sets] == [[[]], [[9]]]


def test_too_few_reps_tell_nothing():
    assert sum(len(one) for one in counted((80,), 3).sets) == 4 - len(counted((80,), 3).left_out)
    assert math.isfinite(counted((), 3).sets[0][0].rise_rad)


@pytest.mark.parametrize(
    "spread", [edges.FELT, edges.RANGE, edges.TIME, edges.HELD_BELOW, edges.SPEED, edges.SLOWER]
)
@pytest.mark.parametrize("own", [0.0, 0.1])
def test_what_is_still_less_like_a_rep_is_no_likelier_one(spread, own):
    """What lasted 2.6 times as long as the reps was likelier to be one than what lasted 1.4 times."""
    misses = np.linspace(0.2, 4, 200)  # from where it is not quite as usual
    for side in (1, -1):
        odds = [spread.evidence(side * miss, own) for miss in misses]
        assert np.all(np.diff(odds) <= 1e-9)


@pytest.mark.parametrize("seed", range(3))
def test_who_is_held_below_the_others_at_an_end_is_perhaps_no_rep_also_where_the_recording_ends_there(seed):
    """Watches are lifted before and after a set of quick raises, looked at, and the second time stopped there."""
    rng = np.random.default_rng(seed)
    lift = (rng.uniform(60, 70), 0.9, rng.uniform(1.5, 2.5))
    ways = [lift, *((90 + rng.normal(0, 2), rng.normal(0.8, 0.03), 0.05) for _ in range(12)), lift]
    t = np.arange(round(45 * HZ)) / HZ
    angle, at = np.full(len(t), 10.0), 1.5
    for high, move, stays in ways:
        angle += (high - 10) * (ramp((t - at) / move) - ramp((t - at - move - stays) / move))
        ends, at = at + move + stays, at + 2 * move + stays + 0.15
    cut = t < ends
    angle = np.radians(gaussian_filter1d(angle, 0.03 * HZ))[cut]
    pose = Rotation.from_rotvec(np.outer(-angle, [0, 1, 0]))
    place = pose.apply([0, 0, -ARM_M])
    felt = np.gradient(np.gradient(place, axis=0), axis=0) * HZ**2 + [0.0, 0.0, GRAVITY_M_S2]
    steps = (pose[:-1].inv() * pose[1:]).as_rotvec() * HZ
    turning, force = np.vstack([steps, steps[-1:]]), pose.inv().apply(felt) + rng.normal(0, 0.05, felt.shape)
    rules = counting_rules(find_exercise("front-raise"))
    found = count_sets(pose.as_quat(scalar_first=True), turning, force, HZ, rules)
    sure = [[not m.is_doubtful for m in one].count(True) for one in found.sets]
    assert sure == [12]
