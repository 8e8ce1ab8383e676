"""What must not change a measure: how the sensor sits, which wrist, its bias, how often it is asked."""

import json
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from armarc.api import process
from armarc.recording import Metadata
from armarc.simulate import SensorPlan, SimulationOptions, plan_session, simulate_session

FEW = settings(max_examples=5, deadline=None)
SEEDS = st.integers(0, 10_000)
# Nothing but the movement is known: a stated strap would not fit a turned sensor.
UNKNOWN = Metadata(exercise="lateral-raise", side="right")


@cache
def raises(side="right", noise="common", bias=None, **simulated_as):
    plan = SimulationOptions(
        reps=4,
        still_s=2.0,
        side=side,
        sensor=SensorPlan(noise=noise, gyroscope_bias_rad_s=bias),
        **simulated_as,
    )
    recording, _ = simulate_session(plan_session(plan, 5), 5)
    return replace(recording, metadata=replace(UNKNOWN, side=side))


def reps(recording, **options):
    session = process(recording, **options)
    return [r for s in session.to_dict()["sets"] for r in s["reps"]]


def assert_alike(found, plain, *, rom=0.3, velocity=0.5, instant=0.01, swing=0.5):
    assert len(found) == len(plain)
    for a, b in zip(found, plain, strict=True):
        assert a["rom_deg"] == pytest.approx(b["rom_deg"], abs=rom)
        assert a["start_velocity_deg_s"] == pytest.approx(b["start_velocity_deg_s"], abs=velocity)
        assert a["body_swing_cm"] == pytest.approx(b["body_swing_cm"], abs=swing)
        for key in ("start_s", "top_start_s", "top_end_s", "end_s", "gate_s"):
            assert a[key] == pytest.approx(b[key], abs=instant)
        assert a["quality"] == b["quality"]


def turned(recording, rotation):
    return replace(
        recording,
        specific_force_m_s2=recording.specific_force_m_s2 @ rotation.as_matrix().T,
        angular_velocity_rad_s=recording.angular_velocity_rad_s @ rotation.as_matrix().T,
    )


@FEW
@given(SEEDS)
def test_the_place_of_the_sensor_on_the_wrist_changes_nothing(seed):
    found = reps(turned(raises(), Rotation.random(rng=seed)))
    assert_alike(found, reps(raises()), rom=0.02, velocity=0.02, instant=1e-3, swing=0.05)


@FEW
@given(st.tuples(*[st.floats(-3, 3)] * 3))
def test_a_constant_gyroscope_bias_cancels(bias_deg_s):
    recording = raises()
    shifted = replace(
        recording, angular_velocity_rad_s=recording.angular_velocity_rad_s + np.radians(bias_deg_s)
    )
    assert_alike(reps(shifted), reps(recording), rom=0.5, velocity=1.0, instant=0.02)


@FEW
@given(st.floats(0.6, 1.6))
def test_a_faster_clock_makes_a_slower_set(factor):
    # The same path in `factor` times the time: rates fall by it, the arm's own acceleration by its square.
    recording, truth = _ideal()
    time_s = recording.time_s * factor
    own = recording.specific_force_m_s2 - gravity(truth, recording.time_s)
    stretched = replace(
        recording,
        time_s=time_s,
        rate_hz=recording.rate_hz / factor,
        specific_force_m_s2=gravity(truth, recording.time_s) + own / factor**2,
        angular_velocity_rad_s=recording.angular_velocity_rad_s / factor,
    )
    for a, b in zip(reps(stretched), reps(recording), strict=True):
        assert a["rom_deg"] == pytest.approx(b["rom_deg"], abs=0.3)
        assert a["start_velocity_deg_s"] == pytest.approx(b["start_velocity_deg_s"] / factor, rel=0.01)
        # The thresholds of 5 °/s and the 6 Hz filter do not stretch along.
        assert a["concentric_s"] == pytest.approx(b["concentric_s"] * factor, abs=0.1)


@cache
def _ideal():
    plan = SimulationOptions(reps=4, sensor=SensorPlan(noise="ideal"), concentric_s=2.0, sway_m=0.0)
    return simulate_session(plan_session(plan, 5), 5)


def gravity(truth, time_s):
    at = np.clip(np.searchsorted(truth.series.time_s, time_s - 1e-6), 0, len(truth.series.time_s) - 1)
    pose = Rotation.from_quat(truth.series.quaternion[at], scalar_first=True)
    return pose.apply([0.0, 0.0, 9.80665], inverse=True)


def test_left_and_right_are_mirror_images():
    # Mirrored through the sagittal plane, polar vectors (force) and axial ones (angular velocity) change apart.
    right = raises()
    mirror = np.array([1.0, 1.0, -1.0])
    left = replace(
        right,
        specific_force_m_s2=right.specific_force_m_s2 * mirror,
        angular_velocity_rad_s=right.angular_velocity_rad_s * -mirror,
        metadata=replace(UNKNOWN, side="left"),
    )
    found, plain = reps(left), reps(right)
    assert_alike(found, plain, rom=0.02, velocity=0.02, instant=1e-3, swing=0.05)
    for a, b in zip(found, plain, strict=True):
        assert a["hand_rotation_change_deg"] == pytest.approx(b["hand_rotation_change_deg"], abs=0.05)


@FEW
@given(SEEDS)
def test_measuring_again_gives_the_same_bytes(seed):
    recording = turned(raises(), Rotation.random(rng=seed))
    one, two = (json.dumps(process(recording).to_dict(), allow_nan=False) for _ in range(2))
    assert one == two


@FEW
@given(st.floats(0.3, 8.0))
def test_standing_still_before_the_set_changes_nothing(seconds):
    recording = raises()
    n = round(seconds * 100)
    # The first still second over and over.
    again = np.arange(n) % 100
    longer = replace(
        recording,
        time_s=np.arange(n + len(recording.time_s)) / 100,
        specific_force_m_s2=np.vstack([recording.specific_force_m_s2[again], recording.specific_force_m_s2]),
        angular_velocity_rad_s=np.vstack(
            [recording.angular_velocity_rad_s[again], recording.angular_velocity_rad_s]
        ),
        clipped=None,
    )
    found = reps(longer)
    for rep in found:
        for key in ("start_s", "top_start_s", "top_end_s", "end_s", "gate_s"):
            rep[key] -= n / 100
    assert_alike(found, reps(recording), rom=0.5, velocity=1.0, instant=0.02)


@FEW
@given(st.integers(1, 3))
def test_a_wider_band_never_takes_a_rep_out(step):
    recording = raises()
    inside = [
        sum(r["start_verdict"] == "inside" for r in reps(recording, band_deg_s=(57 - w, 57 + w)))
        for w in (step, 3 * step, 20)
    ]
    assert inside == sorted(inside)
