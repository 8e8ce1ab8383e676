"""Between the sets: who lifts what, what is said, keys and pages, as small state machines."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from armarc.errors import UsageError
from armarc.live.desk import Desk, Say, Switch, order_of, switched_task
from armarc.live.keys import ENTER, ESCAPE, Pad, pain_of
from armarc.log.labels import Labels
from armarc.tasks import Task

ANNA = Task(lifter="Anna", exercise="lateral-raise", side="left", load_kg=8.0, sensor="wrist", logged=True)
PAST = (
    Task(lifter="Ben", exercise="lateral-raise", side="right", load_kg=12.0, stop_velocity_loss_pct=20.0),
    Task(lifter="Ben", exercise="front-raise", side="right", load_kg=9.0),
)
SWITCHES = st.builds(
    Switch,
    lifter=st.none() | st.sampled_from(["Anna", "Ben", "Cleo"]),
    exercise=st.none() | st.sampled_from(["lateral-raise", "front-raise"]),
    side=st.none() | st.sampled_from(["left", "right"]),
    load_kg=st.none() | st.sampled_from([4.0, 10.0]),
)


@given(st.lists(SWITCHES | st.sampled_from(["rep", "set over", "no rep after all"]), max_size=30))
def test_a_set_belongs_to_the_task_it_began_with(course):
    desk, number, began, wanted = Desk(task=ANNA), 0, None, ANNA
    for step in course:
        if isinstance(step, Switch):
            desk = desk.switched(step, PAST)
            wanted = switched_task(wanted, step, PAST)
        elif step == "rep":
            began = began or desk.task
            desk = desk.counted(1)
        elif step == "set over" and desk.lifting:
            number += 1
            desk = desk.ended(number)
            assert desk.done[number] == began
            began = None
        elif step == "no rep after all":
            desk, began = desk.counted(0), None
        # Whatever was chosen last is what comes next, and nothing of it touches a running set.
        assert desk.next_task == wanted
        assert desk.task == (began or wanted)
    assert set(desk.done) == set(range(1, number + 1))


def test_another_lifter_brings_their_own_load_and_marks():
    task = switched_task(ANNA, Switch(lifter="Ben"), PAST)
    assert (task.exercise, task.side, task.load_kg, task.stop_velocity_loss_pct) == (
        "lateral-raise",
        "left",
        12.0,
        20.0,
    )
    assert (task.sensor, task.logged) == ("wrist", True)
    assert switched_task(ANNA, Switch(lifter="ben"), PAST) == task
    assert switched_task(ANNA, Switch(lifter="Cleo"), PAST).load_kg is None
    assert switched_task(ANNA, Switch(lifter="Cleo", load_kg=5.0), PAST).load_kg == 5.0


def test_the_other_arm_keeps_the_load():
    assert switched_task(ANNA, Switch(side="right"), PAST).load_kg == 8.0


SAID = st.builds(
    Labels, rir=st.none() | st.integers(0, 9).map(float), pain=st.none() | st.integers(0, 10).map(float)
)


@given(st.lists(SAID, max_size=6))
def test_what_is_said_adds_up_and_the_newest_word_counts(words):
    desk = Desk(task=ANNA).counted(1).ended(1)
    for one in words:
        desk = desk.with_said(Say(labels=one))
    for name in ("rir", "pain"):
        stated = [getattr(one, name) for one in words if getattr(one, name) is not None]
        assert getattr(desk.said.get(1, Labels()), name) == (stated[-1] if stated else None)


def test_nothing_is_said_about_no_set():
    with pytest.raises(UsageError, match="no set is done yet"):
        Desk(task=ANNA).with_said(Say(labels=Labels(rir=2)))
    with pytest.raises(UsageError, match="there is no set 4"):
        Desk(task=ANNA).counted(1).ended(1).with_said(Say(labels=Labels(rir=2), set=4))


@pytest.mark.parametrize(
    ("record", "order"),
    [
        ({"switch": {"lifter": "Ben"}}, Switch(lifter="Ben")),
        (
            {"switch": {"exercise": "Lateral raise", "load_kg": 7.5}},
            Switch(exercise="lateral-raise", load_kg=7.5),
        ),
        ({"say": {"rir": 2}, "set": 3}, Say(labels=Labels(rir=2), set=3)),
        (
            {"say": {"pain": 4, "pain_place": "front", "pain_at_deg": 80}},
            Say(labels=Labels(pain=4, pain_place="front", pain_at_deg=80)),
        ),
    ],
)
def test_an_order_of_a_page(record, order):
    assert order_of(record) == order


@given(
    st.recursive(
        st.none() | st.booleans() | st.integers() | st.floats(allow_nan=True) | st.text(),
        lambda inner: (
            st.lists(inner, max_size=3)
            | st.dictionaries(
                st.sampled_from(
                    ["switch", "say", "set", "lifter", "exercise", "side", "load_kg", "rir", "note", "pain"]
                ),
                inner,
                max_size=4,
            )
        ),
    )
)
def test_what_is_no_order_is_refused_and_nothing_else(record):
    try:
        order = order_of(record)
    except UsageError:
        return
    assert isinstance(order, Switch | Say)


def typed(keys, *, after_set=True, task=ANNA):
    pad, orders = Pad(), []
    for key in keys:
        pad, order = pad.press(
            key,
            task,
            lifters=("Anna", "Ben"),
            exercises=("lateral-raise", "front-raise"),
            after_set=after_set,
        )
        orders += [] if order is None else [order]
    return pad, orders


@pytest.mark.parametrize(
    ("keys", "orders"),
    [
        ("2", [Say(labels=Labels(rir=2.0))]),
        ("s", [Switch(side="right")]),
        ("l2\n", [Switch(lifter="Ben")]),
        ("lCleo\n", [Switch(lifter="Cleo")]),
        ("lben\n", [Switch(lifter="Ben")]),
        ("e2\n", [Switch(exercise="front-raise")]),
        ("k7,5\x7f\x7f.5kg\n", [Switch(load_kg=7.5)]),
        ("p4\n", [Say(labels=Labels(pain=4.0))]),
        (
            "p4 front of the shoulder 80\n",
            [Say(labels=Labels(pain=4.0, pain_place="front of the shoulder", pain_at_deg=80.0))],
        ),
        ("nfelt easy\n", [Say(labels=Labels(note="felt easy"))]),
        ("l" + ESCAPE + "3", [Say(labels=Labels(rir=3.0))]),
        ("l" + ENTER, []),
        ("xyz?", []),
    ],
)
def test_keys(keys, orders):
    pad, found = typed(keys)
    assert found == orders
    assert not pad.asking


def test_before_a_set_nothing_can_be_said_about_one():
    pad, orders = typed("2p", after_set=False)
    assert (orders, pad.problem) == ([], "no set is done yet")


@pytest.mark.parametrize(
    "keys", ["l9\n", "enose raise of sorts\n", "kheavy\n", "p11\n", "pouch\n", "p4 x 999\n"]
)
def test_a_line_that_makes_no_sense_is_said(keys):
    pad, orders = typed(keys)
    assert orders == []
    assert pad.problem
    assert pad.words() == pad.problem


@given(st.text(max_size=40))
def test_any_keys_do_no_harm(keys):
    pad, orders = typed(keys)
    assert all(isinstance(one, Switch | Say) for one in orders)
    assert isinstance(pad.words(), str)


def test_pain_may_have_no_place():
    assert pain_of("6 80") == Labels(pain=6.0, pain_at_deg=80.0)
