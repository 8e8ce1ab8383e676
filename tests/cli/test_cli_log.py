"""``armarc log`` end to end, on invented recordings."""

import csv
import io
import json
import os
import subprocess
import sys
import time
import zipfile
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from armarc.log import exporting, open_log
from armarc.log.exporting import sets_table
from armarc.log.reading import list_sets
from armarc.recording import read_csv
from log_program import log_of, real_log, recordings, run, run_json, wide_log

DEMOS = Path(__file__).parents[2] / "recordings"


@pytest.fixture(scope="module")
def wide(tmp_path_factory):
    return wide_log(tmp_path_factory.mktemp("wide"))


def test_a_folder_is_imported_once_and_bad_files_do_not_stop_it(tmp_path):
    folder = tmp_path / "in"
    folder.mkdir()
    (folder / "s1.csv").write_bytes((recordings() / "s1.csv").read_bytes())
    (folder / "broken.csv").write_text("no,table\nhere")
    (folder / ".hidden.csv").write_text("x")
    (folder / "picture.png").write_bytes(b"x")
    log = tmp_path / "log.sqlite"
    done = run_json("log", "import", folder, "--lifter", "Ada", "--tag", "Block 1", "--log-file", log, code=3)
    files = {os.path.basename(one["file"]): one for one in done["files"]}
    assert set(files) == {"s1.csv", "broken.csv"}
    assert files["broken.csv"]["status"] == "failed"
    assert (files["s1.csv"]["status"], files["s1.csv"]["sets"], files["s1.csv"]["reps"]) == ("added", 2, 10)
    (folder / "broken.csv").unlink()
    again = run_json("log", "import", folder, "--lifter", "Ada", "--log-file", log)
    assert again["files"][0]["status"] == "already there"
    listed = run_json("log", "list", "--log-file", log)
    assert listed["total"] == 2
    assert {(s["lifter"], tuple(s["tags"]), s["load_kg"], s["side"]) for s in listed["sets"]} == {
        ("Ada", ("block 1",), 8.0, "right")
    }


def test_list_filters_and_says_how_many_more(wide):
    assert run_json("log", "list", "--log-file", wide)["total"] == 28
    assert len(run_json("log", "list", "--log-file", wide, "-n", "5")["sets"]) == 5
    assert "5 of 28" in run("log", "list", "--log-file", wide, "-n", "5").stderr
    assert run_json("log", "list", "--log-file", wide, "--lifter", "ada")["total"] == 4
    assert run_json("log", "list", "--log-file", wide, "--side", "L")["total"] == 8
    assert run_json("log", "list", "--log-file", wide, "--load", "17.637 lb")["total"] == 28
    assert run_json("log", "list", "--log-file", wide, "--exercise", "Lateral raise")["total"] == 28
    assert (
        run_json("log", "list", "--log-file", wide, "--since", "2026-01-20", "--until", "2026-01-30")["total"]
        == 9
    )
    lines = run("log", "list", "--log-file", wide).stdout.splitlines()
    assert len(lines) == 29
    assert all(len(line.split("\t")) == 13 for line in lines)
    run("log", "list", "--log-file", wide, "--since", "2026-02-01", "--until", "2026-01-01", code=2)
    run("log", "list", "--log-file", wide, "--since", "soon", code=2)
    run("log", "list", "--log-file", wide, "--side", "up", code=2)


def test_show_tells_the_losses(wide):
    shown = run_json("log", "show", "1", "--stop-at", "5", "--log-file", wide)["sets"][0]
    assert len(shown["rep_records"]) == shown["reps"] == 6
    assert len(shown["fatigue"]["velocity_loss_pct"]) == 6
    # The invented set slows by 2 % a rep, less its noise.
    assert 5 < shown["fatigue"]["velocity_loss_set_pct"] < 15
    assert shown["fatigue"]["stop_after_rep"] is not None
    said = run("log", "show", "last-2", "--log-file", wide)
    assert said.stderr.count("Jukic") == 2
    assert len(said.stdout.splitlines()) == 14
    lost = [line.split("\t")[-2] for line in said.stdout.splitlines() if line[0].isdigit()]
    assert len(lost) == 12
    assert all(len(number.partition(".")[2]) <= 2 for number in lost)
    assert max(map(float, lost)) > 1


def test_edit_remove_undo(tmp_path):
    log = wide_log(tmp_path)
    hostile = "<script>alert(1)</script> [bold]=1+1"
    run("log", "edit", "1", "2", "--rir", "2", "--note", hostile, "--tag", "heavy", "--log-file", log)
    shown = run_json("log", "show", "1", "--log-file", log)["sets"][0]
    assert (shown["rir"], shown["note"], shown["tags"]) == (2, hostile, ["heavy"])
    assert hostile in run("log", "list", "--log-file", log, "-n", "0").stdout
    assert "like that already in 1 set" in run("log", "edit", "1", "--rir", "2", "--log-file", log).stderr
    refused = run("log", "remove", "1-3", "--log-file", log, code=2)
    assert "--yes" in refused.stderr
    run("log", "remove", "1-3", "--yes", "--log-file", log)
    assert run_json("log", "list", "--log-file", log)["total"] == 25
    assert run_json("log", "list", "--removed", "--log-file", log)["total"] == 3
    undone = run_json("log", "undo", "--log-file", log)["undone"]
    assert (undone["action"], undone["sets"]) == ("remove", [1, 2, 3])
    run("log", "undo", "--log-file", log)
    assert run_json("log", "show", "1", "--log-file", log)["sets"][0]["rir"] is None
    assert run_json("log", "undo", "--log-file", log)["undone"] is None
    run("log", "edit", "1", "--when", "2026-03-01 18:30", "--lifter", "Bo", "--log-file", log)
    moved = run_json("log", "show", "1", "--log-file", log)["sets"][0]
    assert (moved["lifter"], moved["day"]) == ("Bo", "2026-03-01")
    for wrong in (
        ["1"],
        ["1", "--when", "x"],
        ["1", "--rir", "-3"],
        ["x", "--rir", "1"],
        ["1", "--clear", "reps"],
    ):
        run("log", "edit", *wrong, "--log-file", log, code=2)
    run("log", "edit", "999", "--rir", "1", "--log-file", log, code=5)
    run("log", "remove", "5", "-y", "--log-file", log)
    run("log", "purge", "-y", "--log-file", log)
    assert run_json("log", "list", "--removed", "--log-file", log)["total"] == 0


def test_reprocess_gives_the_same_again_and_says_so(tmp_path):
    log = real_log(tmp_path)
    done = run_json("log", "reprocess", "--all", "--log-file", log)
    assert len(done["recordings"]) == 3
    for one in done["recordings"]:
        assert one["problem"] is None
        assert one["reps_before"] == one["reps_after"] == 10
        assert one["changes"] == {}
    run("log", "reprocess", "--log-file", log, code=2)


def test_reprocess_shows_what_a_new_version_changes(tmp_path, monkeypatch):
    from armarc.log import measuring

    log = real_log(tmp_path)
    before = run_json("log", "show", "1", "--log-file", log)["sets"][0]
    run("log", "edit", "1", "--note", "mine", "--log-file", log)
    real = measuring.measure_content

    def newer(*words):
        result = real(*words)
        result["armarc_version"] = "9.9.9"
        for record in result["sets"]:
            for rep in record["reps"]:
                rep["rom_deg"] += 1.5
        return result

    monkeypatch.setattr(measuring, "measure_content", newer)
    done = run_json("log", "reprocess", "1", "--dry-run", "--log-file", log)
    assert done["kept"] is False
    assert run_json("log", "show", "1", "--log-file", log)["sets"][0]["rep_records"] == before["rep_records"]
    (one,) = run_json("log", "reprocess", "1", "--log-file", log)["recordings"]
    assert one["is_version"] == "9.9.9"
    assert one["changes"]["rom_deg"]["is"] - one["changes"]["rom_deg"]["was"] == pytest.approx(1.5)
    after = run_json("log", "show", "1", "--log-file", log)["sets"][0]
    assert after["note"] == "mine"
    assert after["rep_records"][0]["rom_deg"] == pytest.approx(before["rep_records"][0]["rom_deg"] + 1.5)
    run("log", "undo", "--log-file", log)
    again = run_json("log", "show", "1", "--log-file", log)["sets"][0]
    assert again["rep_records"] == before["rep_records"]


def test_a_load_changed_in_the_log_is_that_of_the_moments_measured_again(tmp_path):
    log = log_of(DEMOS / "three-sets.csv", tmp_path)

    def moments():
        sets = run_json("log", "list", "--log-file", log)["sets"]
        found = {
            one["id"]: run_json("log", "show", str(one["id"]), "--log-file", log)["sets"][0] for one in sets
        }
        return {k: (one["load_kg"], one["rep_records"][0]["peak_moment_n_m"]) for k, one in found.items()}

    before = moments()
    assert {load for load, _ in before.values()} == {8.0}
    done = run("log", "edit", "2", "--load", "4kg", "--log-file", log)
    assert "armarc log reprocess 2" in done.stderr
    assert moments()[2] == (4.0, before[2][1]), "until it is measured again"
    assert "reprocess" not in run("log", "edit", "2", "--rir", "2", "--log-file", log).stderr
    changed = run_json("log", "reprocess", "2", "--log-file", log)["recordings"][0]["changes"]
    assert "peak_moment_n_m" in changed
    after = moments()
    assert (after[1], after[3]) == (before[1], before[3])
    assert after[2][0] == 4.0
    # A held load's moment goes with its weight: what 4 kg less are at the hand of the reference body's arm.
    reach_m = 0.2817 + 0.2689 + 0.094
    assert before[2][1] - after[2][1] == pytest.approx(4.0 * 9.81 * reach_m, rel=0.05)
    run("log", "undo", "--log-file", log)
    assert moments()[2] == (4.0, before[2][1])


def test_a_load_that_is_cleared_takes_its_moments_with_it(tmp_path):
    log, bare = tmp_path / "log.sqlite", tmp_path / "bare.csv"
    text = (DEMOS / "strict-raise.csv").read_text()
    assert '"load_kg": 6.0, ' in text
    bare.write_text(text.replace('"load_kg": 6.0, ', ""))
    never = run_json("process", bare)["sets"][0]
    log_of(DEMOS / "strict-raise.csv", tmp_path)

    def now():
        (one,) = run_json("log", "show", "1", "--log-file", log)["sets"]
        return one["rep_records"]

    loaded = now()
    assert loaded[0]["peak_moment_n_m"] > 40
    done = run("log", "edit", "1", "--clear", "load", "--log-file", log)
    assert "shoulder moments stay as measured" in " ".join(done.stderr.split())
    run("log", "reprocess", "1", "--log-file", log)
    assert now() == never["reps"]
    run("log", "undo", "--log-file", log)
    assert now() == loaded
    run("log", "undo", "--log-file", log)
    assert "nothing was changed" in run("log", "reprocess", "1", "--log-file", log).stderr


def test_an_arm_changed_in_the_log_is_that_of_the_plane_measured_again(tmp_path):
    log = log_of(DEMOS / "strict-raise.csv", tmp_path)

    def planes():
        (one,) = run_json("log", "show", "1", "--log-file", log)["sets"]
        return one["side"], [(rep["plane_deg"], rep["hand_rotation_deg"]) for rep in one["rep_records"]]

    right = planes()
    said = run("log", "edit", "1", "--side", "left", "--log-file", log).stderr
    assert "signs of plane and hand rotation stay as measured: armarc log reprocess 1" in " ".join(
        said.split()
    )
    (told,) = run_json("log", "reprocess", "1", "--log-file", log)["recordings"]
    assert told["measured_as"] == "lateral-raise, left arm"
    assert {"plane_deg", "hand_rotation_deg"} <= set(told["changes"])
    # As if it had been the left arm's from the start.
    stated = run_json("process", DEMOS / "strict-raise.csv", "--side", "left")["sets"][0]["reps"]
    assert planes() == ("left", [(rep["plane_deg"], rep["hand_rotation_deg"]) for rep in stated])
    (again,) = run_json("log", "reprocess", "1", "--log-file", log)["recordings"]
    assert (again["measured_as"], again["changes"]) == (None, {})
    run("log", "undo", "--log-file", log)
    assert planes() == ("left", right[1])
    run("log", "undo", "--log-file", log)
    assert planes() == right


def test_sets_of_a_recording_that_differ_in_their_arm_are_measured_each_for_its_own(tmp_path):
    log = log_of(DEMOS / "three-sets.csv", tmp_path)

    def reps(side=None):
        if side is not None:
            return run_json("process", DEMOS / "three-sets.csv", "--side", side, "--load", "8kg")["sets"]
        return run_json("log", "show", "1-3", "--log-file", log)["sets"]

    def told(record):
        return [
            (rep["rep"], rep["rom_deg"], rep["plane_deg"], rep["hand_rotation_deg"])
            for rep in record.get("rep_records", record["reps"])
        ]

    right, left = [[told(one) for one in reps(side)] for side in ("right", "left")]
    assert right[1] != left[1]
    run("log", "edit", "2", "--side", "left", "--log-file", log)
    (said,) = run_json("log", "reprocess", "1", "--log-file", log)["recordings"]
    assert (said["is_mixed"], said["measured_as"]) == (False, "set 2 lateral-raise, left arm")
    assert "plane_deg" in said["changes"]
    assert [told(one) for one in reps()] == [right[0], left[1], right[2]]
    (again,) = run_json("log", "reprocess", "1", "--log-file", log)["recordings"]
    assert again["changes"] == {}
    assert "nothing was changed" in run("log", "reprocess", "1", "--log-file", log).stderr
    run("log", "undo", "--log-file", log)
    assert [told(one) for one in reps()] == right
    run("log", "edit", "1-3", "--side", "left", "--log-file", log)
    (said,) = run_json("log", "reprocess", "1", "--log-file", log)["recordings"]
    assert (said["is_mixed"], said["measured_as"]) == (False, "lateral-raise, left arm")
    assert [told(one) for one in reps()] == left


def test_a_set_whose_exercise_measures_otherwise_than_its_recording_s_stays_and_that_is_said(tmp_path):
    log = log_of(DEMOS / "three-sets.csv", tmp_path)
    run("log", "edit", "1", "--exercise", "front-raise", "--log-file", log)
    run("log", "edit", "3", "--exercise", "machine-reverse-fly", "--log-file", log)
    (said,) = run_json("log", "reprocess", "1", "--log-file", log)["recordings"]
    assert (said["is_mixed"], said["measured_as"]) == (True, "set 1 front-raise, right arm")
    assert "its sets differ in exercise" in run("log", "reprocess", "1", "--log-file", log).stdout


def test_an_exercise_changed_in_the_log_brings_its_band_and_one_nobody_knows_is_said(tmp_path):
    log = log_of(DEMOS / "strict-raise.csv", tmp_path)
    said = run("log", "edit", "1", "--exercise", "y-rais", "--log-file", log).stderr
    assert "no exercise is called 'y-rais', so it stays a name of your own" in " ".join(said.split())
    assert "stay as measured" not in " ".join(said.split())
    assert run_json("log", "reprocess", "1", "--log-file", log)["recordings"][0]["measured_as"] is None
    run("log", "edit", "1", "--exercise", "unknown", "--log-file", log)
    (told,) = run_json("log", "reprocess", "1", "--log-file", log)["recordings"]
    assert told["measured_as"] == "unknown, right arm"
    (one,) = run_json("log", "show", "1", "--log-file", log)["sets"]
    assert one["exercise"] == "unknown"
    assert {rep["start_verdict"] for rep in one["rep_records"]} == {None}, "it has no band"


def test_undo_says_what_a_set_has_again(tmp_path):
    log = log_of(DEMOS / "three-sets.csv", tmp_path)
    run("log", "edit", "2", "--load", "80kg", "--side", "left", "--note", "typed in haste", "--log-file", log)
    run("log", "edit", "1", "2", "--rir", "2", "--log-file", log)
    run("log", "edit", "3", "--clear", "load", "--log-file", log)
    said = [run("log", "undo", "--log-file", log).stderr.strip() for _ in range(3)]
    assert [line.partition(", ")[2] for line in said] == [
        "set 3: load none → 8",
        "sets 1, 2: rir",
        "set 2: side left → right, load 80 → 8, note",
    ]


def test_a_backup_that_cannot_be_written_speaks_of_no_log_nobody_knows(tmp_path):
    from armarc.log import open_log
    from armarc.log.backup import back_up, look_into
    from armarc.outputs import done

    log, backup = tmp_path / "log.sqlite", tmp_path / "backup.zip"
    log_of(DEMOS / "left-wrist.csv", tmp_path)
    with open_log(str(log)) as store:
        before = list(done)
        back_up(store, backup)
    assert look_into(backup).sets == 1
    assert [line for line in done if line not in before and str(backup) not in line] == []


def table(path, head, columns):
    np.savetxt(path, columns, fmt="%.9g", delimiter=",", header=head, comments="")


def test_options_of_reading_are_used_again(tmp_path):
    """A file in °/s with bare columns can be measured again only with the options it was read with."""
    from armarc.api import process
    from armarc.log import log_session, open_log

    recording = read_csv(recordings() / "s1.csv")
    plain = tmp_path / "plain.csv"
    force, rate, times = (
        recording.specific_force_m_s2,
        recording.angular_velocity_rad_s,
        recording.time_s[:, None],
    )
    table(plain, "ax,ay,az,gx,gy,gz", np.hstack([force, np.degrees(rate)]))
    reading = {"rate_hz": 100.0, "units": "acceleration=m/s2,gyroscope=deg/s"}
    session = process(read_csv(plain, **reading), side="right", load_kg=8)
    log = tmp_path / "log.sqlite"
    with open_log(str(log)) as store:
        log_session(store, session, plain, reading=reading)
    (one,) = run_json("log", "reprocess", "--all", "--log-file", log)["recordings"]
    assert (one["problem"], one["changes"]) == (None, {})
    # Two files are kept as one.
    first, second = tmp_path / "a.csv", tmp_path / "g.csv"
    table(first, "time_s,ax_m_s2,ay_m_s2,az_m_s2", np.hstack([times, force]))
    table(second, "time_s,gx_rad_s,gy_rad_s,gz_rad_s", np.hstack([times, rate]))
    reading = {"gyroscope_path": second}
    session = process(read_csv(first, gyroscope_path=second), side="right")
    with open_log(str(log)) as store:
        added = log_session(store, session, first, reading=reading)
    (one,) = run_json("log", "reprocess", str(added.set_ids[0]), "--log-file", log)["recordings"]
    assert (one["problem"], one["reps_after"]) == (None, 10)


@pytest.mark.parametrize("words", [("x.json",), ("x.csv",), ("x.csv", "--per", "set")])
def test_a_long_log_is_exported_piece_by_piece(tmp_path, wide, monkeypatch, words):
    """A log of 10 000 sets took a gigabyte of memory."""
    monkeypatch.chdir(tmp_path)
    read = exporting.reps_by_set if words[-1] != "set" else exporting.sets_table
    most = []

    def watched(*given):
        most.append(len(given[-1]))
        return read(*given)

    monkeypatch.setattr(exporting, read.__name__, watched)
    written = []
    for at_once in (1000, 3):
        monkeypatch.setattr(exporting, "_AT_ONCE", at_once)
        run("log", "export", *words, "--log-file", wide)
        written.append(Path("x").with_suffix(Path(words[0]).suffix).read_bytes())
    assert written[0] == written[1]
    assert (max(most), most[-1]) == (28, 1)
    assert sorted(most)[-2] == 3


def test_exports(tmp_path, wide):
    rows = list(csv.DictReader(io.StringIO(run("log", "export", "--log-file", wide).stdout, newline="")))
    assert len(rows) == 28 * 6
    assert {"set_id", "lifter", "rom_deg", "rom_deg_se", "quality"} <= set(rows[0])
    assert float(rows[0]["rom_deg"]) > 50
    run("log", "export", tmp_path / "sets.csv", "--per", "set", "--side", "left", "--log-file", wide)
    sets = list(csv.DictReader(io.StringIO((tmp_path / "sets.csv").read_text(), newline="")))
    assert len(sets) == 8
    assert {"mean_rom_deg", "velocity_loss_pct", "in_band_share"} <= set(sets[0])
    with open_log(str(wide)) as store:
        judged, other = list_sets(store)[:2]
    without = replace(other, summary=other.summary | {"in_band": None})  # a set whose exercise has no band
    assert [set(row) for row in sets_table([judged, without])] == [set(sets[0])] * 2
    for words in (("--load", "1kg"), ("--session", "nowhere")):
        assert len(run("log", "export", *words, "--log-file", wide).stdout.splitlines()) <= 1
    run("log", "export", tmp_path / "log.json", "--log-file", wide)
    document = json.loads((tmp_path / "log.json").read_text())
    assert document["schema"] == "armarc.log/1"
    assert len(document["sets"]) == 28
    pandas = pytest.importorskip("pandas")
    pytest.importorskip("pyarrow")
    run("log", "export", tmp_path / "log.parquet", "--log-file", wide)
    frame = pandas.read_parquet(tmp_path / "log.parquet")
    assert len(frame) == 28 * 6
    assert str(frame["rom_deg"].dtype) == "float64"
    assert list(frame["rom_deg"]) == pytest.approx([float(row["rom_deg"]) for row in rows])
    run("log", "export", tmp_path / "log.xlsx", "--log-file", wide, code=2)
    run("log", "export", tmp_path / "no" / "log.csv", "--log-file", wide, code=2)
    assert not (tmp_path / "log.xlsx").exists()


def test_backup_and_restore(tmp_path):
    log = real_log(tmp_path)
    run("log", "backup", tmp_path / "b.zip", "--log-file", log)
    refused = run("log", "backup", tmp_path / "b.zip", "--log-file", log, code=2)
    assert "--yes" in refused.stderr
    other = tmp_path / "elsewhere" / "log.sqlite"
    run("log", "restore", tmp_path / "b.zip", "--log-file", other)
    assert run_json("log", "list", "--log-file", other) == run_json("log", "list", "--log-file", log)
    assert run_json("log", "check", "--log-file", other)["problems"] == []
    run("log", "restore", tmp_path / "b.zip", "--log-file", other, code=5)
    run("log", "remove", "1-6", "-y", "--log-file", other)
    run("log", "restore", tmp_path / "b.zip", "--replace", "-y", "--log-file", other)
    assert run_json("log", "list", "--log-file", other)["total"] == 6
    assert len(list(other.parent.glob("log-before-*.sqlite"))) == 1


def test_a_damaged_backup_is_refused(tmp_path):
    log = wide_log(tmp_path)
    run("log", "backup", tmp_path / "b.zip", "--log-file", log)
    whole = (tmp_path / "b.zip").read_bytes()
    (tmp_path / "cut.zip").write_bytes(whole[: len(whole) // 2])
    flipped = bytearray(whole)
    flipped[len(whole) // 3] ^= 0xFF
    (tmp_path / "flipped.zip").write_bytes(bytes(flipped))
    with zipfile.ZipFile(tmp_path / "b.zip") as archive, zipfile.ZipFile(tmp_path / "more.zip", "w") as more:
        for name in archive.namelist():
            more.writestr(name, archive.read(name))
        more.writestr("../evil.csv", "x")
    (tmp_path / "text.zip").write_text("no archive")
    for name in ("cut", "flipped", "more", "text", "none"):
        target = tmp_path / f"from-{name}.sqlite"
        run("log", "restore", tmp_path / f"{name}.zip", "--log-file", target, code=5)
        assert not target.exists()
    assert not (tmp_path.parent / "evil.csv").exists()


def test_check_names_the_damage(tmp_path):
    log = real_log(tmp_path)
    kept = next((tmp_path / "real" / "log-recordings").rglob("*.csv"))
    kept.write_text("changed")
    found = run("log", "check", "--log-file", log, code=5)
    assert "changed or damaged" in found.stdout
    assert "problems" in run_json("log", "check", "--log-file", log, code=5)


@pytest.mark.parametrize("share", [0.02, 0.3, 0.6, 0.95])
def test_a_damaged_database_is_one_plain_message(tmp_path, share):
    log = wide_log(tmp_path)
    content = bytearray(log.read_bytes())
    start = int(len(content) * share) // 4096 * 4096 + (100 if share < 0.05 else 0)
    content[start : start + 4096] = b"\xa5" * min(4096, len(content) - start)
    log.write_bytes(bytes(content))
    found = run("log", "check", "--log-file", log, code=5)
    assert "problem" in found.stdout or "damaged" in found.stderr
    assert "unexpected" not in found.stderr


@pytest.mark.parametrize(
    "words",
    [["log", "list"], ["log", "show", "last"], ["trend"], ["compare", "1", "2"], ["reliability"], ["report"],
     ["log", "undo"], ["log", "check"], ["log", "export"], ["browse", "--no-open"]],
)  # fmt: skip
def test_without_a_log_every_command_says_how_to_get_one(tmp_path, words):
    said = run(*words, "--log-file", tmp_path / "none.sqlite", code=5)
    assert "no log" in said.stderr
    assert "process" in said.stderr
    assert list(tmp_path.iterdir()) == []


def test_the_environment_names_the_log_and_the_program_runs(tmp_path):
    log = wide_log(tmp_path)
    environment = {**os.environ, "ARMARC_LOG": str(log)}
    words = [sys.executable, "-m", "armarc", "log", "list", "--json", "-n", "1"]
    done = subprocess.run(words, capture_output=True, text=True, env=environment, timeout=60)
    assert done.returncode == 0, done.stderr
    assert json.loads(done.stdout)["total"] == 28


def test_when_a_recording_began_can_be_said(tmp_path):
    """Copied files have the date of the copy: a trend over them would be one day."""
    log = tmp_path / "log.sqlite"
    strict = DEMOS / "strict-raise.csv"
    said = run("process", strict, "--log-file", log, "--began", "2025-03-01T17:30")
    assert "file's date" not in said.stderr
    (entry,) = run_json("log", "list", "--log-file", log)["sets"]
    assert entry["done_at"].startswith("2025-03-01T17:3")
    for odd in ("1 March", "2025-13-01", "0001-01-01T00:00"):
        assert (
            "write it as 2026-03-01T17:30"
            in run("process", strict, "--log-file", log, "--began", odd, code=2).stderr
        )
    for words in (
        ("process", strict, "--log-file", log, "--began", "2095-03-01T17:30"),
        ("log", "edit", "1", "--when", "2095-03-01 17:30", "--log-file", log),
    ):
        assert "lies in the future" in run(*words, code=2).stderr
    again = run("process", strict, "--log-file", log)
    assert "already in the log" in again.stderr
    assert "file's date" not in again.stderr, "nothing was taken from it"
    refused = run("process", strict, "--began", "2025-03-01T17:30", code=2)
    assert "add --log" in refused.stderr
    both = (strict, DEMOS / "swung-set.csv")
    several = run("process", *both, "--log-file", log, "--began", "2025-03-01T17:30", code=2)
    assert "one by one" in several.stderr, "two recordings did not begin at once"
    unsaid = run("process", DEMOS / "swung-set.csv", "--log-file", log)
    assert "--began` states another" in unsaid.stderr


@pytest.fixture
def in_zone(monkeypatch):
    """Puts this machine into a time zone; after the test it is home again."""

    def move(zone):
        monkeypatch.setenv("TZ", zone)
        time.tzset()

    yield move
    monkeypatch.undo()
    time.tzset()


@pytest.mark.skipif(not hasattr(time, "tzset"), reason="the time zone cannot be changed here")
def test_a_set_of_another_time_zone_says_which_day_it_belongs_to(tmp_path, in_zone):
    """Days are those of the place where it was lifted, clock times those of this machine."""
    log = tmp_path / "log.sqlite"
    run("process", DEMOS / "strict-raise.csv", "--log-file", log, "--began", "2025-03-01T23:30-11:00")
    for zone, words in (
        ("Pacific/Pago_Pago", "2025-03-01 23:30"),
        ("Etc/UTC", "2025-03-02 10:30 (2025-03-01 there)"),
    ):
        in_zone(zone)
        for command in (("list",), ("show", "1")):
            done = run("log", *command, "--log-file", log)
            said = done.stdout + done.stderr
            assert words in said
            assert (" there)" in said) == (" there)" in words)
