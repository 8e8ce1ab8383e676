"""``armarc trend`` end to end."""

from pathlib import Path

import pytest

from armarc.cli.trend_words import weeks_words
from armarc.reps.flags import FLAGS
from log_program import real_log, run, run_json, wide_log

DEMOS = Path(__file__).parents[2] / "recordings"


@pytest.fixture(scope="module")
def log(tmp_path_factory):
    return wide_log(tmp_path_factory.mktemp("wide"))


def test_a_rise_of_known_size_is_found(log):
    found = run_json("trend", "rom", "--side", "right", "--lifter", "me", "--log-file", log)
    # Invented: 1.5° a session, eight sessions three days apart: 3.5° a week.
    assert len(found["points"]) == 8
    assert found["slope_per_week"] == pytest.approx(3.5, abs=1.0)
    assert found["slope_interval"][0] < 3.5 < found["slope_interval"][1]
    assert found["change"]["real"] is True
    assert found["verdict"].startswith("Real change")
    assert found["points"][0]["sets"] == 2


def test_no_change_is_called_none(log):
    found = run_json("trend", "rom", "--side", "left", "--worthwhile", "5", "--log-file", log)
    assert found["change"]["real"] is False
    assert found["verdict"].startswith("No real change")
    assert found["worthwhile"] == 5
    found = run_json("trend", "rom", "--side", "left", "--worthwhile", "2", "--log-file", log)
    assert found["verdict"].startswith("Unclear")


def test_mixed_tasks_are_narrowed_and_said(log):
    said = run("trend", "reps", "--log-file", log)
    assert "other sets left out" in said.stderr
    assert "me, lateral-raise, right arm, 8 kg" in said.stderr
    assert len(said.stdout.splitlines()) == 9


def test_of_loads_done_as_often_the_newest_is_kept(tmp_path):
    log = tmp_path / "log.sqlite"
    run("log", "import", DEMOS / "three-sets.csv", "--log-file", log)
    for number, load in (("1", "9kg"), ("2", "10kg")):
        run("log", "edit", number, "--load", load, "--log-file", log)
    run("log", "remove", "3", "--yes", "--log-file", log)
    assert "10 kg, 1 other set left out" in run("trend", "--log-file", log).stderr, (
        "9 comes behind 10 as text alone"
    )
    parts = [line.split("\t") for line in run("trend", "parts", "--log-file", log).stdout.splitlines()]
    (anterior,) = (cells for cells in parts if "anterior" in cells)
    assert anterior[4] == "0.5–2", "two sets of 0.25–1 each"
    run("log", "remove", "1", "--yes", "--log-file", log)
    assert "\t0.25–1\t" in run("trend", "parts", "--log-file", log).stdout


def test_the_load_that_was_asked_for_is_said(log):
    said = run("trend", "rom", "--side", "right", "--lifter", "me", "--load", "8kg", "--log-file", log)
    assert "me, lateral-raise, right arm, 8 kg" in said.stderr
    assert "all loads" not in said.stderr


@pytest.mark.parametrize("kind", ["svg", "png", "pdf"])
def test_pictures(log, tmp_path, kind):
    run("trend", "rom", "--plot", tmp_path / f"t.{kind}", "--log-file", log)
    run("trend", "weeks", "--dark", "--lifter", "Ada", "--plot", tmp_path / f"w.{kind}", "--log-file", log)
    start = {"svg": b"<?xml", "png": b"\x89PNG", "pdf": b"%PDF"}[kind]
    for name in "tw":
        assert (tmp_path / f"{name}.{kind}").read_bytes().startswith(start)


def test_a_long_break_is_not_called_no_sets_a_week():
    assert weeks_words(15, 202) == "15 sets in 202 weeks"
    assert weeks_words(24, 6) == "4 sets a week over 6 weeks"


def test_weeks_and_bests(log):
    weeks = run_json("trend", "weeks", "--log-file", log)["weeks"]
    assert sum(week["sets"] for week in weeks) == 28
    assert sum(week["reps"] for week in weeks) == 28 * 6
    # Eight sessions of three sets and four of one, in weeks of their own, though the days are the same.
    sets = {name: sum(week["sets"] for week in weeks if week["lifter"] == name) for name in ("me", "Ada")}
    assert sets == {"me": 24, "Ada": 4}
    assert len({(week["lifter"], week["week"]) for week in weeks}) == len(weeks)
    shown = run("trend", "weeks", "--log-file", log)
    assert shown.stdout.startswith("Lifter\tWeek\t")
    alone = run("trend", "weeks", "--lifter", "ada", "--log-file", log)
    assert [line.split("\t")[0] for line in alone.stdout.splitlines()[1:]] == ["Ada", "Ada"]
    drawn = run("trend", "weeks", "--plot", log.parent / "w.png", "--log-file", log)
    assert "drawn for me, who has most sets" in drawn.stderr
    bests = run_json("trend", "bests", "--lifter", "me", "--log-file", log)["bests"]
    assert {best["side"] for best in bests} == {"left", "right"}
    clean = next(best for best in bests if best["measure"] == "clean_reps" and best["side"] == "right")
    assert (clean["value"], clean["load_kg"]) == (6, 8)
    assert clean["inside_error"] is not False
    assert run("trend", "bests", "--log-file", log).stdout.startswith("Lifter\t")


def test_impulse_in_the_loaded_range_per_week(tmp_path):
    real = real_log(tmp_path)
    weeks = run_json("trend", "weeks", "--log-file", real)["weeks"]
    # 30 reps with 8 kg, about 0.9 s each between 30 and 60 degrees at some 35 to 50 N m (statics).
    assert 30 * 0.9 * 30 < sum(week["impulse_n_m_s"] for week in weeks) < 30 * 0.9 * 60
    assert "Impulse" in run("trend", "weeks", "--log-file", real).stdout.splitlines()[0]
    run("trend", "weeks", "--plot", tmp_path / "w.png", "--log-file", real)


def test_wrong_words(log, tmp_path):
    assert "choose from" in run("trend", "strength", "--log-file", log, code=2).stderr
    run("trend", "rom", "--lifter", "nobody", "--log-file", log, code=6)
    assert run("trend", "rom", "--plot", tmp_path / "x.gif", "--log-file", log, code=2).stderr
    empty = run_json("trend", "rom", "--lifter", "nobody", "--log-file", log, code=6)
    assert empty["points"] == []


def test_moments_are_followed_and_compared(tmp_path):
    real = real_log(tmp_path)
    # Invented recordings are of one day: two sets of the right arm each make one session.
    found = run_json("trend", "peak_moment_n_m", "--side", "right", "--log-file", real)
    shown = [
        run_json("log", "show", str(i), "--log-file", real)["sets"][0] for i in found["points"][0]["set_ids"]
    ]
    means = [
        sum(rep["peak_moment_n_m"] for rep in full) / len(full)
        for one in shown
        if (full := [rep for rep in one["rep_records"] if rep["clean"]])
    ]
    assert found["points"][0]["value"] == pytest.approx(sum(means) / len(means), rel=1e-6)
    assert found["unit"] == "N·m"
    rows = run_json("compare", "1", "2", "-m", "peak_moment_n_m", "--log-file", real)["rows"]
    assert rows[0]["n_first"] == 5


def test_a_codebook_lies_beside_an_export(tmp_path, log):
    run("log", "export", tmp_path / "reps.csv", "--log-file", log)
    book = (tmp_path / "reps.codebook.md").read_text()
    header = (tmp_path / "reps.csv").read_text().splitlines()[0].split(",")
    assert "| `rom_deg` | ° | range of motion, top minus bottom | `rom_deg_se` |" in book
    for key in ("start_velocity_deg_s", "body_swing_cm", "hold_s"):
        assert key in header
        assert f"`{key}`" in book
    for flag, meaning in FLAGS.items():
        assert f"| `{flag}` | {meaning} |" in book, "the book stands alone"


def test_what_a_coachs_table_steers(log, tmp_path):
    coach = {"env": {"ARMARC_CONFIG_DIR": str(tmp_path)}}
    found = run_json("trend", "next", "--log-file", log, **coach)
    assert {task["side"] for task in found["tasks"]} == {"left", "right"}
    assert all(
        task["next_kg"] in (task["load_kg"], task["load_kg"] + 1, task["load_kg"] - 1)
        for task in found["tasks"]
    )
    said = run("trend", "next", "--log-file", log, **coach)
    assert "Never chase the number" in said.stderr
    found = run_json("trend", "parts", "--log-file", log, **coach)
    assert {week["part"] for week in found["weeks"]} == {"anterior", "middle", "posterior"}
    assert "no source" in found["shares"][0]["rests on"]
    assert "settings --coaching" in run("trend", "planned", "--log-file", log, code=6, **coach).stderr
    (tmp_path / "coaching.toml").write_text('[plan."me"]\nlateral-raise = { sets = 6 }\n')
    assert "sets" in run("trend", "planned", "--log-file", log, **coach).stdout
    run("trend", "parts", "--plot", tmp_path / "a.png", "--log-file", log, code=2)
    (tmp_path / "coaching.toml").write_text("[next]\nstep = 1\n")
    assert "did you mean step_kg" in run("trend", "next", "--log-file", log, code=3, **coach).stderr


@pytest.mark.parametrize("word", ["rom", "weeks", "bests", "next", "parts"])
def test_height_and_pain_are_said_with_every_answer(log, word):
    said = run("trend", word, "--log-file", log).stderr
    assert "If raising hurts, stop, lower the top of the range" in said
    assert "Never chase the number" in said
