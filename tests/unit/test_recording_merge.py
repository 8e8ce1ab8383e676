"""Accelerometer and gyroscope that come apart: two files, two rates, one reading per row."""

from __future__ import annotations

import numpy as np
import pytest
from invented_movement import GRAVITY, HEADER, movement, text_table

from armarc.errors import FormatError, TimingError
from armarc.recording import read_csv

T, FORCE, TURNING = movement()
N = len(T)
ALONE = ("time", "x", "y", "z")


def write(tmp_path, name, text):
    path = tmp_path / name
    path.write_text(text)
    return path


def smooth_at(times, values):
    return np.column_stack([np.interp(times, T, values[:, axis]) for axis in range(3)])


@pytest.mark.parametrize(
    ("header_a", "header_g"),
    [(ALONE, ALONE), (("time", "ax", "ay", "az"), ("time", "gyro_x", "gyro_y", "gyro_z"))],
)
def test_two_files(tmp_path, header_a, header_g):
    at = T[::2] + 0.1
    first = write(tmp_path, "a.csv", text_table([T, *(FORCE.T / GRAVITY)], header_a))
    second = write(tmp_path, "g.csv", text_table([at, *np.degrees(TURNING[::2]).T], header_g))
    recording = read_csv(first, gyroscope_path=second)
    # The common span begins with the gyroscope, and the accelerometer's higher rate is kept.
    assert recording.rate_hz == pytest.approx(100.0)
    rows = (T >= 0.1 - 1e-9) & (at[-1] + 1e-9 >= T)
    assert len(recording.time_s) == rows.sum()
    np.testing.assert_allclose(recording.specific_force_m_s2, FORCE[rows], atol=1e-5)
    expected = np.column_stack([np.interp(T[rows], at, TURNING[::2, axis]) for axis in range(3)])
    np.testing.assert_allclose(recording.angular_velocity_rad_s, expected, atol=1e-6)
    assert " + " in recording.source.file
    assert any("share one clock" in sentence for sentence in recording.source.inferences)
    assert any(
        "(50 Hz) were merged at the times of the accelerometer" in s for s in recording.source.inferences
    )


def test_two_files_on_absolute_clocks(tmp_path):
    stamps = [f"{round(1e3 * (1.7e9 + t)):d}" for t in T]
    later = [f"{round(1e3 * (1.7e9 + t)):d}" for t in T[200:]]
    first = write(tmp_path, "a.csv", text_table([stamps, *(FORCE.T / GRAVITY)], ALONE))
    second = write(tmp_path, "g.csv", text_table([later, *np.degrees(TURNING[200:]).T], ALONE))
    recording = read_csv(first, gyroscope_path=second)
    np.testing.assert_allclose(recording.specific_force_m_s2, FORCE[200:], atol=1e-4)
    np.testing.assert_allclose(recording.angular_velocity_rad_s, TURNING[200:], atol=1e-4)


def test_two_files_of_different_hours(tmp_path):
    first = write(tmp_path, "a.csv", text_table([T, *(FORCE.T / GRAVITY)], ALONE))
    second = write(tmp_path, "g.csv", text_table([T + 3600, *np.degrees(TURNING).T], ALONE))
    with pytest.raises(TimingError, match="do not overlap"):
        read_csv(first, gyroscope_path=second)


def test_gap_in_one_file_is_a_gap_in_both(tmp_path):
    kept = np.delete(np.arange(N), np.s_[300:330])
    first = write(tmp_path, "a.csv", text_table([T, *(FORCE.T / GRAVITY)], ALONE))
    second = write(tmp_path, "g.csv", text_table([T[kept], *np.degrees(TURNING[kept]).T], ALONE))
    recording = read_csv(first, gyroscope_path=second)
    assert [(gap.start_s, gap.missing_samples) for gap in recording.gaps] == [(pytest.approx(2.99), 30)]


def test_blanks_where_the_slower_sensor_has_nothing(tmp_path):
    rows = []
    for i in range(N):
        force = ",".join(f"{value:.7f}" for value in FORCE[i] / GRAVITY)
        turning = ",".join(f"{value:.7f}" for value in np.degrees(TURNING[i])) if i % 4 == 0 else ",,"
        rows.append(f"{T[i]:.3f},{force},{turning}")
    path = write(tmp_path, "r.csv", ",".join(HEADER) + "\n" + "\n".join(rows) + "\n")
    recording = read_csv(path)
    assert recording.rate_hz == pytest.approx(100.0)
    n = len(recording.time_s)
    assert n >= N - 3
    np.testing.assert_allclose(recording.specific_force_m_s2, FORCE[:n], atol=1e-5)
    np.testing.assert_allclose(recording.angular_velocity_rad_s[:-4:4], TURNING[: n - 4 : 4], atol=1e-6)
    assert recording.source.nan_samples == 0


def test_alternating_rows(tmp_path):
    rows = []
    for i in range(N):
        rows.append(f"{T[i]:.4f}," + ",".join(f"{value:.7f}" for value in FORCE[i] / GRAVITY) + ",,,")
        rows.append(f"{T[i] + 0.005:.4f},,,," + ",".join(f"{value:.7f}" for value in np.degrees(TURNING[i])))
    recording = read_csv(write(tmp_path, "r.csv", ",".join(HEADER) + "\n" + "\n".join(rows) + "\n"))
    assert recording.rate_hz == pytest.approx(100.0)
    times = recording.time_s + (0.005 if recording.time_s.size == N - 1 else 0.0)
    assert len(recording.time_s) >= N - 2
    np.testing.assert_allclose(recording.specific_force_m_s2, smooth_at(times, FORCE), atol=1e-4)


@pytest.mark.parametrize("labels", [("accelerometer", "gyroscope"), ("ACC", "GYR")])
def test_one_reading_per_row(tmp_path, labels):
    rows = []
    for i in range(N):
        rows.append(f"{T[i]:.4f},{labels[0]}," + ",".join(f"{value:.7f}" for value in FORCE[i]))
        rows.append(f"{T[i]:.4f},{labels[1]}," + ",".join(f"{value:.7f}" for value in TURNING[i]))
    recording = read_csv(write(tmp_path, "r.csv", "timestamp,sensor,x,y,z\n" + "\n".join(rows) + "\n"))
    np.testing.assert_allclose(recording.time_s, T, atol=1e-6)
    np.testing.assert_allclose(recording.specific_force_m_s2, FORCE, atol=1e-5)
    np.testing.assert_allclose(recording.angular_velocity_rad_s, TURNING, atol=1e-5)


def test_rows_with_a_few_blanks_are_left_out_and_counted(tmp_path):
    cells = [
        line.split(",") for line in text_table([T, *(FORCE.T / GRAVITY), *np.degrees(TURNING).T]).splitlines()
    ]
    cells[400][2] = ""
    cells[500][5] = "NaN"
    cells[600][0] = ""
    recording = read_csv(write(tmp_path, "r.csv", "\n".join(",".join(row) for row in cells) + "\n"))
    assert len(recording.time_s) == N - 3
    assert recording.source.nan_samples == 3
    assert any("3 row(s) with missing cells" in warning for warning in recording.warnings)


def test_an_empty_sensor_is_an_error(tmp_path):
    rows = [
        f"{t:.3f}," + ",".join(f"{value:.5f}" for value in f) + ",,," for t, f in zip(T, FORCE, strict=True)
    ]
    with pytest.raises(FormatError, match="gyroscope has not one complete row"):
        read_csv(write(tmp_path, "r.csv", ",".join(HEADER) + "\n" + "\n".join(rows) + "\n"))
