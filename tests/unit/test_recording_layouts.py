"""Layouts of tables that loggers write: one movement, thirty ways to put it down."""

from __future__ import annotations

from datetime import datetime, timedelta

import numpy as np
import pytest
from invented_movement import GRAVITY, movement, text_table

from armarc.errors import FormatError
from armarc.recording import read_csv

T, FORCE, TURNING = movement()
N = len(T)
A, A_G, W, W_DEG = list(FORCE.T), list(FORCE.T / GRAVITY), list(TURNING.T), list(np.degrees(TURNING).T)
START = datetime(2024, 5, 17, 18, 3, 5)
INSTANTS = [START + timedelta(seconds=float(second)) for second in T]
ISO = [instant.isoformat(timespec="milliseconds") for instant in INSTANTS]
GERMAN_DATE = [instant.strftime("%d.%m.%Y %H:%M:%S,%f")[:-3] for instant in INSTANTS]
CLOCK = [text[11:] for text in ISO]
EPOCH_MS = [f"{1715968985120 + round(1000 * second)}" for second in T]
STILL = [np.full(N, value) for value in (0.7, 0.1, -0.7, 0.1)]
PLAIN = ("ax", "ay", "az", "gx", "gy", "gz")


def xyz(pattern: str) -> list[str]:
    return [pattern.format(axis) for axis in "xyz"]


LAYOUTS = {
    "German, decimal comma": text_table(
        [T, *A, *W_DEG], ["Zeit (s)", *xyz("Beschleunigung {}"), *xyz("Drehrate {}")], delimiter=";", decimal=","
    ),
    "German, short": text_table(
        [EPOCH_MS, *A, *W_DEG], ["Zeitstempel", *xyz("Beschl_{}"), *xyz("Gyro_{}")], delimiter=";", decimal=","
    ),
    "German, date and time": text_table([GERMAN_DATE, *A, *W], ["Zeit", *PLAIN], delimiter=";"),
    "German, date beside time": text_table(
        [["17.05.2024"] * N, CLOCK, *A, *W], ["Datum", "Uhrzeit", *PLAIN], delimiter=";"
    ),
    "French": text_table(
        [T, *A, *W], ["Temps (s)", *xyz("Accélération {} (m/s²)"), *xyz("Vitesse angulaire {} (rad/s)")], delimiter=";"
    ),
    "Italian": text_table(
        [1000 * T, *A, *W], ["Tempo (ms)", *xyz("Accelerazione {}"), *xyz("Giroscopio {}")], delimiter=";", decimal=","
    ),
    "Spanish": text_table([T, *A, *W], ["Tiempo (s)", *xyz("Aceleración {}"), *xyz("Giroscopio {}")]),
    "microseconds since 1970": text_table([[f"{e}000" for e in EPOCH_MS], *A, *W], ["timestamp", *PLAIN]),
    "nanoseconds since 1970": text_table([[f"{e}000000" for e in EPOCH_MS], *A, *W], ["timestamp", *PLAIN]),
    "ISO 8601 with a zone": text_table([[f"{i}+02:00" for i in ISO], *A, *W], ["datetime", *PLAIN]),
    "row numbers without a name": text_table([range(N), T, *A, *W], ["", "time", *PLAIN], digits=6),
    "no header, row numbers": text_table([[str(i) for i in range(N)], T, *A, *W], []),
    "byte order mark": "\ufeff" + text_table([T, *A, *W], ["time", *PLAIN]),
    "quaternions beside": text_table([T, *STILL, *A, *W], ["time", "qw", "qx", "qy", "qz", *PLAIN]),
    "orientation, and gravity in what is called linear": text_table(
        [T, *STILL, *W, *A],
        ["time", *xyz("orientation_{}"), "orientation_w", *xyz("angular_velocity_{}"), *xyz("linear_acceleration_{}")],
    ),
    "temperature and magnetometer beside": text_table(
        [1000 * T, *A_G, *W_DEG, *STILL], ["time_ms", *xyz("acc_{}"), *xyz("gyr_{}"), *xyz("mag_{}"), "temp_c"]
    ),
    "header in two rows": text_table([T, *A, *W], []).replace(
        "", "Time,Accelerometer,,,Gyroscope,,\n,x,y,z,x,y,z\n", 1
    ),
    "row of units": text_table([T, *A, *W_DEG], []).replace(
        "", "time,ax,ay,az,gx,gy,gz\ns,m/s²,m/s²,m/s²,°/s,°/s,°/s\n", 1
    ),
    "the first of several sensors": text_table([T, *A, *W], ["t", *xyz("a{}1"), *xyz("g{}1")]),
    "raw in the name": text_table([T, *A, *W], ["t", *xyz("a{}_raw"), *xyz("g{}_raw")]),
    "Greek letters": text_table([T, *A, *W], ["t", *xyz("a_{}"), *xyz("ω_{}")]),
    "axes backwards": text_table(
        [T, *A[::-1], *W[::-1]], ["time", "acc_z", "acc_y", "acc_x", "gyro_z", "gyro_y", "gyro_x"]
    ),
    "milli-g and milliseconds": text_table(
        [1000 * T, *(1000 * a for a in A_G), *W_DEG], ["ms", *xyz("{} (mg)"), *xyz("{} (dps)")]
    ),
}  # fmt: skip


@pytest.mark.parametrize("layout", LAYOUTS)
def test_layout(tmp_path, layout):
    path = tmp_path / "recording.csv"
    path.write_text(LAYOUTS[layout], encoding="utf-8")
    recording = read_csv(path)
    np.testing.assert_allclose(recording.specific_force_m_s2, FORCE, atol=2e-4)
    np.testing.assert_allclose(recording.angular_velocity_rad_s, TURNING, atol=2e-4)
    np.testing.assert_allclose(recording.time_s, T, atol=2e-3)
    assert recording.warnings == ()


@pytest.mark.parametrize("labels", [("ACC", "GYRO"), ("type_accelerometer", "type_gyroscope"), ("a", "g")])
def test_rows_of_two_sensors_by_turns(tmp_path, labels):
    """One reading per row, the values in columns that say nothing."""
    lines = ["timestamp;type;value1;value2;value3"]
    for i in range(N):
        for label, values in zip(labels, (FORCE, TURNING), strict=True):
            lines.append(";".join([EPOCH_MS[i], label, *(f"{value:.6f}" for value in values[i])]))
    path = tmp_path / "recording.csv"
    path.write_text("\n".join(lines))
    recording = read_csv(path)
    np.testing.assert_allclose(recording.specific_force_m_s2, FORCE, atol=1e-5)
    np.testing.assert_allclose(recording.angular_velocity_rad_s, TURNING, atol=1e-5)


# Gravity as the movement has it, and a push of 1 m/s² that averages out.
PUSH = np.column_stack([np.sin(3 * T), np.cos(5 * T), np.sin(4 * T)])
BOTH = FORCE + PUSH


@pytest.mark.parametrize(
    ("header", "columns", "said"),
    [
        # W3C Accelerometer specification: a LinearAccelerationSensor and a GravitySensor add to the Accelerometer.
        ([*xyz("linear_acceleration_{}"), *xyz("gravity_{}")], [PUSH, FORCE], "were added"),
        ([*xyz("acc_{}"), *xyz("grav_{}")], [PUSH, FORCE], "were added"),
        ([*xyz("dynamic_acc_{}"), *xyz("static_acc_{}")], [PUSH, FORCE], "were added"),
        ([*xyz("linear_acceleration_{} (g)"), *xyz("gravity_{} (m/s2)")], [PUSH / GRAVITY, FORCE], "were added"),
        ([*xyz("user_acceleration_{}"), *xyz("gravity_{}")], [-PUSH / GRAVITY, -FORCE / GRAVITY], "were added"),
        ([*xyz("acc_{}"), *xyz("gravity_{}")], [BOTH, FORCE], "hold gravity already"),
        # W3C Device Orientation and Motion: both accelerations stand side by side.
        ([*xyz("acceleration.{}"), *xyz("accelerationIncludingGravity.{}")], [PUSH, BOTH], ""),
    ],
)  # fmt: skip
def test_gravity_in_columns_of_its_own(tmp_path, header, columns, said):
    path = tmp_path / "recording.csv"
    cells = [T, *(column for block in columns for column in block.T), *W]
    path.write_text(text_table(cells, ["time", *header, *xyz("gyroscope_{}")]))
    recording = read_csv(path)
    np.testing.assert_allclose(recording.specific_force_m_s2, BOTH, atol=1e-4)
    assert said in " ".join(recording.source.inferences)


@pytest.mark.parametrize("name", ["linear_acceleration_{}", "user_acceleration_{} (g)", "acceleration_{}"])
def test_acceleration_without_gravity_says_what_to_record(tmp_path, name):
    path = tmp_path / "recording.csv"
    path.write_text(text_table([T, *PUSH.T, *W], ["time", *xyz(name), *xyz("gyroscope_{}")]))
    with pytest.raises(FormatError, match="gravity was removed") as refusal:
        read_csv(path)
    assert "gravity in columns of its own" in str(refusal.value)
