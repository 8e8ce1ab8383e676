"""What a session takes from the one before it."""

import json
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from armarc.errors import InputError
from armarc.tasks import MOST_KEPT, Task, load_tasks, recalled, save_tasks, tasks_path, with_newest

ANNA = Task(
    lifter="Anna", exercise="lateral-raise", variant="", side="left", load_kg=8.0, sensor="wrist", logged=True
)
BEN = Task(lifter="Ben", exercise="front-raise", side="right", load_kg=12.0, sensor="other", logged=False)
NAMES = st.sampled_from(["Anna", "Ben", "Cleo"])
LIFTS = st.sampled_from(["lateral-raise", "front-raise"])
SIDES = st.sampled_from(["left", "right"])
LOADS = st.sampled_from([4.0, 8.0, 12.5])
TASKS = st.builds(
    Task,
    lifter=st.none() | NAMES,
    exercise=LIFTS,
    variant=st.sampled_from(["", "cable"]),
    side=SIDES,
    load_kg=st.none() | LOADS,
    resistance=st.none() | st.just(("cable:20kg",)),
    sensor=st.sampled_from(["a", "b"]),
    stop_velocity_loss_pct=st.none() | st.just(20.0),
)
SAID = st.builds(
    Task,
    lifter=st.none() | NAMES,
    exercise=st.none() | LIFTS,
    side=st.none() | SIDES,
    load_kg=st.none() | LOADS,
)


def test_nothing_said_is_the_last_task_whole():
    assert recalled([BEN, ANNA], Task()) == BEN


def test_a_lifter_brings_their_own_last_lift():
    found = recalled([BEN, ANNA], Task(lifter="Anna"))
    assert (found.exercise, found.side, found.load_kg) == ("lateral-raise", "left", 8.0)
    assert (found.sensor, found.logged) == ("other", False)  # the strap and the log are as they were left


def test_capitals_make_no_other_lifter():
    assert recalled([BEN, ANNA], Task(lifter="anna")) == recalled([BEN, ANNA], Task(lifter="Anna"))


def test_another_lift_has_no_load():
    found = recalled([BEN, ANNA], Task(lifter="Anna", exercise="front-raise"))
    assert (found.side, found.load_kg) == ("left", None)


def test_a_stranger_gets_nobodys_load_arm_or_marks():
    marked = replace(BEN, stop_velocity_loss_pct=20.0)
    found = recalled([marked], Task(lifter="Cleo"))
    assert (found.exercise, found.load_kg, found.side, found.stop_velocity_loss_pct) == (
        "front-raise",
        None,
        None,
        None,
    )


def test_the_other_arm_takes_the_load_along():
    assert recalled([ANNA], Task(side="right")).load_kg == 8.0


def test_a_stated_resistance_leaves_the_old_load_out():
    found = recalled([ANNA], Task(resistance=("cable:10kg",)))
    assert (found.load_kg, found.resistance) == (None, ("cable:10kg",))


@given(st.lists(TASKS, max_size=6), SAID)
def test_what_is_said_wins_and_loads_stay_with_their_lifter_and_lift(past, said):
    found = recalled(past, said)
    for name in ("lifter", "exercise", "side", "load_kg"):
        if getattr(said, name) is not None:
            assert getattr(found, name) == getattr(said, name)
    if found.load_kg is not None and said.load_kg is None:
        assert any(
            (o.lifter, o.exercise, o.load_kg) == (found.lifter, found.exercise, found.load_kg) for o in past
        )


@given(st.lists(TASKS, max_size=12))
def test_the_newest_stands_first_and_each_place_once(tasks):
    kept = ()
    for one in tasks:
        kept = with_newest(kept, one)
        assert kept[0] == one
    places = [(o.lifter, o.exercise, o.variant, o.side) for o in kept]
    assert len(places) == len(set(places)) <= MOST_KEPT


@given(st.lists(TASKS, max_size=5))
def test_what_is_written_is_read_again(tmp_path_factory, tasks):
    folder = tmp_path_factory.mktemp("config")
    save_tasks(tasks, folder)
    assert load_tasks(folder) == tuple(tasks)


def test_no_file_is_no_task(tmp_path):
    assert load_tasks(tmp_path) == ()


@pytest.mark.parametrize(
    "content",
    [
        b"",
        b"{",
        b"[]",
        b'{"schema": "other", "tasks": []}',
        json.dumps({"schema": "armarc.tasks/1", "tasks": [{"side": "up"}]}).encode(),
        json.dumps({"schema": "armarc.tasks/1", "tasks": [{"load_kg": "heavy"}]}).encode(),
        json.dumps({"schema": "armarc.tasks/1", "tasks": 3}).encode(),
        b"\xff\xfe",
        b"[" * 100_000,
    ],
)
def test_a_damaged_file_is_named_with_what_to_do(tmp_path, content):
    tasks_path(tmp_path).write_bytes(content)
    with pytest.raises(InputError, match=r"damaged|cannot be read") as caught:
        load_tasks(tmp_path)
    assert "tasks.json" in str(caught.value)


def test_a_task_in_words():
    assert ANNA.words() == "Anna, lateral-raise, left arm, 8 kg"
