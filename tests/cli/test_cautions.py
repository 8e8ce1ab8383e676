"""What belongs under height, hand rotation, moments and loads is said there: terminal, page and live face."""

import tarfile
from pathlib import Path

import pytest

from armarc.exercises import find_exercise
from armarc.report.wording import CAUTION, HEIGHT_CAUTION, cautions_for
from log_program import real_log, run, run_json, wide_log

OLD_LOG = Path(__file__).parents[1] / "log-of-form-3.tar.gz"
OWN = find_exercise("lateral-raise").caution


@pytest.fixture(scope="module")
def log(tmp_path_factory):
    return wide_log(tmp_path_factory.mktemp("log"))


@pytest.mark.parametrize(
    "words",
    [
        "log list", "log show 1", "trend rom_deg", "trend weeks", "trend bests", "trend next", "trend parts",
        "reliability rom_deg", "compare --by side", "band me",
    ],
)  # fmt: skip
def test_numbers_from_the_log(log, words):
    said = " ".join(run(*words.split(), "--log-file", log).stderr.split())
    assert said.count(OWN) == said.count(CAUTION) == 1


@pytest.mark.parametrize("words", ["plan", "plan --pace 57", "resist 8kg"])
def test_moments_of_a_plan(words):
    said = " ".join(run(*words.split()).stderr.split())
    assert said.count(HEIGHT_CAUTION) == said.count(CAUTION) == 1


def test_pages(tmp_path):
    run("report", "1", "-o", tmp_path / "set.html", "--log-file", real_log(tmp_path))
    text = " ".join((tmp_path / "set.html").read_text().split())
    assert OWN in text
    assert text.count(CAUTION) == 1


def test_many_exercises_have_one_line_together():
    assert cautions_for({"lateral-raise"}) == [OWN, CAUTION]
    assert cautions_for({"lateral-raise", "front-raise", "upright-row"}) == [HEIGHT_CAUTION, CAUTION]
    assert cautions_for({"nobody has this"}) == [HEIGHT_CAUTION, CAUTION]


def test_sets_from_before_clean_reps_are_named_and_take_part_once_measured_again(tmp_path):
    with tarfile.open(OLD_LOG) as archive:
        archive.extractall(tmp_path, filter="data")
    log = tmp_path / "log.db"
    for words in ("bests", "next"):
        said = run("trend", words, "--log-file", log)
        assert "3 sets take no part, measured before there were clean reps" in " ".join(said.stderr.split())
    assert run_json("trend", "bests", "--log-file", log)["bests"] == []
    run("report", "-o", tmp_path / "old.html", "--log-file", log)
    run("log", "reprocess", "--all", "--log-file", log)
    for words in ("bests", "next"):
        assert "take no part" not in run("trend", words, "--log-file", log).stderr
