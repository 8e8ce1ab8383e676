"""A rep at another tempo than its set's is one of its reps: a tired last one, a hurried one, one that stops half-way.

The sets are invented: by the simulator, or as minimum-jerk ways between rests about a shoulder that stands still.
"""

import math
from itertools import pairwise

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from armarc.api import NOTHING_KEPT, process
from armarc.recording import Recording
from armarc.simulate import MountPlan, RepPlan, SessionPlan, SetPlan, find_pattern, simulate_session
from grids import crossed
from invented_sets import ramp

HZ, ARM_M, GRAVITY_M_S2 = 100.0, 0.55, 9.80665
FAST_S = 0.6


def fast_set(first=1.0, last=1.0, *, share=1.0, seed=1):
    """Eleven fast raises; the first and the last one take so many times as long, the last one goes so far."""
    rng = np.random.default_rng(seed)
    slower = [first, *np.clip(rng.normal(1, 0.04, 9), 0.9, 1.1), last]
    low, high = math.radians(9), math.radians(88)
    reps = [
        RepPlan(
            bottom_rad=low,
            top_rad=low + (share if k == 10 else 1.0) * (high - low),
            concentric_s=FAST_S * times,
            eccentric_s=0.9 * FAST_S * times,
            pause_s=0.05,
        )
        for k, times in enumerate(slower)
    ]
    plan = SessionPlan(
        sets=(SetPlan(reps=tuple(reps)),),
        pattern=find_pattern("lateral-raise"),
        mount=MountPlan(tilt_rad=math.radians(5)),
    )
    return simulate_session(plan, seed)[0]


TEMPOS = {
    "grinds": (1.0, 2.3, 0.8),
    "fails": (1.0, 1.8, 0.75),
    "hurries": (1.0, 0.65, 1.0),
    "begins hurried": (0.65, 1.0, 1.0),
    "begins with care": (1.9, 1.0, 1.0),
}


@pytest.mark.parametrize(("tempo", "seed"), crossed(list(TEMPOS), range(3), fold=3))
def test_the_first_and_the_last_rep_of_a_fast_set_keep_their_own_tempo(tempo, seed):
    first, last, share = TEMPOS[tempo]
    measured = process(fast_set(first, last, share=share, seed=seed), kept=NOTHING_KEPT)
    assert [len(one.reps) for one in measured.sets] == [11]


def raises_through(ways, *, seed=0):
    """Raises about a shoulder at rest; each way is a list of (°, s, s): where to, how long, how long there."""
    rng = np.random.default_rng(seed)
    knots = [(10.0, 0.0, 1.5), *(knot for way in ways for knot in way), (10.0, 0.5, 1.0)]
    t = np.arange(round(sum(move + stay for _, move, stay in knots) * HZ)) / HZ
    angle, at = np.full(len(t), 10.0), knots[0][2]
    for (here, _, _), (there, move, stay) in pairwise(knots):
        angle += (there - here) * ramp((t - at) / move)
        at += move + stay
    pose = Rotation.from_rotvec(np.outer(-np.radians(angle), [0, 1, 0]))
    place = pose.apply([0, 0, -ARM_M])
    felt = np.gradient(np.gradient(place, axis=0), axis=0) * HZ**2 + [0.0, 0.0, GRAVITY_M_S2]
    steps = (pose[:-1].inv() * pose[1:]).as_rotvec() * HZ
    return Recording(
        time_s=t,
        specific_force_m_s2=pose.inv().apply(felt) + rng.normal(0, 0.05, (len(t), 3)),
        angular_velocity_rad_s=np.vstack([steps, steps[-1:]]) + rng.normal(0, 0.002, (len(t), 3)),
        rate_hz=HZ,
    )


def plain(rng):
    return [(90.0, 1.3, 0.2), (10.0, float(rng.uniform(1.6, 1.9)), float(rng.uniform(0.2, 0.5)))]


def stopping(rng):
    at, stay_s = float(rng.uniform(44, 56)), float(rng.uniform(1.1, 2.0))
    return [(at, 0.8, stay_s), (90.0, 0.8, 0.2), (10.0, 1.7, 0.4)]


@pytest.mark.parametrize(
    "which", [range(8), (3,), (0, 7)], ids=["every rep", "one", "the first and the last"]
)
@pytest.mark.parametrize("exercise", ["front-raise", "unknown"])
def test_reps_that_stop_half_way_are_whole_reps(which, exercise):
    rng = np.random.default_rng(4)
    recording = raises_through([stopping(rng) if k in which else plain(rng) for k in range(8)])
    measured = process(recording, exercise=exercise, side="right", kept=NOTHING_KEPT)
    assert [len(one.reps) for one in measured.sets] == [8]
    for rep in measured.sets[0].reps:
        assert math.degrees(rep.rom_rad) == pytest.approx(80, abs=2)


def test_an_arm_that_came_to_rest_higher_up_has_ended_its_rep():
    """It sinks seconds after the set: that is none of the last rep."""
    rng = np.random.default_rng(4)
    ways = [plain(rng) for _ in range(8)]
    recording = raises_through(
        [[(40.0, 1.5, 3.0)], *[[(90.0, 1.0, 0.2), (40.0, 1.2, 0.4)] for _ in ways], [(40.0, 0.5, 3.0)]]
    )
    measured = process(recording, exercise="front-raise", side="right", kept=NOTHING_KEPT)
    (only,) = measured.sets
    assert len(only.reps) == 8
    assert [math.degrees(rep.rom_rad) for rep in only.reps] == pytest.approx([50] * 8, abs=2)
