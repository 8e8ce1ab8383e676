"""Rows of zeros, as loggers write them before the sensor wakes and where a packet is lost."""

from __future__ import annotations

import numpy as np
from invented_movement import movement, text_table

from armarc.recording import read_csv

HEADER = ("time_s", "ax_m_s2", "ay_m_s2", "az_m_s2", "gx_rad_s", "gy_rad_s", "gz_rad_s")


def read_columns(tmp_path, columns):
    path = tmp_path / "recording.csv"
    path.write_text(text_table(columns, HEADER))
    return read_csv(path)


def test_rows_of_zeros_are_missing(tmp_path):
    """Before the sensor wakes and where it drops out, loggers write zeros; a gyroscope at rest may be zero."""
    t, force, turning = movement()
    turning[500] = 0.0
    clean = read_columns(tmp_path, [t, *force.T, *turning.T])
    empty = np.r_[0:30, 700:710]
    force[empty] = turning[empty] = 0.0
    recording = read_columns(tmp_path, [t, *force.T, *turning.T])
    kept = np.setdiff1d(np.arange(len(t)), empty)
    np.testing.assert_allclose(recording.time_s, t[kept], atol=1e-9)
    np.testing.assert_array_equal(recording.specific_force_m_s2, clean.specific_force_m_s2[kept])
    (note,) = recording.warnings
    assert note.startswith("40 row(s) of zeros were taken as missing")
    assert [gap.missing_samples for gap in recording.gaps] == [10]


def test_zeros_of_the_accelerometer_alone_are_missing_too(tmp_path):
    t, force, turning = movement()
    force[100:103] = 0.0
    recording = read_columns(tmp_path, [t, *force.T, *turning.T])
    assert len(recording.time_s) == len(t) - 3
    assert recording.warnings == (
        "3 row(s) of zeros were taken as missing: the sensor was not awake or its packet was lost",
    )
