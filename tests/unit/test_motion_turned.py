"""The angle about a set's own axis: what a lifter does who faces elsewhere in the next set."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from armarc.motion.turned import risen, turned_angle

RATE_HZ = 100.0


def curls_and_a_turn(turned_deg: float) -> tuple[np.ndarray, np.ndarray, tuple[tuple[int, int], ...]]:
    """Two sets of four reps of 80° about a level axis; in between the body turns on the spot."""
    time_s = np.arange(0, 30, 1 / RATE_HZ)
    reps = np.where(
        (time_s % 15 > 2) & (time_s % 15 < 14), 0.5 - 0.5 * np.cos(2 * np.pi * (time_s % 15 - 2) / 3), 0
    )
    heading = turned_deg * np.clip((time_s - 14.5) / 1.5, 0, 1)
    pose = Rotation.from_euler("z", heading[:, None], degrees=True) * Rotation.from_euler(
        "y", -80 * reps[:, None], degrees=True
    )
    omega = np.zeros((len(time_s), 3))
    omega[:-1] = (pose[:-1].inv() * pose[1:]).as_rotvec() * RATE_HZ
    return np.roll(pose.as_quat(), 1, axis=1), omega, ((150, 1420), (1660, 2950))


@pytest.mark.parametrize("turned_deg", [0, 60, 90, 180])
def test_every_set_has_its_whole_range_wherever_the_lifter_faces(turned_deg):
    quaternion, omega, ranges = curls_and_a_turn(turned_deg)
    notes: list[str] = []
    angle, rate, coordinate = turned_angle(quaternion, omega, np.eye(3)[0], "movement", ranges, notes)
    assert coordinate == "movement"
    assert notes == []
    for first, stop in ranges:
        assert np.degrees(np.ptp(angle[first:stop])) == pytest.approx(80, abs=0.1)
        change = np.diff(angle[first:stop]) * RATE_HZ
        np.testing.assert_allclose(change, rate[first : stop - 1], atol=1e-6)
    assert np.degrees(np.abs(np.diff(angle)).max()) < 1  # no jump between the sets


def test_each_set_is_turned_round_by_its_own_reps():
    quaternion, omega, ranges = curls_and_a_turn(180)
    angle, rate, _ = turned_angle(quaternion, omega, np.eye(3)[0], "movement", ranges, [])
    fallen = angle.copy()
    fallen[1540:] = 2 * fallen[1540] - fallen[1540:]
    sets = [((200, 350, 500), (500, 650, 800)), ((1700, 1850, 2000), (2000, 2150, 2300))]
    up, speed = risen(fallen, rate, sets)
    for reps in sets:
        for bottom, top, _ in reps:
            assert np.degrees(up[top] - up[bottom]) == pytest.approx(80, abs=0.1)
    assert np.abs(np.diff(up)).max() == pytest.approx(np.abs(np.diff(angle)).max())
    assert speed.shape == rate.shape
