"""Calibrations kept, found again, applied, and what they do to the error budget."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from armarc.errors import InputError
from armarc.motion.tolerance import UNCALIBRATED_SCALE_SE
from armarc.recording import Metadata, Recording, read_csv, write_csv
from armarc.sensor.calibration import (
    Calibration,
    apply_calibration,
    calibrate,
    find_calibration,
    forget_calibration,
    gyroscope_scale_se,
    load_calibrations,
    save_calibration,
)
from invented_bench import SIX_SIDES, SKEW, Faults, handled

FAULTS = Faults(
    force_offset_m_s2=np.array([0.2, -0.3, 0.15]),
    force_matrix=np.diag([1.01, 0.98, 1.0]),
    bias_rad_s=np.radians([1.0, -1.0, 0.5]),
    rate_matrix=np.diag([1.02, 0.99, 1.0]),
)


@pytest.fixture(scope="module")
def tumbled() -> Recording:
    return handled(SIX_SIDES + SKEW, faults=FAULTS)


@pytest.fixture(scope="module")
def calibration(tumbled: Recording) -> Calibration:
    return calibrate([tumbled], sensor="left-strap", made_at="2026-01-02T03:04:05+0000").calibration


def test_what_was_kept_is_found_again(calibration: Calibration, tmp_path: Path) -> None:
    path = save_calibration(calibration, tmp_path)
    assert path.parent == tmp_path
    back = find_calibration("Left-Strap", tmp_path)
    assert back is not None
    assert back.accelerometer is not None
    assert calibration.accelerometer is not None
    assert back.accelerometer.matrix == pytest.approx(calibration.accelerometer.matrix, rel=1e-8)
    assert back.gyroscope is not None
    assert calibration.gyroscope is not None
    assert back.gyroscope.scale_se == pytest.approx(calibration.gyroscope.scale_se, rel=1e-8)
    assert back.gyroscope.turned_axes == calibration.gyroscope.turned_axes
    assert find_calibration("right-strap", tmp_path) is None
    assert find_calibration(None, tmp_path) is None


def test_the_latest_counts_and_earlier_ones_stay(calibration: Calibration, tmp_path: Path) -> None:
    save_calibration(calibration, tmp_path)
    save_calibration(replace(calibration, made_at="2026-02-01T00:00:00+0000"), tmp_path)
    assert len(load_calibrations(tmp_path)) == 2
    found = find_calibration("left-strap", tmp_path)
    assert found is not None
    assert found.made_at.startswith("2026-02")
    assert forget_calibration("left-strap", tmp_path) == 2
    assert load_calibrations(tmp_path) == ()


def test_a_serial_number_tells_sensors_of_one_name_apart(calibration: Calibration, tmp_path: Path) -> None:
    save_calibration(replace(calibration, serial="A1"), tmp_path)
    assert find_calibration(Metadata(sensor="left-strap", other={"sensor_serial": "B2"}), tmp_path) is None
    assert find_calibration(Metadata(sensor="renamed", other={"sensor_serial": "A1"}), tmp_path) is not None
    assert find_calibration(Metadata(sensor="left-strap"), tmp_path) is not None
    assert find_calibration(Metadata(), tmp_path) is None


@pytest.mark.parametrize(
    "text",
    [
        "{",
        "[]",
        '{"schema": "armarc.sensor_calibrations/9", "entries": []}',
        '{"schema": "armarc.sensor_calibrations/1", "entries": [{"sensor": "x"}]}',
        '{"schema": "armarc.sensor_calibrations/1", "entries": [{"sensor": "x", "made_at": "", "accelerometer": {}}]}',
    ],
)
def test_a_damaged_file_is_said_and_never_overwritten(
    text: str, calibration: Calibration, tmp_path: Path
) -> None:
    path = tmp_path / "sensor-calibrations.json"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(InputError, match="damaged"):
        find_calibration("x", tmp_path)
    with pytest.raises(InputError, match="damaged"):
        save_calibration(calibration, tmp_path)
    assert path.read_text(encoding="utf-8") == text


def test_applied_it_takes_the_faults_away(calibration: Calibration) -> None:
    other = handled(SKEW, faults=FAULTS, seed=9)
    clean = handled(SKEW, faults=Faults(force_sd_m_s2=0.0, rate_sd_rad_s=0.0))
    corrected = apply_calibration(other, calibration)
    force = corrected.specific_force_m_s2 - clean.specific_force_m_s2
    assert np.abs(force.mean(axis=0)).max() < 0.01
    rate = corrected.angular_velocity_rad_s - clean.angular_velocity_rad_s
    assert np.abs(rate.mean(axis=0)).max() < math.radians(0.05)
    assert float(np.abs(rate).max()) < math.radians(1.0)


def test_it_is_never_applied_twice_even_over_a_file(
    calibration: Calibration, tumbled: Recording, tmp_path: Path
) -> None:
    once = apply_calibration(tumbled, calibration)
    assert apply_calibration(once, calibration) is once
    write_csv(once, tmp_path / "corrected.csv")
    again = read_csv(tmp_path / "corrected.csv")
    assert apply_calibration(again, calibration) is again
    with pytest.raises(InputError, match="corrected already"):
        calibrate([again], sensor="x", made_at="")
    assert apply_calibration(tumbled, None) is tumbled


def test_the_scale_error_tightens(calibration: Calibration) -> None:
    before, after = gyroscope_scale_se(None), gyroscope_scale_se(calibration)
    assert before == UNCALIBRATED_SCALE_SE
    assert after < 0.6 * before


def test_the_scale_error_is_that_of_the_axis_that_was_turned_least(calibration: Calibration) -> None:
    assert calibration.gyroscope is not None
    rough = replace(
        calibration, gyroscope=replace(calibration.gyroscope, scale_se=np.array([0.001, 0.012, 0.001]))
    )
    assert gyroscope_scale_se(rough) > 2 * UNCALIBRATED_SCALE_SE
