"""The arm of the raises, beside sets that only look like them."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

import armarc
from live_runs import recording

G_M_S2, TIMES, WAY_RAD, ONE_WAY_S, REST_S = 9.80665, 8, np.radians(60), 0.25, 12.0
"""Of a sensor turned to and fro in the hand, quicker than any raise."""


def measured(made):
    return armarc.process(made, exercise="lateral-raise", side="right", kept=armarc.NOTHING_KEPT)


def turned_in_the_hand(made, session):
    """A recording in whose rest the sensor is turned as a raise turns it, but about itself."""
    motion = session.motions[0]
    rest_s = (session.sets[0].end_s + session.sets[1].start_s) / 2
    k = int(np.searchsorted(made.time_s, rest_s))
    up = -made.specific_force_m_s2[k - 50 : k + 50].mean(axis=0)
    up /= -np.linalg.norm(up)
    rep = session.sets[0].reps[3].phases
    low, top = (
        Rotation.from_quat(motion.quaternion[np.searchsorted(motion.time_s, at_s)], scalar_first=True)
        for at_s in (rep.start_s, rep.top_start_s)
    )
    axis = (low.inv() * top).as_rotvec()
    axis -= (axis @ up) * up
    axis /= np.linalg.norm(axis)
    t = np.arange(0, 1, 1 / (ONE_WAY_S * made.rate_hz))
    smooth = 10 * t**3 - 15 * t**4 + 6 * t**5
    still = np.zeros(round(REST_S * made.rate_hz))
    pause = np.zeros(round(0.1 * made.rate_hz))
    angle = WAY_RAD * np.concatenate([still, np.tile(np.r_[smooth, smooth[::-1], pause], TIMES), still])
    force = G_M_S2 * Rotation.from_rotvec(-np.outer(angle, axis)).apply(up)
    omega = np.outer(np.gradient(angle) * made.rate_hz, axis)
    noise = np.random.default_rng(1).normal(size=(2, *force.shape))
    force, omega = (
        np.insert(each, k, beside, axis=0)
        for each, beside in (
            (made.specific_force_m_s2, force + 0.03 * noise[0]),
            (made.angular_velocity_rad_s, omega + 0.005 * noise[1]),
        )
    )
    time_s = made.time_s[0] + np.arange(len(force)) / made.rate_hz
    return replace(made, time_s=time_s, specific_force_m_s2=force, angular_velocity_rad_s=omega, clipped=None)


def test_quick_turns_in_the_hand_hide_no_arm():
    """They look like the raises and push harder than all of them: one lever arm of all had no length."""
    made, _ = recording(seed=3, sets=2, reps=8, rest_s=30.0)
    alone = measured(made)
    beside = measured(turned_in_the_hand(made, alone))
    raises = [one for one in beside.sets if not any("another_exercise" in rep.quality for rep in one.reps)]
    assert [len(one.reps) for one in raises] == [8, 8]
    assert beside.motions[0].mounting.method == alone.motions[0].mounting.method == "lever_arm"
    for one, other in zip(raises, alone.sets, strict=True):
        for key, off in (("rom_rad", np.radians(0.5)), ("start_velocity_rad_s", np.radians(1.0))):
            for rep, same in zip(one.reps, other.reps, strict=True):
                assert getattr(rep, key) == pytest.approx(getattr(same, key), abs=off)
