"""A case on a spring: its own equation of motion, solved by SciPy, and what is read and taken out of it."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.signal import butter, lsim, sosfiltfilt
from scipy.spatial.transform import Rotation

from armarc.motion.strap_lean import StrapLean, read_strap_lean, without_lean
from armarc.recording import STANDARD_GRAVITY_M_S2

HZ, PER_M, REACH_M = 100.0, 40.0, 0.55
ARM, ROCK, AXIS = np.array([1.0, 0.0, 0.0]), np.array([0.0, 0.6, 0.8]), np.array([0.0, 1.0, 0.0])
"""The arm, what the case rocks about and what the arm is raised about; sensor axes, as long as it does not lean."""


def trembling(rng, n, size, low=7.0, high=13.0):
    noise = rng.normal(size=n)
    seen = sosfiltfilt(butter(3, (low, high), "band", fs=10 * HZ, output="sos"), noise)
    return size * seen / seen.std()


def worn(c_rad_s2_m, *, seconds=30.0, damping=0.2, seed=7):
    """An arm that goes up and down and trembles, and a case on it, at 100 Hz: quaternion, ω, f, lean, the arm's ω, f.

    The shoulder shakes as well. κ is `PER_M`, the case's own frequency squared κ/C.
    """
    rng = np.random.default_rng(seed)
    n = int(10 * HZ * seconds)
    t = np.arange(n) / (10 * HZ)
    raised = math.radians(45) * (1 - np.cos(2 * np.pi * t / 3.5)) + trembling(rng, n, 2e-4)
    aside = trembling(rng, n, 2e-4)
    arm = Rotation.from_rotvec(np.outer(-raised, AXIS)) * Rotation.from_rotvec(
        np.outer(aside, [0.0, 0.0, 1.0])
    )
    hangs = Rotation.from_matrix(np.array([[0.0, 0.0, 1.0], [0.0, 1.0, 0.0], [-1.0, 0.0, 0.0]]))
    arm = hangs * arm
    shoulder = np.stack([trembling(rng, n, 3e-5) for _ in range(3)], axis=1)
    place = shoulder + REACH_M * arm.apply(ARM)
    moved = np.gradient(np.gradient(place, t, axis=0), t, axis=0)
    felt = arm.inv().apply(moved + np.array([0.0, 0.0, STANDARD_GRAVITY_M_S2]))
    turning = (arm[:-1].inv() * arm[1:]).as_rotvec() * 10 * HZ
    turning = np.concatenate([turning[:1], 0.5 * (turning[1:] + turning[:-1]), turning[-1:]])
    lean = np.zeros(n)
    if c_rad_s2_m:
        own2 = PER_M / c_rad_s2_m
        driven = PER_M * (felt @ ARM) - np.gradient(turning @ ROCK, t)
        oscillator = ([1.0], [1.0, 2 * damping * math.sqrt(own2), own2])
        lean = driven[0] / own2 + lsim(oscillator, driven - driven[0], t)[1]
    case_on_arm = Rotation.from_rotvec(np.outer(lean, ROCK))
    omega = case_on_arm.inv().apply(turning) + np.outer(np.gradient(lean, t), ROCK)
    force = case_on_arm.inv().apply(felt)
    quaternion = (arm * case_on_arm).as_quat(scalar_first=True)
    return tuple(x[::10] for x in (quaternion, omega, force, lean, turning, felt))


def read(quaternion, omega, force, rate_hz=HZ, **more):
    n = len(omega)
    missing = more.get("missing", np.zeros(n, bool))
    return read_strap_lean(quaternion, omega, force, rate_hz, ARM, more.get("ranges", [(0, n)]), missing)


def noisy(values, size, seed=3):
    return values + np.random.default_rng(seed).normal(0, size, values.shape)


@pytest.mark.parametrize("c", [4.5e-3, 7e-3, 1e-2])
def test_a_lean_is_read_where_the_case_trembles(c):
    quaternion, omega, force, *_ = worn(c)
    lean = read(quaternion, noisy(omega, 1e-3), noisy(force, 0.01))
    assert np.linalg.norm(lean.turns - c * ROCK) < 0.3 * c
    assert lean.believed > 0.5
    assert math.degrees(lean.level_rad) == pytest.approx(math.degrees(c * STANDARD_GRAVITY_M_S2), rel=0.3)


@pytest.mark.parametrize("c", [0.0, 1.2e-3])
def test_of_a_firm_strap_nothing_is_taken_out(c):
    quaternion, omega, force, *_ = worn(c)
    lean = read(quaternion, noisy(omega, 1e-3), noisy(force, 0.01))
    assert np.linalg.norm(lean.turns - c * ROCK) < 1e-3
    assert lean.believed == lean.left == 0


def test_a_case_that_wobbles_without_being_pulled_does_not_lean():
    quaternion, _, _, _, turning, felt = worn(0.0)
    t = np.arange(len(felt)) / HZ
    swing = math.radians(0.5) * np.sin(2 * np.pi * 7 * t)
    wobble = Rotation.from_rotvec(np.outer(swing, ROCK))
    # 2 cm above the point it turns about.
    outward = np.cross(ROCK, ARM)
    own = np.outer(np.gradient(np.gradient(swing, t), t), np.cross(ROCK, 0.02 * outward))
    arm = Rotation.from_quat(quaternion, scalar_first=True)
    omega = wobble.inv().apply(turning) + np.outer(np.gradient(swing, t), ROCK)
    lean = read(
        (arm * wobble).as_quat(scalar_first=True),
        noisy(omega, 1e-3),
        noisy(wobble.inv().apply(felt + own), 0.01),
    )
    assert lean.believed == 0


def test_what_was_read_is_taken_out_of_the_readings():
    c = 7e-3
    _, omega, force, lean, turning, felt = worn(c)
    assert np.degrees(np.ptp(lean)) > 3.5
    firm_omega, firm_force = without_lean(omega, force, HZ, ARM, c * ROCK)
    slow = butter(2, 3.0, fs=HZ, output="sos")
    inside = slice(100, -100)
    for got, wanted, most in ((firm_omega, turning, 0.02), (firm_force, felt, 0.05)):
        off = sosfiltfilt(slow, got - wanted, axis=0)[inside]
        assert np.sqrt((off**2).mean(axis=0)).max() < most
    assert np.sqrt(((force - felt)[inside] ** 2).mean(axis=0)).max() > 0.2  # what there was to take out


def test_nothing_believed_changes_nothing():
    _, omega, force, *_ = worn(7e-3, seconds=5)
    for got, wanted in zip(without_lean(omega, force, HZ, ARM, np.zeros(3)), (omega, force), strict=True):
        assert got == pytest.approx(wanted, abs=1e-12)


def test_a_short_set_a_slow_sensor_and_gaps_tell_nothing():
    quaternion, omega, force, *_ = worn(7e-3, seconds=12)
    n = len(omega)
    assert read(quaternion, omega, force, ranges=[(0, 300)]) is None
    assert read(quaternion, omega, force, ranges=[]) is None
    assert read(quaternion[::8], omega[::8], force[::8], HZ / 8) is None
    often = np.zeros(n, bool)
    often[::100] = True
    assert read(quaternion, omega, force, missing=often) is None
    assert read(quaternion, omega, force) is not None


def test_the_less_is_sure_the_less_is_believed():
    sure, unsure, hardly = (
        StrapLean(turns=7e-3 * ROCK, se=se, likely=likely)
        for se, likely in ((1e-3, 1.0), (4e-3, 1.0), (1e-3, 0.1))
    )
    assert sure.believed > 0.8 > unsure.believed > 0.25 > hardly.believed == 0
    assert unsure.left > sure.left > hardly.left == 0
