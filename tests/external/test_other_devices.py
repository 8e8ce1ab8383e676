"""Files of sensors of four makers, with the orientation their own filters gave.

Carried by the package ``scikit-kinematics`` (T. Haslwanter, BSD licence) to test its readers: no arms, moved by hand,
on legs, lying on a table. What they are worth here: how real programs write files, and inclinations of other
filters, with magnetometers, at the same samples. Those are no truth: an independent offline filter (``vqf``, Laidig &
Seel 2023, Information Fusion 91:187) lies as far from them.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
import pytest
from carried import carried
from scipy.spatial.transform import Rotation

import armarc
from armarc.motion.orientation import estimate_orientation


@dataclass(frozen=True)
class Device:
    """A file, how it is read, what is known about it, and where its own filter's quaternions are."""

    file: str
    rate_hz: float
    units: tuple[str, str]
    quaternions: str
    limit_deg: float
    """Of the difference to the device's filter, RMS; set after looking, some 1.3 times what was found."""
    reading: tuple[tuple[str, float], ...] = ()
    global_first: bool = False
    """The quaternions turn global into sensor coordinates."""


DEVICES = {
    "time in µs, °/s and g by name": Device(
        "data_xio3/Inertial.csv", 49.915, ("g", "deg/s"), "data_xio3/Quaternion.csv", 0.3
    ),
    "time in s, °/s and g by name": Device(
        "data_ngimu/sensors.csv", 49.913, ("g", "deg/s"), "data_ngimu/quaternion.csv", 2.0, global_first=True
    ),
    "a counter, its rate in a comment, no units": Device(
        "data/data_xsens.txt", 50.0, ("m/s2", "rad/s"), "data/data_xsens.txt", 2.9
    ),
    "numbers of packets and no rate": Device(
        "data_xio/00033_CalInertialAndMag.csv", 256.0, ("g", "deg/s"), "data_xio/00033_Quaternion.csv", 5.0,
        reading=(("rate_hz", 256.0),), global_first=True,
    ),
}  # fmt: skip


def path_of(end):
    return carried("scikit-kinematics", end)


def read(device):
    return armarc.read_csv(path_of(device.file), kept=armarc.NOTHING_KEPT, **dict(device.reading))


def vertical(quaternions):
    """Which way is up in sensor axes; scalar first, sensor to global."""
    return Rotation.from_quat(np.roll(quaternions, -1, axis=1)).inv().apply([0.0, 0.0, 1.0])


def told_by_device(device):
    """Times on the recording's clock and the vertical of the device's own filter."""
    path = path_of(device.quaternions)
    if path.suffix == ".txt":
        table = pd.read_csv(path, sep="\t", skiprows=4, index_col=False)
        times = (table["Counter"] - table["Counter"][0]).to_numpy() / device.rate_hz
        quaternions = table[["Quat_w", "Quat_x", "Quat_y", "Quat_z"]].to_numpy()
    else:
        table, readings = pd.read_csv(path), pd.read_csv(path_of(device.file))
        stamps, first = table.iloc[:, 0].to_numpy(float), readings.iloc[:, 0].to_numpy(float)
        if "packet" in readings.columns[0].casefold():
            times = np.interp(stamps, first, np.arange(len(first)) / device.rate_hz)
        else:
            times = (stamps - first[0]) * (1e-6 if "us" in readings.columns[0] else 1.0)
        quaternions = table.iloc[:, 1:5].to_numpy(float)
    if device.global_first:
        quaternions = quaternions * [1, -1, -1, -1]
    return times, vertical(quaternions)


def apart_deg(recording, quaternions, times, up):
    """RMS angle between two courses of the vertical in the sensor."""
    mine = vertical(quaternions)
    mine = np.column_stack([np.interp(times, recording.time_s, axis) for axis in mine.T])
    inside = (times >= recording.time_s[0]) & (times <= recording.time_s[-1])
    cosine = np.sum(mine * up, axis=1) / np.linalg.norm(mine, axis=1)
    return float(np.sqrt(np.mean(np.degrees(np.arccos(np.clip(cosine[inside], -1, 1))) ** 2)))


@pytest.mark.parametrize("name", DEVICES)
def test_files_as_other_programs_write_them_are_read(name):
    device = DEVICES[name]
    recording = read(device)
    assert recording.rate_hz == pytest.approx(device.rate_hz, abs=0.01)
    units = recording.source.units
    assert (units["acceleration"], units["angular_velocity"]) == device.units
    still = np.linalg.norm(recording.specific_force_m_s2, axis=1)
    assert np.median(still) == pytest.approx(9.81, rel=0.02)


def test_a_line_of_comment_with_the_names_and_readings_without_units():
    recording = armarc.read_csv(path_of("data/data_yei.txt"), kept=armarc.NOTHING_KEPT)
    assert {axis: recording.source.columns[axis] for axis in ("ax", "gx")} == {
        "ax": "%float(RawAccelX)",
        "gx": "%float(RawGyroX)",
    }
    assert (recording.source.units["acceleration"], recording.source.units["angular_velocity"]) == (
        "g",
        "rad/s",
    )
    assert recording.rate_hz == pytest.approx(110, abs=1)


@pytest.mark.parametrize("name", DEVICES)
def test_inclination_is_that_of_the_devices_own_filters(name):
    device = DEVICES[name]
    recording = read(device)
    times, up = told_by_device(device)
    moved = np.degrees(np.arccos(np.clip(up @ up[0], -1, 1))).max()
    assert moved > 25  # it was turned about, or nothing would be shown
    gyroscope, force = recording.angular_velocity_rad_s, recording.specific_force_m_s2
    off = apart_deg(recording, estimate_orientation(gyroscope, force, recording.rate_hz), times, up)
    assert off < device.limit_deg
    vqf = pytest.importorskip("vqf", reason="the independent filter")
    other = vqf.offlineVQF(
        np.ascontiguousarray(gyroscope), np.ascontiguousarray(force), None, 1 / recording.rate_hz
    )["quat6D"]
    assert off < 1.2 * apart_deg(recording, other, times, up) + 0.1


@pytest.mark.parametrize(
    "end", ["data/data_yei.txt", "data/data_xsens.txt", "data_ngimu/sensors.csv", "data_xio3/Inertial.csv"]
)
def test_a_sensor_turned_about_in_the_hand_is_no_raise(end):
    recording = armarc.read_csv(path_of(end), kept=armarc.NOTHING_KEPT)
    assert armarc.process(recording, exercise="lateral-raise", kept=armarc.NOTHING_KEPT).sets == ()
