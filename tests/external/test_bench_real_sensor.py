"""The check on a real sensor, against what an optical system saw of it.

Source: the BROAD orientation benchmark (Laidig, Caruso, Cereatti, Seel 2021, Data 6(7):72,
doi 10.3390/data6070072, CC BY 4.0), whose marker system says when the sensor moved.
"""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest

from armarc.recording import Recording
from armarc.sensor.bench.check import check_sensor

FOLDER = Path(__file__).resolve().parents[3] / "shared" / "datasets" / "orientation"
pytestmark = pytest.mark.skipif(
    not FOLDER.is_dir(), reason="the windows of the BROAD benchmark are not beside the project"
)


def window(name: str) -> tuple[Recording, np.ndarray]:
    with np.load(FOLDER / name) as data:
        omega, force = data["gyr_rad_s"].astype(float), data["acc_m_s2"].astype(float)
        rate_hz = float(data["rate_hz"])
        moved = data["movement"].copy()
    made = Recording(
        time_s=np.arange(len(omega)) / rate_hz,
        specific_force_m_s2=force,
        angular_velocity_rad_s=omega,
        rate_hz=rate_hz,
    )
    return made, moved


def test_the_still_stretch_is_still_for_the_cameras_too() -> None:
    recording, moved = window("05_slow_rotation_with_breaks.npz")
    still = check_sensor(recording).still
    assert still is not None
    inside = (recording.time_s >= still.start_s) & (recording.time_s <= still.end_s)
    assert still.duration_s > 5
    assert not moved[inside].any()
    assert still.is_quite_still


def test_a_real_sensor_reads_gravity_and_noise_like_its_kind() -> None:
    recording, _ = window("05_slow_rotation_with_breaks.npz")
    still = check_sensor(recording).still
    assert still is not None
    # Berlin: 9.8128 m/s² (international gravity formula at 52.5° of latitude, from memory).
    assert still.gravity_m_s2 == pytest.approx(9.8128, rel=0.005)
    for axis in still.gyroscope:
        assert axis.terms is not None
        # Datasheets of wearable gyroscopes state 4 to 14 mdps/√Hz.
        assert 4 < 1000 * math.degrees(axis.terms.density) < 14
        assert axis.terms.whiteness == pytest.approx(1, abs=0.25)


@pytest.mark.parametrize(
    "name", ["09_fast_rotation_with_breaks.npz", "10_slow_translation.npz", "24_tapping.npz"]
)
def test_a_sensor_in_a_hand_is_not_taken_for_still(name: str) -> None:
    recording, _ = window(name)
    check = check_sensor(recording)
    assert check.still is None
    assert check.not_still == "the sensor was moving throughout"
