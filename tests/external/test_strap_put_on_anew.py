"""Real raises before and after the strap was put on otherwise: as each would be measured in a recording of its own.

Sources: see `one_strap.py`. All of them: ``python tests/benchmarks/bench_one_strap.py``.
"""

import pytest
from one_strap import from_person_to_person, from_wrist_to_wrist, turned_half_round
from test_people_counts import FOLDER

from grids import seldom

with_people = pytest.mark.skipif(
    not FOLDER.is_dir(), reason="the recordings of people are not beside the project"
)


@pytest.mark.parametrize(
    ("subject", "code", "exercise"),
    [(3, 1, "lateral-raise"), *seldom((8, 2, "front-raise"), (10, 1, "lateral-raise"))],
)
def test_a_watch_that_goes_to_the_other_wrist_is_measured_there(subject, code, exercise):
    """Fitted together, none of 20 such pairs of people came out as alone (starts up to 100 °/s off)."""
    worn = from_wrist_to_wrist(subject, code, exercise)
    assert worn.is_said
    assert worn.is_alike


@with_people
@pytest.mark.parametrize("number", [3, *seldom(2)])
def test_a_sensor_turned_half_round_before_the_last_set_is_measured_as_it_lies(number):
    worn = turned_half_round(number, (-1.0, -1.0, 1.0))
    assert worn.is_said
    assert [len(one.reps) for one in worn.together.sets] == [10, 10, 10]
    assert worn.is_alike


@with_people
@pytest.mark.parametrize(("first", "second"), [(1, 2), *seldom((1, 3), (2, 3))])
def test_whoever_wears_the_strap_next_is_measured_with_their_own_arm(first, second):
    """With one arm for both, starts of 143 °/s read 172 ± 84."""
    worn = from_person_to_person(first, second)
    assert worn.is_said
    assert worn.is_alike
