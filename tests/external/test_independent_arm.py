"""The whole road on an arm that owes nothing to the project's simulator.

A rigid arm swings in one plane by minimum-jerk profiles (Flash & Hogan 1985, J Neurosci 5:1688); its angular
velocity comes from SciPy's `Rotation`, its acceleration from second differences of the sensor's path at 1 kHz. The
sensor sits at a random attitude. What the gate, the range and the count must be follows from the profile alone.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

import armarc

BOTTOM_DEG, REACH_M = 8.0, 0.58
UP_M_S2 = np.array([0.0, 0.0, 9.81])
STEP_S = 1e-3


def minimum_jerk(time_s, duration_s):
    s = np.clip(time_s / duration_s, 0.0, 1.0)
    return 10 * s**3 - 15 * s**4 + 6 * s**5


def lifted(path, *, reps, up_s, down_s, hold_s=0.3, pause_s=0.5, top_deg=88.0, rate_hz=100, still_s=2.0):
    """Write a CSV in g and °/s; return the true gate speed, °/s, and range, °."""
    rng = np.random.default_rng(reps)
    time_s = np.arange(0, still_s + reps * (up_s + down_s + hold_s + pause_s) + 2, STEP_S)
    angle_deg, start_s = np.full(len(time_s), BOTTOM_DEG), still_s
    rom_deg = top_deg - BOTTOM_DEG
    for _ in range(reps):
        rising = BOTTOM_DEG + rom_deg * minimum_jerk(time_s - start_s, up_s)
        angle_deg = np.where(time_s >= start_s, rising, angle_deg)
        lowered_s = start_s + up_s + hold_s
        falling = top_deg - rom_deg * minimum_jerk(time_s - lowered_s, down_s)
        angle_deg = np.where(time_s >= lowered_s, falling, angle_deg)
        start_s = lowered_s + down_s + pause_s
    fine = np.linspace(0, up_s, 20001)
    near, far = np.interp([10.0, 20.0], rom_deg * minimum_jerk(fine, up_s), fine)

    theta, plane = np.radians(angle_deg), np.radians(20)
    side = np.array([np.cos(plane), np.sin(plane), 0.0])
    down = np.array([0.0, 0.0, -1.0])
    along = np.sin(theta)[:, None] * side + np.cos(theta)[:, None] * down
    across = np.cos(theta)[:, None] * side - np.sin(theta)[:, None] * down
    arm = Rotation.from_matrix(np.stack([along, across, np.cross(along, across)], axis=2))
    sensor = arm * Rotation.random(random_state=reps).inv()
    sway_m = 0.004 * np.stack([np.sin(1.1 * time_s), np.cos(0.7 * time_s), np.sin(0.9 * time_s)], axis=1)
    path_m = REACH_M * along + sway_m
    acceleration = np.gradient(np.gradient(path_m, STEP_S, axis=0), STEP_S, axis=0)
    force = sensor.inv().apply(acceleration + UP_M_S2)
    turning = (sensor[:-1].inv() * sensor[1:]).as_rotvec() / STEP_S
    turning = np.vstack([turning, turning[-1:]])
    every = slice(None, None, 1000 // rate_hz)
    force = force[every] + rng.normal(0, 0.02, force[every].shape) + rng.uniform(-0.15, 0.15, 3)
    turning = np.degrees(turning[every]) + rng.normal(0, 0.1, turning[every].shape) + rng.uniform(-1, 1, 3)
    table = np.column_stack([np.round(1000 * time_s[every]), force / 9.80665, turning])
    header = "timestamp_ms,acc_x,acc_y,acc_z,gyr_x,gyr_y,gyr_z"
    np.savetxt(path, table, delimiter=",", header=header, comments="", fmt="%.5f")
    return 10.0 / (far - near), rom_deg


@pytest.mark.parametrize(
    "how",
    [
        {"reps": 10, "up_s": 1.2, "down_s": 2.0},
        {"reps": 8, "up_s": 0.7, "down_s": 1.2},
        {"reps": 3, "up_s": 3.0, "down_s": 4.0},
        {"reps": 9, "up_s": 1.2, "down_s": 1.6, "still_s": 0.05, "pause_s": 0.0},
        {"reps": 40, "up_s": 0.8, "down_s": 1.0, "pause_s": 0.2, "hold_s": 0.0},
        {"reps": 6, "up_s": 1.2, "down_s": 2.0, "rate_hz": 50},
        {"reps": 7, "up_s": 1.2, "down_s": 2.0, "top_deg": 50.0},
    ],
)
def test_counts_ranges_and_starts_are_those_of_the_profile(tmp_path, how):
    speed_deg_s, rom_deg = lifted(tmp_path / "set.csv", **how)
    session = armarc.process(armarc.read_csv(tmp_path / "set.csv"), exercise="lateral-raise")
    table = session.frame()
    assert [len(one.reps) for one in session.sets] == [how["reps"]]
    assert np.sqrt(np.mean((table["rom_deg"] - rom_deg) ** 2)) < 0.5
    assert np.sqrt(np.mean((table["start_velocity_deg_s"] - speed_deg_s) ** 2)) < 1.0
    assert np.abs(table["top_deg"] - (BOTTOM_DEG + rom_deg)).max() < 1.5
    assert session.motions[0].mounting.method == "lever_arm"
    assert session.motions[0].mounting.reach_m == pytest.approx(REACH_M, abs=0.02)
