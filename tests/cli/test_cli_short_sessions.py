"""Sessions of short sets with walking, drinking and scratching between them, from invented recording to counts."""

import json
from functools import cache
from itertools import pairwise

import pytest

from armarc.cli.process import process
from armarc.cli.simulate import simulate
from one_command import program

SESSIONS = {
    "fours of one mark": (
        "--exercise front-raise --reps 4 --sets 3 --tempo 4/1/2.5/1 --rom 75 --variation 8 --body tipping-trunk"
        " --press-start --walk-up --walk-away --rest-s 45 --walk --fidget --seed 51055"
    ),
    "uneven triples": (
        "--reps 3 --sets 4 --tempo 3/0.5/2/0.5 --rom 60 --variation 8 --body resting-in-front --press-start"
        " --press-stop --walk-away --pick-up --walk --fidget --seed 51017"
    ),
}


simulated, processed = program(simulate, "simulate"), program(process, "process")


@cache
def found(path, *words):
    """What the command finds; asked once for all tests of it."""
    done = processed(path.parent, str(path), *words, "--json")
    assert done.exit_code == 0, done.stderr
    return json.loads(done.stdout)


@pytest.fixture(scope="module", params=SESSIONS, ids=lambda name: name.replace(" ", "-"))
def session(request, tmp_path_factory):
    path = tmp_path_factory.mktemp("session") / "session.csv"
    assert simulated(path.parent, str(path), *SESSIONS[request.param].split()).exit_code == 0
    truth = json.loads(path.with_suffix(".truth.json").read_text())
    return path, [rep for one in truth["sets"] for rep in one["reps"]]


@pytest.mark.parametrize("named", [True, False])
def test_sets_follow_one_another(session, named):
    """Cycles that went on from one set into one that had been counted made a set around it."""
    path, _ = session
    session = found(path, *(() if named else ("--exercise", "unknown")))
    spans = [(one["reps"][0]["start_s"], one["reps"][-1]["end_s"]) for one in session["sets"]]
    assert all(before[1] <= after[0] for before, after in pairwise(spans))


def test_every_rep_of_a_named_raise_counts(session):
    """Three reps that differ fall short of a set, four times three do not."""
    path, reps = session
    tops = [rep["top_start_s"] for one in found(path)["sets"] for rep in one["reps"]]
    assert all(any(abs(top - rep["top_start_s"]) < 0.6 for top in tops) for rep in reps)
