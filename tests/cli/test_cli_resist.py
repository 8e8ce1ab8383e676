"""``armarc resist`` end to end."""

from __future__ import annotations

import itertools
import json
from pathlib import Path

import pytest

from armarc.cli.resist import resist
from one_command import program

armarc = program(resist, "resist")


@pytest.fixture(scope="module")
def recording(tmp_path_factory: pytest.TempPathFactory) -> Path:
    from armarc.simulate import SimulationOptions, plan_session, simulate_session

    folder = tmp_path_factory.mktemp("recording")
    made, _ = simulate_session(plan_session(SimulationOptions(reps=4, load_kg=8.0), 5), 5)
    path = folder / "set.csv"
    names = "time_s,ax_m_s2,ay_m_s2,az_m_s2,gx_rad_s,gy_rad_s,gz_rad_s"
    rows = [
        ",".join(f"{v:.6f}" for v in (t, *f, *w))
        for t, f, w in zip(made.time_s, made.specific_force_m_s2, made.angular_velocity_rad_s, strict=True)
    ]
    path.write_text("\n".join([names, *rows]) + "\n", encoding="utf-8")
    return path


def test_examples_without_a_word(tmp_path: Path) -> None:
    done = armarc(tmp_path)
    assert done.exit_code == 0, done.stderr
    lines = done.stdout.splitlines()
    assert lines[0].startswith("Resistance\tPeak")
    assert len(lines) == 7
    assert "examples" in done.stderr
    assert "Pain means stop" in done.stderr


def test_json_and_picture_from_a_recording(tmp_path: Path, recording: Path) -> None:
    picture = tmp_path / "out.png"
    done = armarc(
        tmp_path, "8kg", "cable:6kg,pulley=-0.5/-1.2/0", "--heights=-1.2,0", "--recording",
        str(recording), "--json", "--plot", str(picture),
    )  # fmt: skip
    assert done.exit_code == 0, done.stderr
    record = json.loads(done.stdout)
    assert record["schema"] == "armarc.resist/1"
    assert "measured rep" in record["rep"]
    assert [v["resistance"] for v in record["variants"]] == [
        "dumbbell 8 kg",
        "cable 6 kg at -0.5/-1.2/0",
        "cable 6 kg at -0.5/0/0",
    ]
    low, level = record["variants"][1:]
    assert level["peak_moment_at_deg"] < low["peak_moment_at_deg"] + 1
    assert record["cautions"]
    assert picture.read_bytes()[:4] == b"\x89PNG"


def test_faults(tmp_path: Path, recording: Path) -> None:
    for arguments, code, said in (
        (["8"], 2, "number with kg"),
        (["8kg", "--plot", "x.gif"], 2, ".png"),
        (["8kg", "--top", "3"], 2, "goes up"),
        (["8kg", "--heights", "low"], 2, "pulley heights"),
        (["8kg", "--side", "up"], 2, "right or left"),
        (["8kg", "--recording", "none.csv"], 3, "none.csv"),
        (["8kg", "--recording", str(recording), "--rep", "99"], 2, "no rep 99"),
        (["8kg", "--recording", str(recording), "--set", "9"], 2, "no set 9"),
    ):
        done = armarc(tmp_path, *arguments)
        assert (done.exit_code, said in done.stderr) == (code, True), done.stderr
        assert "Traceback" not in done.stderr
        assert done.stdout == ""


def test_what_lifts_the_arm_itself_is_not_ranked(tmp_path: Path) -> None:
    near = "cable:8kg,pulley=0.6/-0.9/0"
    far = "cable:8kg,pulley=-0.6/-0.9/0"
    done = armarc(tmp_path, "8kg", far, near, "--json")
    assert done.exit_code == 0, done.stderr
    record = json.loads(done.stdout)
    assert [each["helps_in_part"] for each in record["variants"]] == [False, False, True]
    assert "0.6/-0.9/0" in record["variants"][2]["resistance"]
    assert record["most_inside_loaded_range"] != record["variants"][2]["resistance"]
    talk = armarc(tmp_path, "8kg", far, near).stderr
    assert "not ranked" in talk
    assert "far side" in talk


def test_an_idealised_rep_has_no_spike_at_its_top(tmp_path: Path) -> None:
    record = json.loads(armarc(tmp_path, "8kg", "--json").stdout)
    curve = [value for value in record["variants"][0]["curve"]["concentric_n_m"] if value is not None]
    steps = [abs(b - a) for a, b in itertools.pairwise(curve)]
    assert max(steps[-3:]) < 2 * max(steps[:5])
    assert record["variants"][0]["peak_moment_phase"] in ("concentric", "hold")
