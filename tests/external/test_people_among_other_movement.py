"""Real raises between real movement of another kind: all reps, and measures as without it (`held_by_hand.py`)."""

import pytest
from held_by_hand import WINDOWS, among_other_movement

from grids import crossed
from live_runs import run, sets_in

pytestmark = pytest.mark.skipif(
    not WINDOWS.is_dir(),
    reason="the orientation benchmark and the recordings of people are not beside the project",
)
CASES = crossed((1, 2, 3), (0, 1, 2, 3), fold=3)
both = pytest.mark.parametrize(("number", "seed"), CASES)


@both
def test_every_set_keeps_its_reps_and_hardly_anything_else_counts(number, seed):
    between = among_other_movement(number, seed)
    assert between.sizes == [[10], [10], [10]]
    others, said = between.beside
    assert others <= 2
    assert said == others


@both
def test_measures_are_those_without_it(number, seed):
    between = among_other_movement(number, seed)
    for key in ("start_velocity", "rom"):
        assert all(abs(off) < 2 * error for off, error in between.differs(key))


@both
def test_live_counts_every_rep(number, seed):
    between = among_other_movement(number, seed)
    live = sets_in(run(between.recording, exercise="lateral-raise", side="right"))
    sizes = [
        [len(one.reps) for one in live if first < (one.start_s + one.end_s) / 2 < last]
        for first, last in between.lifted_s
    ]
    assert sizes == [[10], [10], [10]]
