"""One damaged cell costs its row, not the recording; both were found by fuzzing."""

from __future__ import annotations

import numpy as np
import pytest

from armarc.recording import read_csv


def table(tmp_path, *, row, column, cell):
    """Two seconds at 50 Hz of an arm that swings about x, with one cell replaced."""
    time_s = np.arange(100) / 50
    angle = 0.6 * np.sin(3 * time_s)
    rate = 1.8 * np.cos(3 * time_s)
    lines = ["time_s,ax_m_s2,ay_m_s2,az_m_s2,gx_rad_s,gy_rad_s,gz_rad_s"]
    for k in range(100):
        cells = [
            time_s[k],
            0.2,
            9.81 * np.sin(angle[k]),
            9.81 * np.cos(angle[k]),
            rate[k],
            0.01,
            0.02 * (k % 2),
        ]
        written = [f"{value:.4f}" for value in cells]
        if k == row:
            written[column] = cell
        lines.append(",".join(written))
    path = tmp_path / "recording.csv"
    path.write_text("\n".join(lines) + "\n")
    return path


@pytest.mark.parametrize("cell", ["1.79237e+16", "-1e17", "99999999"])
def test_a_damaged_first_stamp_costs_one_row(tmp_path, cell):
    recording = read_csv(table(tmp_path, row=0, column=0, cell=cell))
    assert recording.rate_hz == pytest.approx(50.0)
    assert len(recording.time_s) in (99, 100)
    assert recording.time_s[-1] == pytest.approx(98 / 50, abs=0.03)
    assert any("far from their neighbours" in warning for warning in recording.warnings)


@pytest.mark.parametrize("column", [2, 4])
@pytest.mark.parametrize("cell", ["-1e308", "1e200", "4e12"])
def test_a_reading_beyond_any_sensor_costs_one_row(tmp_path, column, cell):
    recording = read_csv(table(tmp_path, row=40, column=column, cell=cell))
    assert len(recording.time_s) == 99
    assert np.abs(recording.specific_force_m_s2).max() < 20
    assert np.abs(recording.angular_velocity_rad_s).max() < 3
    assert "1 reading(s) far beyond any sensor were taken as missing" in recording.warnings


@pytest.mark.parametrize("cell", ["1e308", "-1e25"])
@pytest.mark.parametrize("row", [0, 40, 99])
def test_a_stamp_beyond_any_clock_costs_one_row(tmp_path, row, cell):
    recording = read_csv(table(tmp_path, row=row, column=0, cell=cell))
    assert recording.rate_hz == pytest.approx(50.0)
    assert len(recording.time_s) == 99
    assert "1 time(s) far beyond any clock were taken as missing" in recording.warnings
