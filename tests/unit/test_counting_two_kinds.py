"""Two kinds of reps with less than a rest between them, and reps with pulses: counts known by construction."""

from dataclasses import replace

import numpy as np
import pytest
from invented_reps import movements_of, raises
from scipy.spatial.transform import Rotation

from armarc.api import NOTHING_KEPT, process
from armarc.recording import STANDARD_GRAVITY_M_S2, Recording
from armarc.reps.cycles import by_cycles
from live_runs import run, sets_in

REACH_M = 0.55
RATE_HZ = 100.0


def felt(angle_rad, rate_rad_s, rate_hz):
    """Turning and specific force at the wrist of a rigid arm that is raised to the side; x along the arm."""
    turning = np.gradient(rate_rad_s, 1 / rate_hz)
    omega, force = np.zeros((2, len(angle_rad), 3))
    omega[:, 2] = rate_rad_s
    force[:, 0] = -STANDARD_GRAVITY_M_S2 * np.cos(angle_rad) - REACH_M * rate_rad_s**2
    force[:, 1] = STANDARD_GRAVITY_M_S2 * np.sin(angle_rad) + REACH_M * turning
    return omega, force


def laid(*curves):
    """Raises one behind another as a recording."""
    rate_hz = curves[0].rate_hz
    angle, rate = (np.concatenate([getattr(c, name) for c in curves]) for name in ("angle_rad", "rate_rad_s"))
    omega, force = felt(angle, rate, rate_hz)
    noise = np.random.default_rng(1).normal(size=(2, *force.shape))
    return Recording(
        time_s=np.arange(len(angle)) / rate_hz,
        specific_force_m_s2=force + 0.03 * noise[0],
        angular_velocity_rad_s=omega + 0.003 * noise[1],
        rate_hz=rate_hz,
    )


@pytest.mark.parametrize("exercise", ["lateral-raise", "unknown"])
def test_high_and_low_raises_with_four_seconds_between_lose_no_rep(exercise):
    """The last high ones went with the low ones, one of them with neither: 3 and 12."""
    tops_deg = (119, 124, 133, 102, 92, 122)
    high = raises(tops_deg, up_s=0.8, hold_s=0.05, down_s=0.8, pause_s=0.1, still_s=3.0)
    low = raises((66,) * 10, up_s=0.8, hold_s=0.05, down_s=0.8, pause_s=0.1, still_s=3.0, after_s=3.0)
    recording = laid(high, low)
    sizes = [len(one.reps) for one in process(recording, exercise=exercise, kept=NOTHING_KEPT).sets]
    assert sizes == [6, 10]
    live = run(recording, exercise=exercise, side="right")
    assert [len(one.reps) for one in sets_in(live)] == sizes


WAITED = raises((90,) * 8, up_s=1.8, hold_s=1.0, down_s=2.0, pause_s=3.5, still_s=3.0, after_s=0.5)


@pytest.mark.parametrize("exercise", ["lateral-raise", "unknown"])
def test_another_rhythm_after_the_longest_stop_is_another_set(exercise):
    """Who waits before every rep, rests with the arm up and then goes on without a wait has lifted two sets."""
    held = raises((90,), up_s=1.8, hold_s=8.0, down_s=1.7, still_s=3.0, after_s=0.1)
    quick = raises((90,) * 7, up_s=1.8, hold_s=0.3, down_s=1.7, pause_s=0.1, still_s=0.0, after_s=3.0)
    recording = laid(WAITED, held, quick)
    sizes = [len(one.reps) for one in process(recording, exercise=exercise, kept=NOTHING_KEPT).sets]
    assert sizes == [8, 8]
    live = run(recording, exercise=exercise, side="right")
    assert [len(one.reps) for one in sets_in(live)] == sizes


@pytest.mark.parametrize("exercise", ["lateral-raise", "unknown"])
def test_another_rhythm_without_a_stop_is_the_same_set(exercise):
    quick = raises((90,) * 8, up_s=1.8, hold_s=1.0, down_s=2.0, pause_s=0.1, still_s=0.5, after_s=3.0)
    sets = process(laid(WAITED, quick), exercise=exercise, kept=NOTHING_KEPT).sets
    assert [len(one.reps) for one in sets] == [16]


@pytest.mark.parametrize("exercise", ["lateral-raise", "unknown"])
def test_a_breath_after_which_every_rep_waits_a_little_is_no_end_of_a_set(exercise):
    """The longest stop of all, and another rhythm after it; but less than half a rest is a breath."""
    brisk = raises((90,) * 6, up_s=0.9, hold_s=0.1, down_s=1.0, pause_s=0.0, still_s=3.0)
    tired = raises((90,) * 6, up_s=0.9, hold_s=0.1, down_s=1.0, pause_s=1.2, still_s=1.6, after_s=3.0)
    sets = process(laid(brisk, tired), exercise=exercise, kept=NOTHING_KEPT).sets
    assert [len(one.reps) for one in sets] == [12]


def test_a_breath_in_a_set_that_tires_is_no_end_of_it():
    fresh = raises((90,) * 7, up_s=1.2, down_s=1.4, pause_s=0.4, still_s=3.0)
    tired = raises((80, 70, 60), up_s=1.7, down_s=1.5, pause_s=0.6, still_s=5.0, after_s=3.0)
    sets = process(laid(fresh, tired), exercise="lateral-raise", kept=NOTHING_KEPT).sets
    assert [len(one.reps) for one in sets] == [10]


@pytest.mark.parametrize("seed", [9, 47, 98, 102, 117])
def test_reps_with_pulses_are_counted_by_their_turns(seed):
    """Half of the reps have one to three pulses at their top: what repeats with the pulses is no cycle of the reps."""
    rng = np.random.default_rng(seed)
    parts = []
    reps = int(rng.integers(6, 12))
    for _ in range(reps):
        pulses = int(rng.integers(1, 4)) if rng.random() < 0.5 else 0
        top_deg, up_s, down_s, still_s = rng.normal(90, 6), *rng.uniform(0.8, 2, 2), rng.uniform(0.1, 0.6)
        one = raises(
            (top_deg,), hold_s=max(0.3, pulses), up_s=up_s, down_s=down_s, still_s=still_s, after_s=0.2
        )
        since_s = np.arange(len(one.angle_rad)) / RATE_HZ - still_s - up_s
        dips = np.where((since_s > 0) & (since_s < pulses), np.sin(np.pi * since_s) ** 2, 0.0)
        parts.append(one.angle_rad - np.radians(15) * dips)
    angle = np.concatenate(parts)
    group = tuple(movements_of(angle, 0.5))
    assert len(group) == reps
    omega, force = felt(angle, np.gradient(angle, 1 / RATE_HZ), RATE_HZ)
    assert by_cycles((group,), lambda k: angle, omega, force, RATE_HZ) == (group,)


def turned_while_hanging(recording, at_s, turn_deg, for_s=1.5):
    """The same with the whole arm turned about the vertical while it hangs."""
    share = np.clip((recording.time_s - at_s) / for_s, 0, 1)
    rate = np.radians(turn_deg) * np.gradient(share - np.sin(2 * np.pi * share) / (2 * np.pi)) * RATE_HZ
    up = recording.specific_force_m_s2 / np.linalg.norm(recording.specific_force_m_s2, axis=1)[:, None]
    return replace(recording, angular_velocity_rad_s=recording.angular_velocity_rad_s + rate[:, None] * up)


@pytest.mark.parametrize(("turn_deg", "sizes"), [(75, [6, 5]), (10, [11])])
def test_front_raises_right_after_lateral_ones_are_a_set_of_their_own(turn_deg, sizes):
    """In the sensor both may turn the same way, as the hand turns with the plane."""
    lateral, front = (
        raises((90,) * n, up_s=1.0, hold_s=0.1, down_s=1.0, pause_s=0.2, still_s=still_s, after_s=2.0)
        for n, still_s in ((6, 3.0), (5, 2.5))
    )
    seconds = len(lateral.angle_rad) / RATE_HZ
    recording = turned_while_hanging(laid(lateral, front), seconds - 0.5, turn_deg)
    for exercise in ("lateral-raise", "unknown"):
        session = process(recording, exercise=exercise, kept=NOTHING_KEPT)
        assert [len(one.reps) for one in session.sets] == sizes


def test_a_resting_arm_that_sways_is_no_set():
    """To and fro by 4°: about the arm's own axis, which is nearly upright, the vertical turned by 23°."""
    one = raises((90,) * 8, up_s=1.0, hold_s=0.1, down_s=1.0, pause_s=0.2, still_s=3.0, after_s=0.5)
    t = np.arange(0, 30, 1 / RATE_HZ)
    turned = np.zeros((len(t), 3))
    turned[:, 1] = np.radians(2) * np.sin(2 * np.pi * t / 3.1)
    up = Rotation.from_rotvec(turned).inv().apply([-np.cos(np.radians(10)), np.sin(np.radians(10)), 0])
    of_set = laid(one)
    recording = Recording(
        time_s=np.arange(len(of_set.time_s) + len(t)) / RATE_HZ,
        specific_force_m_s2=np.vstack([of_set.specific_force_m_s2, STANDARD_GRAVITY_M_S2 * up]),
        angular_velocity_rad_s=np.vstack(
            [of_set.angular_velocity_rad_s, np.gradient(turned, axis=0) * RATE_HZ]
        ),
        rate_hz=RATE_HZ,
    )
    session = process(recording, exercise="lateral-raise", kept=NOTHING_KEPT)
    assert [len(each.reps) for each in session.sets] == [8]
