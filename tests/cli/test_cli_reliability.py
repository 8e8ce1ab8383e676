"""``armarc reliability`` end to end."""

import math

import pytest

from log_program import run, run_json, wide_log


@pytest.fixture(scope="module")
def log(tmp_path_factory):
    return wide_log(tmp_path_factory.mktemp("wide"))


def test_between_days_and_within_a_session(log):
    days = run_json("reliability", "rom", "start_velocity", "--side", "left", "--log-file", log)["measures"]
    rom = days[0]
    assert (rom["measure"], rom["targets"], rom["pairs"]) == ("rom_deg", 1, 7)
    # Invented: SD 1° between sessions and 1° between the six reps of a set, so about √(1 + 1/6).
    assert rom["typical_error_low"] < math.sqrt(1 + 1 / 6) < rom["typical_error_high"]
    assert rom["detectable"] == pytest.approx(1.96 * math.sqrt(2) * rom["typical_error"], rel=1e-3)
    assert rom["icc"] == {}
    assert "three tasks" in rom["why_no_icc"]
    sets = run_json("reliability", "rom", "--across", "sets", "--lifter", "me", "--log-file", log)[
        "measures"
    ][0]
    assert sets["pairs"] == 8
    assert set(sets["icc"]) == {"1,1", "2,1", "3,1"}


def test_the_table_and_its_advice(log):
    said = run("reliability", "--log-file", log)
    assert len(said.stdout.splitlines()) == 9
    assert "Hopkins" in said.stderr


def test_too_little_to_say_and_wrong_words(log):
    run("reliability", "--since", "2026-01-20", "--until", "2026-01-20", "--log-file", log, code=6)
    run("reliability", "--across", "years", "--log-file", log, code=2)
    run("reliability", "strength", "--log-file", log, code=2)
