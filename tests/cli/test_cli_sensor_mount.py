"""``armarc sensor mount`` end to end."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from armarc.cli.sensor import app as sensor
from armarc.recording import write_csv
from armarc.simulate import SimulationOptions, plan_session, simulate_session
from invented_bench import still
from one_command import program

armarc = program(sensor, "sensor", "mount", config="config")


@pytest.fixture(scope="module")
def move(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("move") / "move.csv"
    made, _ = simulate_session(
        plan_session(SimulationOptions(twist=True, front_raise=True, reps=1, side="left"), 3), 3
    )
    write_csv(made, path)
    return path


def test_it_is_read_off_and_kept(move: Path, tmp_path: Path) -> None:
    done = armarc(tmp_path, str(move), "--sensor", "left-strap", "--json")
    assert done.exit_code == 0, done.stderr
    record = json.loads(done.stdout)
    assert record["schema"] == "armarc.sensor_mount/1"
    assert record["side"] == "left"
    assert abs(float(np.dot(record["arm_axis"], record["thumb_axis"]))) < 1e-5
    assert record["arm_axis"][1] > 0.99  # the simulated sensor's y axis points to the hand
    kept = json.loads(armarc(tmp_path, "--list", "--json").stdout)["mounts"]
    assert [(one["sensor"], one["side"]) for one in kept] == [("left-strap", "left")]
    assert armarc(tmp_path, "--forget", "left-strap").exit_code == 0
    assert armarc(tmp_path, "--forget", "left-strap").exit_code == 2


def test_table(move: Path, tmp_path: Path) -> None:
    done = armarc(tmp_path, str(move), "--sensor", "strap", "--try")
    assert done.exit_code == 0, done.stderr
    assert "front raise of" in done.stdout
    assert not (tmp_path / "config").exists()


def test_the_guide_is_printed(tmp_path: Path) -> None:
    guide = armarc(tmp_path, "--guide")
    assert guide.exit_code == 0
    assert "palm in, palm out" in guide.stdout
    assert "Stop at pain" in guide.stdout


def test_errors_say_what_to_do(move: Path, tmp_path: Path) -> None:
    write_csv(still(10.0), tmp_path / "still.csv")
    no_side = armarc(tmp_path, str(tmp_path / "still.csv"))
    assert no_side.exit_code == 2
    assert "--side" in no_side.stderr
    no_twist = armarc(tmp_path, str(tmp_path / "still.csv"), "--side", "right")
    assert no_twist.exit_code == 3
    assert "twist" in no_twist.stderr
    assert "still.csv" in no_twist.stderr
    assert armarc(tmp_path, str(move), "--side", "up").exit_code == 2
    assert armarc(tmp_path).exit_code == 2


def test_a_wrong_arm_is_refused_and_every_other_conflict_told(move: Path, tmp_path: Path) -> None:
    wrong = armarc(tmp_path, str(move), "--sensor", "strap", "--side", "right")
    assert wrong.exit_code == 3
    assert "warning: the recording says left wrist, you said right" in wrong.stderr
    assert "as on the other arm" in wrong.stderr
    assert not (tmp_path / "config" / "sensor-mounts.json").exists()
    (tmp_path / "config").mkdir()
    known = {"nickname": "strap", "side": "right", "name": "w", "address": "a", "serial": ""}
    (tmp_path / "config" / "known-sensors.json").write_text(json.dumps({"sensors": [known]}))
    done = armarc(tmp_path, str(move), "--sensor", "strap")
    assert done.exit_code == 0, done.stderr
    assert "strap is remembered for the right wrist, this mount is for the left one" in done.stderr
    assert "sits on the back of the left wrist" in done.stdout
