"""``armarc sensor calibrate`` end to end."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from armarc.cli.sensor import app as sensor
from armarc.recording import write_csv
from invented_bench import SIDEWAYS, SIX_SIDES, SKEW, Faults, handled, still
from one_command import program

FAULTS = Faults(
    force_offset_m_s2=np.array([0.2, -0.3, 0.15]),
    bias_rad_s=np.radians([1.2, -0.7, 0.4]),
    rate_matrix=np.diag([1.012, 0.985, 1.008]),
)


armarc = program(sensor, "sensor", config="config")


@pytest.fixture(scope="module")
def files(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("bench")
    write_csv(handled(SIX_SIDES + SIDEWAYS + SKEW, faults=FAULTS), folder / "sides.csv")
    write_csv(handled([([0, 0, 1], 360)] * 3, faults=FAULTS), folder / "flat.csv")
    write_csv(still(20.0, faults=FAULTS), folder / "still.csv")
    return folder


def test_before_and_after(files: Path, tmp_path: Path) -> None:
    done = armarc(tmp_path, "calibrate", str(files / "sides.csv"), "--sensor", "bench")
    assert done.exit_code == 0, done.stderr
    assert "poses): ±0.2" in done.stdout
    assert "gyroscope y\t" in done.stdout
    assert "after" in done.stdout
    assert (tmp_path / "config" / "sensor-calibrations.json").exists()


def test_json_and_list_and_forget(files: Path, tmp_path: Path) -> None:
    made = json.loads(armarc(tmp_path, "calibrate", str(files / "sides.csv"), "--json").stdout)
    assert made["schema"] == "armarc.sensor_calibration/1"
    assert made["kept"] is True
    offset = made["calibration"]["accelerometer"]["offset_m_s2"]
    assert offset == pytest.approx([0.2, -0.3, 0.15], abs=0.01)
    scales = np.diag(made["calibration"]["gyroscope"]["matrix"])
    assert scales == pytest.approx([1.012, 0.985, 1.008], abs=0.002)
    kept = json.loads(armarc(tmp_path, "calibrate", "--list", "--json").stdout)["calibrations"]
    assert [one["sensor"] for one in kept] == ["bench"]
    assert armarc(tmp_path, "calibrate", "--forget", "bench").exit_code == 0
    assert armarc(tmp_path, "calibrate", "--forget", "bench").exit_code == 2
    assert json.loads(armarc(tmp_path, "calibrate", "--list", "--json").stdout)["calibrations"] == []


def test_it_makes_the_check_say_so(files: Path, tmp_path: Path) -> None:
    before = json.loads(armarc(tmp_path, "check", str(files / "still.csv"), "--json").stdout)
    assert before["calibrated"] is False
    armarc(tmp_path, "calibrate", str(files / "sides.csv"))
    after = json.loads(armarc(tmp_path, "check", str(files / "still.csv"), "--json").stdout)
    assert after["calibrated"] is True
    assert after["start_velocity_se_deg_s"] < 0.6 * before["start_velocity_se_deg_s"]


def test_trying_keeps_nothing(files: Path, tmp_path: Path) -> None:
    done = armarc(tmp_path, "calibrate", str(files / "sides.csv"), "--try")
    assert done.exit_code == 0
    assert not (tmp_path / "config").exists()


def test_flat_turns(files: Path, tmp_path: Path) -> None:
    refused = armarc(tmp_path, "calibrate", str(files / "flat.csv"))
    assert refused.exit_code == 3
    assert "--turn" in refused.stderr
    done = armarc(tmp_path, "calibrate", str(files / "flat.csv"), "--turn", "360", "--json")
    assert done.exit_code == 0, done.stderr
    found = json.loads(done.stdout)
    assert found["calibration"]["gyroscope"]["turned_axes"] == ["z"]
    assert "1 different pose" in found["refused"]["accelerometer"]
    both = armarc(
        tmp_path, "calibrate", str(files / "flat.csv"), str(files / "sides.csv"), "--turn", "360", "--json"
    )
    assert json.loads(both.stdout)["refused"] == {}


def test_poor_data_is_refused_with_the_reason(files: Path, tmp_path: Path) -> None:
    done = armarc(tmp_path, "calibrate", str(files / "still.csv"))
    assert done.exit_code == 3
    assert "1 different pose" in done.stderr
    assert "six sides" in done.stderr
    assert not (tmp_path / "config").exists()


def test_usage(files: Path, tmp_path: Path) -> None:
    assert armarc(tmp_path, "calibrate").exit_code == 2
    assert armarc(tmp_path, "calibrate", str(files / "sides.csv"), "--turn", "3").exit_code == 2
    assert armarc(tmp_path, "calibrate", str(files / "sides.csv"), "--gravity", "3.7").exit_code == 2
    guide = armarc(tmp_path, "calibrate", "--guide")
    assert guide.exit_code == 0
    assert "six sides" in guide.stdout


def test_a_damaged_store_is_never_overwritten(files: Path, tmp_path: Path) -> None:
    store = tmp_path / "config" / "sensor-calibrations.json"
    store.parent.mkdir()
    store.write_text("{broken", encoding="utf-8")
    done = armarc(tmp_path, "calibrate", str(files / "sides.csv"))
    assert done.exit_code == 3
    assert "damaged" in done.stderr
    assert store.read_text(encoding="utf-8") == "{broken"


def test_a_half_that_failed_ends_loud_and_keeps_the_other(files: Path, tmp_path: Path) -> None:
    """Five poses: the gyroscope alone is not improved by that; with a known accelerometer it is kept."""
    armarc(tmp_path, "calibrate", str(files / "sides.csv"))
    five = [*SIX_SIDES[:4], ([0, 1, 0], 90), ([0, 1, 0], -90)] * 2
    write_csv(handled(five, faults=FAULTS), tmp_path / "five.csv")
    done = armarc(tmp_path, "calibrate", str(tmp_path / "five.csv"))
    assert done.exit_code == 3
    last = done.stderr.splitlines()[-1]
    assert "accelerometer not calibrated: 5 different poses" in done.stderr
    assert "the gyroscope alone was calibrated; kept for bench" in done.stderr, last
    kept = json.loads(armarc(tmp_path, "calibrate", "--list", "--json").stdout)["calibrations"]
    assert len(kept) == 2
    assert kept[1]["accelerometer"]["offset_m_s2"] == pytest.approx([0.2, -0.3, 0.15], abs=0.01)


def test_mirrored_columns_keep_nothing(tmp_path: Path) -> None:
    made = handled(SIX_SIDES + SIDEWAYS + SKEW, faults=FAULTS)
    flipped = made.angular_velocity_rad_s * np.array([1.0, -1.0, 1.0])
    write_csv(replace(made, angular_velocity_rad_s=flipped), tmp_path / "mirrored.csv")
    done = armarc(tmp_path, "calibrate", str(tmp_path / "mirrored.csv"))
    assert done.exit_code == 3
    assert "wrong way round about y" in done.stderr
    assert not (tmp_path / "config").exists()
