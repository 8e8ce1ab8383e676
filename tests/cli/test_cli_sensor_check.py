"""``armarc sensor check`` end to end."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from armarc.cli.sensor import app as sensor
from armarc.recording import write_csv
from invented_bench import SIX_SIDES, handled, still
from one_command import program

armarc = program(sensor, "sensor", "check", config="config")


@pytest.fixture(scope="module")
def lying(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("bench") / "still.csv"
    write_csv(still(40.0), path)
    return path


def test_tables_and_plain_words(lying: Path, tmp_path: Path) -> None:
    done = armarc(tmp_path, str(lying))
    assert done.exit_code == 0, done.stderr
    heads = [line.split("\t") for line in done.stdout.splitlines() if line.startswith("Gyroscope")]
    assert heads[0][3] == "mdps/√Hz"
    assert "good for start velocity to somewhere between ±0.17 and ±1 °/s" in done.stdout
    assert "√2 times" in done.stderr


def test_json(lying: Path, tmp_path: Path) -> None:
    done = armarc(tmp_path, str(lying), "--json")
    record = json.loads(done.stdout)
    assert record["schema"] == "armarc.sensor_check/1"
    x = record["still"]["gyroscope"]["x"]
    assert x["noise_density_mdps_rthz"] == pytest.approx(7.07, rel=0.1)
    assert x["random_walk_deg_rth"] == pytest.approx(0.3, rel=0.1)
    assert x["noise_density_mdps_rthz"] == pytest.approx(1000 * 2**0.5 * x["random_walk_deg_rts"], rel=1e-4)
    assert record["still"]["accelerometer"]["z"]["noise_density_ug_rthz"] == pytest.approx(159, rel=0.1)
    assert record["stream"]["rate_hz"] == pytest.approx(100)


def test_picture(lying: Path, tmp_path: Path) -> None:
    for name in ("allan.png", "allan.svg"):
        done = armarc(tmp_path, str(lying), "--plot", str(tmp_path / name))
        assert done.exit_code == 0, done.stderr
    assert (tmp_path / "allan.png").read_bytes().startswith(b"\x89PNG")
    assert armarc(tmp_path, str(lying), "--plot", str(tmp_path / "allan.gif")).exit_code == 2


def test_degrees_and_g_in_another_dialect(tmp_path: Path) -> None:
    made = still(20.0)
    rows = ["time (ms);acc_x (g);acc_y (g);acc_z (g);gyr_x (dps);gyr_y (dps);gyr_z (dps)"]
    for t, f, w in zip(made.time_s, made.specific_force_m_s2, made.angular_velocity_rad_s, strict=True):
        values = [1000 * t, *(f / 9.80665), *(w * 57.29577951)]
        rows.append(";".join(f"{value:.6f}" for value in values))
    path = tmp_path / "other.csv"
    path.write_text("\n".join(rows) + "\n", encoding="utf-8")
    record = json.loads(armarc(tmp_path, str(path), "--json").stdout)
    assert record["still"]["gyroscope"]["y"]["noise_density_mdps_rthz"] == pytest.approx(7.07, rel=0.12)
    assert record["still"]["gravity_m_s2"] == pytest.approx(9.80665, abs=0.005)


def test_without_rest_it_still_tells_the_stream(tmp_path: Path) -> None:
    path = tmp_path / "moving.csv"
    write_csv(handled(SIX_SIDES, rest_s=0.6), path)
    done = armarc(tmp_path, str(path), "--json")
    assert done.exit_code == 6
    record = json.loads(done.stdout)
    assert record["still"] is None
    assert record["not_still"]
    assert record["stream"]["samples"] > 500


def test_bad_files_are_plain_errors(tmp_path: Path) -> None:
    assert armarc(tmp_path, str(tmp_path / "none.csv")).exit_code == 3
    (tmp_path / "bad.csv").write_text("a,b\nx,y\n", encoding="utf-8")
    done = armarc(tmp_path, str(tmp_path / "bad.csv"))
    assert done.exit_code == 3
    assert "Traceback" not in done.stderr


def test_a_file_and_a_sensor_are_one_too_many(lying: Path, tmp_path: Path) -> None:
    done = armarc(tmp_path, str(lying), "--sensor", "wrist-1")
    assert done.exit_code == 2
    assert "from a sensor or from a file, not both" in done.stderr
