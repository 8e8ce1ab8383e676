"""``armarc simulate`` from the outside."""

import json
import math
import shlex
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
import typer
from typer.testing import CliRunner

from armarc.cli.app import ErrorBoundary
from armarc.cli.simulate import simulate
from armarc.recording import read_csv

DEMOS = Path(__file__).parents[2] / "recordings"

app = typer.Typer(cls=ErrorBoundary)
app.command("simulate")(simulate)


@app.callback()
def _group() -> None:
    pass


def run(*words):
    return CliRunner().invoke(app, ["simulate", *map(str, words)])


def test_the_whole_program_makes_a_recording_and_its_truth(tmp_path):
    words = [sys.executable, "-m", "armarc", "simulate", "set.csv", "--reps", "3", "--start-velocity", "80"]
    done = subprocess.run(words, cwd=tmp_path, capture_output=True, text=True, timeout=60)
    assert done.returncode == 0, done.stderr
    assert done.stdout == ""
    assert "set.csv" in done.stderr
    assert "invented" in done.stderr
    recording = read_csv(tmp_path / "set.csv")
    truth = json.loads((tmp_path / "set.truth.json").read_text())
    assert truth["schema"] == "armarc.truth/1"
    assert truth["recording"]["samples"] == len(recording.time_s)
    assert recording.rate_hz == pytest.approx(100, rel=1e-3)
    assert recording.metadata.exercise == "lateral-raise"
    assert recording.metadata.side == "right"
    assert "Invented data" in recording.metadata.note
    assert "armarc simulate set.csv --reps 3 --start-velocity 80" in recording.metadata.note
    # Standing still it reads 1 g: standard gravity, CGPM 1901, within the zero-g offset of the grade.
    assert np.linalg.norm(recording.specific_force_m_s2[:100].mean(axis=0)) == pytest.approx(9.80665, abs=0.4)
    assert [round(rep["start_velocity_deg_s"] / 80, 0) for rep in truth["sets"][0]["reps"]] == [1, 1, 1]


def test_every_knob_reaches_the_recording(tmp_path):
    out = tmp_path / "all.csv"
    done = run(
        *(
            out,
            "--reps",
            3,
            "--sets",
            2,
            "--tempo",
            "2/0.5/1.5/0.5",
            "--hold-s",
            1,
            "--rom",
            70,
            "--bottom",
            5,
        ),
        *(
            "--swing-cm",
            4,
            "--swing-returns",
            "after",
            "--dip-cm",
            1,
            "--side",
            "left",
            "--exercise",
            "front-raise",
        ),
        *("--strap", "thumb", "--strap-roll", 15, "--tilt", 6, "--sensor-height-cm", 2, "--reach-m", 0.6),
        *(
            "--noise",
            "poor",
            "--rate",
            50,
            "--gap",
            "4:0.4",
            "--gap",
            "6:0.2",
            "--drop-percent",
            2,
            "--jitter-ms",
            1,
        ),
        *("--rest-s", 22, "--pick-up", "--walk", "--fidget", "--still-s", 1, "--twist", "--front-raise"),
        *(
            "--fatigue",
            20,
            "--partial-last",
            "--cheat-rep",
            2,
            "--tremor-deg",
            0.03,
            "--grind",
            0.5,
            "--seed",
            4,
        ),
        *("--load", "15lb", "--temperature", "--elbow-bend", 10, "--hand-axis", "-x", "--truth-series"),
        *("--accel-range-g", 8, "--gyro-range", 1000, "--plane", 80, "--hand-rotation", 30, "--sway-mm", 2),
        *("--variation", 2, "--start-velocity", 70, "--hang-turn", 5),
    )
    assert done.exit_code == 0, done.output
    recording = read_csv(out)
    truth = json.loads((tmp_path / "all.truth.json").read_text())
    assert [one["summary"]["reps"] for one in truth["sets"]] == [3, 3]
    assert recording.metadata.side == truth["side"] == "left"
    assert recording.metadata.load_kg == pytest.approx(15 * 0.45359237)  # NIST SP 811, exact pound
    assert recording.metadata.strap == "thumb"
    assert recording.metadata.hand_axis == "-x"
    assert recording.temperature_c is not None
    assert recording.rate_hz == pytest.approx(50, rel=0.02)
    assert any(gap.start_s < 4.1 < gap.end_s for gap in recording.gaps)
    # The stated reach is that of the straight arm; 10° of bend takes 2 mm of it (law of cosines).
    straight = math.sqrt(0.336**2 + 0.264**2 + 2 * 0.336 * 0.264 * math.cos(math.radians(10)))
    assert truth["mounting"]["reach_m"] == pytest.approx(straight, abs=1e-4)
    assert truth["mounting"]["sensor_height_m"] == pytest.approx(0.02)
    first, cheat, last = truth["sets"][0]["reps"]
    assert first["rom_deg"] == pytest.approx(70, abs=4)
    assert first["plane_deg"] == pytest.approx(80, abs=3)
    assert first["hand_rotation_deg"] == pytest.approx(30, abs=5)
    assert first["hold_s"] > 0.9
    assert first["body_swing_cm"] == pytest.approx(4.3, abs=1.2)
    assert cheat["body_swing_cm"] > 7
    assert last["quality"] == ["partial", "swung"]
    assert len(truth["series"]["time_s"]) > 10_000
    assert str(tmp_path) not in recording.metadata.note


def test_every_habit_of_the_body_reaches_the_truth(tmp_path):
    out = tmp_path / "body.csv"
    done = run(
        *(out, "--reps", 4, "--body", "rising-girdle", "--variation", 0, "--sway-mm", 0, "--bottom", 10),
        *(
            "--elbow-bend",
            8,
            "--elbow-bend-top",
            25,
            "--forearm-turn",
            20,
            "--girdle-rise-cm",
            4,
            "--lean",
            3,
        ),
        *(
            "--lean-travel",
            2,
            "--stoop",
            6,
            "--tip",
            12,
            "--tip-s",
            0.6,
            "--tip-lead-s",
            0.4,
            "--trunk-sway",
            0.2,
        ),
        *(
            "--arm-with-trunk",
            50,
            "--rest-plane",
            75,
            "--swing-cm",
            3,
            "--swing-rise",
            40,
            "--swing-peak",
            60,
        ),
        *("--strap-wobble", 1, "--strap-wobble-hz", 6, "--strap-wobble-damping", 0.1, "--strap-slip", 5),
        *("--strap-slip-roll", 7, "--pulses", 2, "--pulse-deg", 10, "--pulse-s", 0.5, "--alternating"),
        *("--press-start", "--press-stop", "--walk-up", "--walk-away", "--double-tops", 10),
    )
    assert done.exit_code == 0, done.output
    truth = json.loads((tmp_path / "body.truth.json").read_text())
    assert truth["body"] == {
        "elbow_bottom_deg": 8,
        "elbow_top_deg": 25,
        "pronation_deg": 20,
        "girdle_rise_cm": 4,
        "lean_deg": 3,
        "stoop_deg": 6,
        "lean_travel_deg": 2,
        "tip_deg": 12,
        "tip_s": 0.6,
        "tip_lead_s": 0.4,
        "sway_deg": 0.2,
        "arm_follows_trunk": 0.5,
        "rest_plane_deg": 75,
        "swing_rise_deg": 40,
        "swing_peak": 0.6,
        "wobble_deg": 1,
        "wobble_hz": 6,
        "wobble_damping": 0.1,
        "slip_roll_deg": 7,
        "slip_tilt_deg": 5,
    }
    what = [event["what"] for event in truth["events"]]
    assert what[:2] == ["start pressed", "walking"]
    assert what[-2:] == ["walking", "stop pressed"]
    assert what.count("other arm's rep") == 3
    assert what.count("strap slip") == 1
    for rep in truth["sets"][0]["reps"]:
        assert rep["elbow_bottom_deg"] == pytest.approx(8, abs=0.3)
        assert rep["elbow_top_deg"] == pytest.approx(25, abs=0.3)
        assert rep["shoulder_travel_cm"] > rep["body_swing_cm"] > 3
        assert rep["hold_s"] > 0.5


def test_a_kind_of_body_is_another_one_for_every_seed(tmp_path):
    bodies = []
    for seed in (1, 2, 2):
        words = ("--reps", 1, "--body", "bending-elbow", "--seed", seed, "--force")
        assert run(tmp_path / "x.csv", *words).exit_code == 0
        bodies.append(json.loads((tmp_path / "x.truth.json").read_text())["body"])
    assert bodies[0] != bodies[1] == bodies[2]
    assert all(body["elbow_top_deg"] > body["elbow_bottom_deg"] + 5 for body in bodies)
    assert run(tmp_path / "y.csv", "--reps", 1).exit_code == 0
    assert json.loads((tmp_path / "y.truth.json").read_text())["body"] is None


def test_the_same_command_gives_the_same_files(tmp_path):
    for name in ("a", "b"):
        folder = tmp_path / name
        folder.mkdir()
        assert run(folder / "x.csv", "--reps", 2, "--seed", 5).exit_code == 0
    for file in ("x.csv", "x.truth.json"):
        assert (tmp_path / "a" / file).read_bytes() == (tmp_path / "b" / file).read_bytes()


def test_nothing_is_overwritten_without_force(tmp_path):
    out = tmp_path / "set.csv"
    out.write_text("precious")
    done = run(out, "--reps", 1)
    assert done.exit_code == 2
    assert out.read_text() == "precious"
    assert not (tmp_path / "set.truth.json").exists()
    assert run(out, "--reps", 1, "--force").exit_code == 0
    assert out.read_text().startswith("# armarc recording 1")
    out.unlink()
    assert run(out, "--reps", 1).exit_code == 2, "the truth of another recording lies there"


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["--tempo", "2/0/x/0"], "four numbers"),
        (["--tempo", "2/0/1"], "four numbers"),
        (["--tempo", "2010", "--start-velocity", "20"], "leaves no time"),
        (["--start-velocity", "fast"], "or 'free'"),
        (["--start-velocity", "nan"], "positive speed"),
        (["--noise", "awful"], "common"),
        (["--side", "middle"], "right or left"),
        (["--exercise", "squat"], "lateral-raise"),
        (["--gap", "5"], "AT:LENGTH"),
        (["--gap", "500:1"], "after the end"),
        (["--gap", "1:nan"], "no sense"),
        (["--reps", "0"], "1 to 500"),
        (["--rom", "nan"], "too small"),
        (["--bottom", "-20"], "leave the range"),
        (["--cheat-rep", "9"], "1 to 8"),
        (["--fatigue", "100"], "90 %"),
        (["--seed", "-1"], "0 or more"),
        (["--rate", "0"], "out of range"),
        (["--sets", "40", "--rest-s", "300"], "60 min"),
        (["--tilt", "90"], "45°"),
        (["--plane", "20", "--exercise", "machine-reverse-fly"], "no plane"),
        (["--load", "heavy"], "8kg"),
        (["--drop-percent", "80"], "50 %"),
        (["--hand-rotation", "inf"], "degrees"),
        (["--accel-range-g", "inf"], "16 g"),
        (["--body", "bionic"], "straight-elbow"),
        (["--elbow-bend", "200"], "120°"),
        (["--girdle-rise-cm", "nan"], "10 cm"),
        (["--tip-s", "0"], "3 s"),
        (["--pulses", "-1"], "0 to 50"),
        (["--pulses", "1", "--pulse-deg", "80"], "upper 60 %"),
        (["--sink", "5", "--hold-s", "0"], "lengthen the hold"),
        (["--double-tops", "120"], "100 %"),
        (["--elbow-bend", "10", "--exercise", "upright-row"], "no elbow"),
        (["--arm-with-trunk", "150"], "share"),
        (["--strap-wobble-hz", "50"], "20 Hz"),
    ],
)
def test_wrong_wishes_are_refused_with_a_hint_and_write_nothing(tmp_path, words, says):
    done = run(tmp_path / "x.csv", *words)
    assert done.exit_code == 2, done.output
    assert says in done.output
    assert "Traceback" not in done.output
    assert list(tmp_path.iterdir()) == []


def test_places_that_cannot_be_written(tmp_path):
    assert run(tmp_path / "no" / "x.csv").exit_code == 2
    assert run(tmp_path / "x.txt").exit_code == 2


@pytest.mark.parametrize("words", [["--tempo", "2010"], ["--tempo", "1/0/0.5/0"], ["--rom", "20"]])
def test_the_usual_start_velocity_gives_way(tmp_path, words):
    assert run(tmp_path / "x.csv", "--reps", 2, *words).exit_code == 0


@pytest.mark.parametrize("path", sorted(DEMOS.glob("*.truth.json")), ids=lambda path: path.name)
def test_the_demo_recordings_are_what_their_headers_say(tmp_path, path):
    kept = json.loads(path.read_text())
    demo = read_csv(DEMOS / kept["recording"]["file"])
    _, command = demo.metadata.note.split("Made with: ")
    program, verb, name, *options = shlex.split(command)
    assert (program, verb) == ("armarc", "simulate")
    assert run(tmp_path / name, *options).exit_code == 0
    again = read_csv(tmp_path / name)
    np.testing.assert_array_equal(again.time_s, demo.time_s)
    # One step of the sensor's resolution, should another machine round the other way.
    np.testing.assert_allclose(again.specific_force_m_s2, demo.specific_force_m_s2, atol=5e-3)
    np.testing.assert_allclose(again.angular_velocity_rad_s, demo.angular_velocity_rad_s, atol=1.1e-3)
    made = json.loads((tmp_path / path.name).read_text())
    for one, other in zip(made["sets"], kept["sets"], strict=True):
        assert [rep["rom_deg"] for rep in one["reps"]] == pytest.approx(
            [rep["rom_deg"] for rep in other["reps"]]
        )


def test_there_are_demo_recordings():
    assert len(list(DEMOS.glob("*.truth.json"))) >= 6
