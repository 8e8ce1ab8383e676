"""Damage found by fuzzing: one cell costs its row, not the recording, and nothing costs more than its size."""

from __future__ import annotations

import gzip
import time

import numpy as np
import pytest

from armarc.errors import FormatError, TimingError
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


def test_a_header_repeated_near_the_beginning_leaves_the_times_numbers(tmp_path):
    path = table(tmp_path, row=-1, column=0, cell="")
    lines = path.read_text().splitlines(keepends=True)
    path.write_text("".join([*lines[:3], lines[0], *lines[3:]]))
    recording = read_csv(path)
    assert len(recording.time_s) == 100
    assert any("the header is repeated 1 more time(s)" in warning for warning in recording.warnings)


def test_a_column_that_starts_again_all_the_time_is_refused_at_once(tmp_path):
    """It once took a walk through all rows for every restart: nine seconds for a million rows."""
    path = tmp_path / "recording.csv"
    cells = [f"{0.05 * (k % 30):.2f},0.1,0.2,9.8{k % 7},{k % 5},0.2,0.3" for k in range(60_000)]
    path.write_text("\n".join(["time_s,ax,ay,az,gx,gy,gz", *cells, ""]))
    began = time.process_time()
    with pytest.raises(TimingError, match="jumps back more than 200 times"):
        read_csv(path)
    assert time.process_time() - began < 2.0


def test_a_packed_file_that_would_fill_the_memory_is_refused(tmp_path):
    path = tmp_path / "recording.csv.gz"
    with gzip.open(path, "wb", compresslevel=1) as file:
        for _ in range(300):
            file.write(bytes(1 << 20))
    with pytest.raises(FormatError, match="more than 200 times its size"):
        read_csv(path)
