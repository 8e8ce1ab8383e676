"""What ``armarc process --json`` prints is what ``armarc.process(...).to_dict()`` gives: one way in, two doors."""

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

import armarc
import armarc.api
from armarc.api import MeasuringOptions
from armarc.load.lifter import Lifter
from armarc.sensor.calibration import Calibration, GyroscopeCalibration, save_calibration
from grids import seldom
from log_program import run

CALIBRATION = Calibration(
    sensor="wonky",
    made_at="2026-01-02T03:04:05+0000",
    gyroscope=GyroscopeCalibration(
        bias_rad_s=np.array([0.01, -0.02, 0.005]),
        matrix=np.eye(3) / 1.03,
        bias_se_rad_s=1e-4,
        scale_se=np.full(3, 0.001),
        cross_se=0.001,
        turns=6,
        turned_axes=("x", "y", "z"),
        error_before_rad=0.1,
        error_after_rad=0.002,
        mean_turn_rad=3.0,
    ),
)
"""Invented."""
ROOT = Path(__file__).parents[2]
DEMOS = ROOT / "recordings"


@pytest.fixture(autouse=True)
def kept(tmp_path, monkeypatch):
    """A configuration folder with something of everything in it."""
    folder = tmp_path / "configuration"
    folder.mkdir()
    (folder / "armarc.toml").write_text("rest_s = 9\nband_deg_s = [40, 66]\nreach_cm = 56\n")
    (folder / "lifter.toml").write_text("body_mass_kg = 91\n[lifter.Anna]\nbody_mass_kg = 58\n")
    monkeypatch.setenv("ARMARC_CONFIG_DIR", str(folder))
    save_calibration(CALIBRATION)
    return folder


def printed(path, *words):
    return json.loads(run("process", path, "--json", *words).stdout)


COMBINATIONS = {
    "nothing stated": ((), {}),
    "load and side": (("--load", "7kg", "--side", "left"), {"load_kg": 7.0, "side": "left"}),
    "lifter and load": (("--lifter", "Anna", "--load", "5"), {"lifter": "Anna", "load_kg": 5.0}),
    "a stranger": (("--lifter", "Bob", "--load", "5"), {"lifter": "Bob", "load_kg": 5.0}),
    "resistance": (
        ("--resistance", "cable:8kg,pulley=-0.5/-0.6/0"),
        {"resistance": ("cable:8kg,pulley=-0.5/-0.6/0",)},
    ),
    "degrees and cm": (
        ("--band", "50-80", "--gate", "8-18", "--loaded-range", "20-70", "--reach-cm", "54"),
        {
            "band_deg_s": (50.0, 80.0),
            "gate_deg": (8.0, 18.0),
            "loaded_range_deg": (20.0, 70.0),
            "reach_cm": 54.0,
        },
    ),
    "sensor": (
        ("--mounting", "hanging", "--strap", "back", "--hand-axis", "+x", "--sensor-height-cm", "2"),
        {"mounting": "hanging", "strap": "back", "hand_axis": "+x", "sensor_height_cm": 2.0},
    ),
    "another exercise": (
        ("--exercise", "front-raise", "--fusion", "madgwick", "--rest", "6"),
        {"exercise": "front-raise", "fusion": "madgwick", "rest_s": 6.0},
    ),
}


@pytest.mark.parametrize(
    ("name", "combination"),
    [
        *(("strict-raise", one) for one in COMBINATIONS),
        ("three-sets", "lifter and load"),
        *seldom(*(("three-sets", one) for one in COMBINATIONS if one != "lifter and load")),
    ],
)
def test_python_gives_what_the_command_prints(name, combination):
    words, options = COMBINATIONS[combination]
    path = DEMOS / f"{name}.csv"
    session = armarc.process(armarc.read_csv(path), **options)
    assert session.to_dict() == printed(path, *words)
    assert session.sets


def test_options_as_one_object_are_the_same():
    recording = armarc.read_csv(DEMOS / "strict-raise.csv")
    options = MeasuringOptions.of({"band_deg_s": (50, 80), "lifter": Lifter(name="Anna", body_mass_kg=58.0)})
    found = armarc.process(recording, options, load_kg=5).to_dict()
    assert found == printed(DEMOS / "strict-raise.csv", "--band", "50-80", "--lifter", "Anna", "--load", "5")


def test_what_is_kept_can_be_left_out():
    recording = armarc.read_csv(DEMOS / "strict-raise.csv", kept=armarc.NOTHING_KEPT)
    bare = armarc.process(recording, kept=armarc.NOTHING_KEPT).to_dict()
    full = printed(DEMOS / "strict-raise.csv")
    assert (bare["settings"]["reach_cm"], full["settings"]["reach_cm"]) == (None, 56)
    assert bare["sets"][0]["load"]["body"]["body_mass_kg"] == 73.0
    assert full["sets"][0]["load"]["body"]["body_mass_kg"] == 91.0


def test_the_calibration_and_the_body_are_taken_along(tmp_path):
    named = tmp_path / "named.csv"
    recording = armarc.read_csv(DEMOS / "strict-raise.csv")
    head = replace(recording.metadata, sensor=CALIBRATION.sensor)
    armarc.write_csv(replace(recording, metadata=head), named)
    found = armarc.process(armarc.read_csv(named)).to_dict()
    assert found["mounting"]["scale_se"]["told_by"] == "calibration"
    assert found == printed(named)


@pytest.mark.parametrize(
    "named", [{"loud": 5}, {"band": (45, 70)}, {"band_deg_s": "fast"}, {"reach_cm": (1, 2, 3)}]
)
def test_an_option_that_is_none_is_named(named):
    recording = armarc.read_csv(DEMOS / "strict-raise.csv")
    with pytest.raises(armarc.ArmarcError) as caught:
        armarc.process(recording, **named)
    assert next(iter(named)) in str(caught.value)
