"""Lifters take turns in a live session: each set goes into the log under its lifter, with what is said of it."""

import asyncio
import math
from dataclasses import replace
from datetime import date

import pytest

from armarc.errors import UsageError
from armarc.exercises import Band
from armarc.kept import Kept
from armarc.live.after_set import last_time
from armarc.live.aftermath import After
from armarc.live.desk import Gym, Say, Switch
from armarc.live.events import SetEnded
from armarc.live.offline import measure_live_set
from armarc.live.session import LiveSession
from armarc.live.source import play
from armarc.log import Labels, list_sets, open_log
from armarc.recording import Metadata, Recording
from armarc.tasks import Task
from live_runs import choices_for, recording, run

ANNA = Task(lifter="Anna", exercise="lateral-raise", side="right", load_kg=8.0, logged=True)


class Coach:
    """A face that gives orders when it hears something; nothing but the session itself is driven."""

    name = "the coach"

    def __init__(self, orders):
        self.session, self.orders, self.heard, self.refused = None, list(orders), [], []

    def hear(self, record, event):
        self.heard.append(record)
        for one in [one for one in self.orders if one[0](record)]:
            self.orders.remove(one)
            asyncio.get_running_loop().call_soon(self.give, one[1])

    def give(self, order):
        try:
            self.session.order(order)
        except UsageError as error:
            self.refused.append(error.message)

    def refresh(self, scoreboard): ...
    def close(self): ...


def at(event, number=1):
    def heard(record):
        return record["event"] == event and record.get("set", record.get("rep")) == number

    return heard


def train(tmp_path, orders, *, log=True, task=ANNA, past=(), **simulated_as):
    made, _ = recording(2, **{"sets": 2, "reps": 3, "rest_s": 14.0, **simulated_as})
    made = replace(made, metadata=Metadata(started_at="2026-03-02T18:00:00+00:00"))
    kept, coach, remembered = Kept(), Coach(orders), []

    def choose(one):
        return kept.choices(Metadata(), one.options())

    session = LiveSession(
        choices=choose(task),
        faces=[coach],
        after=After(
            log=log, log_file=str(tmp_path / "log.sqlite") if log else None, labels=Labels(tags=("gym",))
        ),
        tell=lambda _: None,
        stamp_for=lambda s: f"2026-03-02T18:{int(s) // 60:02d}:{int(s) % 60:02d}+00:00",
        in_step=True,
        gym=Gym(task=task, past=past, choose=choose, remember=remembered.append),
    )
    coach.session = session
    asyncio.run(session.run(play(made, None, asyncio.Event()), [made.rate_hz]))
    return session, coach, remembered


def logged(tmp_path):
    with open_log(str(tmp_path / "log.sqlite")) as store:
        return sorted(list_sets(store), key=lambda one: one.done_at)


def test_a_switch_in_the_middle_of_a_set_counts_from_the_next_one(tmp_path):
    orders = [(at("rep ended", 2), Switch(lifter="Ben", exercise="front-raise", load_kg=5.0))]
    session, coach, remembered = train(tmp_path, orders)
    first, second = logged(tmp_path)
    assert (first.lifter, first.exercise, first.load_kg, first.reps) == ("Anna", "lateral-raise", 8.0, 3)
    assert (second.lifter, second.exercise, second.load_kg, second.reps) == ("Ben", "front-raise", 5.0, 3)
    assert (first.tags, second.tags) == (("gym",), ("gym",))
    assert [one.number for one in session.sets] == [1, 2]
    assert remembered[-1].lifter == "Ben"
    # Another arm is looked at anew: it is ready before its first rep.
    after = coach.heard[[one["event"] for one in coach.heard].index("task") :]
    names = [one["event"] for one in after]
    assert names.index("ready") < names.index("rep started")


def test_what_measuring_doubts_is_told_once_and_by_the_number_of_its_set(tmp_path):
    """A sensor strapped on the wrong way round, a strap that wobbles, a gap: nobody reads a JSON while lifting."""
    made, truth = recording(2, sets=2, reps=6, rest_s=14.0)
    at = truth.sets[1].reps[2].end_s
    here = (made.time_s < at) | (made.time_s > at + 3.0)
    arrays = (made.time_s, made.specific_force_m_s2, made.angular_velocity_rad_s)
    time_s, force, turning = (each[here] for each in arrays)
    made = Recording(
        time_s=time_s, specific_force_m_s2=force, angular_velocity_rad_s=turning, rate_hz=made.rate_hz
    )
    choices, lines = choices_for(made, exercise="lateral-raise", side="right"), []
    session = LiveSession(choices=choices, faces=[], after=After(), tell=lines.append, in_step=True)
    asyncio.run(session.run(play(made, None, asyncio.Event()), [made.rate_hz]))
    assert [len(one.result.sets) for one in session.sets] == [1, 1]
    assert sum("set 2 has gaps in which a rep may be missing" in line for line in lines) == 1
    assert sum("need a reference" in line for line in lines) == 1
    assert not any("not counted as" in line for line in lines)


def test_another_load_between_sets_needs_no_standing_still(tmp_path):
    _, coach, _ = train(tmp_path, [(at("set measured"), Switch(load_kg=6.0))])
    assert [one.load_kg for one in logged(tmp_path)] == [8.0, 6.0]
    assert [one["event"] for one in coach.heard].count("ready") == [
        one["event"] for one in train(tmp_path / "again", [], log=False)[1].heard
    ].count("ready")


@pytest.mark.parametrize("moment", ["set ended", "set measured"])
def test_what_is_said_after_a_set_is_with_it_in_the_log(tmp_path, moment):
    said = Labels(rir=2, pain=3, pain_place="front", pain_at_deg=80, note="left heel up")
    orders = [(at(moment), Say(labels=said, set=1)), (at("set ended", 2), Say(labels=Labels(rir=1), set=1))]
    _, coach, _ = train(tmp_path, orders)
    first, second = logged(tmp_path)
    assert (first.rir, first.pain, first.pain_place, first.pain_at_deg, first.note) == (
        1,
        3,
        "front",
        80,
        "left heel up",
    )
    assert (second.rir, second.pain, second.note) == (None, None, "")
    assert "set said" in [one["event"] for one in coach.heard]


def test_the_caution_stands_on_the_board_after_pain_and_goes_with_the_next_set(tmp_path):
    cautions = []

    class Watching(Coach):
        def refresh(self, scoreboard):
            cautions.append((len(scoreboard.sets), scoreboard.rep, scoreboard.caution))

    coach = Watching([(at("set measured"), Say(labels=Labels(pain=4)))])
    made, _ = recording(2, sets=2, reps=3, rest_s=14.0)
    session = LiveSession(
        choices=Kept().choices(Metadata(), ANNA.options()),
        faces=[coach],
        after=After(log=True, log_file=str(tmp_path / "log.sqlite")),
        tell=lambda _: None,
        in_step=True,
    )
    coach.session = session
    asyncio.run(session.run(play(made, None, asyncio.Event()), [made.rate_hz]))
    assert any(sets == 1 and text.startswith("Pain means stop") for sets, _, text in cautions)
    assert all(not text for sets, rep, text in cautions if sets == 1 and rep == 2)


def test_nothing_is_said_where_nothing_is_kept(tmp_path):
    _, coach, _ = train(tmp_path, [(at("set measured"), Say(labels=Labels(rir=2)))], log=False)
    assert coach.refused == ["nothing is kept without the training log"]


def test_an_exercise_that_cannot_be_measured_changes_nothing(tmp_path):

    kept = Kept()

    def choose(task):
        if task.side == "left":
            raise UsageError("no left arm today")
        return kept.choices(Metadata(), task.options())

    session = LiveSession(
        choices=choose(ANNA),
        faces=[],
        after=After(),
        tell=lambda _: None,
        gym=Gym(task=ANNA, past=(), choose=choose, remember=lambda _: None),
    )
    with pytest.raises(UsageError, match="no left arm"):
        session.order(Switch(side="left"))
    assert session.desk.task == ANNA


def test_the_mark_is_told_in_the_session(tmp_path):
    slow = {"reps": 6, "sets": 1, "fatigue": 0.45}
    task = replace(ANNA, stop_velocity_loss_pct=10.0)
    _, coach, _ = train(tmp_path, [], log=False, task=task, **slow)
    marks = [one for one in coach.heard if one["event"] == "mark reached"]
    assert [one["what"] for one in marks] == ["velocity"]
    assert marks[0]["loss_pct"] >= 10
    assert "between days and people" in marks[0]["caveat"]
    _, coach, _ = train(tmp_path, [], log=False, **slow)
    assert "mark reached" not in [one["event"] for one in coach.heard]


def test_the_last_time_is_the_last_day_of_the_same_task(tmp_path):
    train(tmp_path, [(at("set measured"), Switch(load_kg=6.0))])
    with open_log(str(tmp_path / "log.sqlite")) as store:
        assert last_time(store, ANNA, date(2026, 3, 2)) is None
        found = last_time(store, ANNA, date(2026, 3, 9))
        assert last_time(store, replace(ANNA, side="left"), date(2026, 3, 9)) is None
        assert last_time(store, replace(ANNA, lifter="Ben"), date(2026, 3, 9)) is None
    assert found is not None
    assert [one.load_kg for one in found.sets] == [8.0, 6.0]
    assert found.words(1).startswith("last time (02 Mar): 8 kg, 3 reps, start ")
    assert found.words(2).startswith("last time (02 Mar): 6 kg")
    assert found.words(7) == found.words(2)
    mean = found.sets[0].summary["mean_start_velocity_deg_s"]
    words = found.against(1, 5, 9.0, {"mean_start_velocity_deg_s": mean + 4})
    assert words == f"since 02 Mar: +1 kg, 5 reps (+2), start {mean + 4:.0f} °/s (+4)"


def test_today_stands_against_the_last_time_after_the_set(tmp_path):
    train(tmp_path, [])
    scoreboards = []

    class Looking(Coach):
        def refresh(self, scoreboard):
            scoreboards.append((len(scoreboard.sets), scoreboard.last_time, scoreboard.today))

    made, _ = recording(2, sets=2, reps=3, rest_s=14.0)
    kept = Kept()
    coach = Looking([])
    session = LiveSession(
        choices=kept.choices(Metadata(), ANNA.options()),
        faces=[coach],
        after=After(log=True, log_file=str(tmp_path / "log.sqlite")),
        tell=lambda _: None,
        stamp_for=lambda s: f"2026-03-09T18:{int(s) // 60:02d}:{int(s) % 60:02d}+00:00",
        in_step=True,
        gym=Gym(
            task=ANNA,
            past=(),
            choose=lambda one: kept.choices(Metadata(), one.options()),
            remember=lambda _: None,
        ),
    )
    asyncio.run(session.run(play(made, None, asyncio.Event()), [made.rate_hz]))
    assert any(sets == 0 and before.startswith("last time (02 Mar)") for sets, before, _ in scoreboards)
    assert any(sets == 1 and today.startswith("since 02 Mar: 3 reps (+0)") for sets, _, today in scoreboards)


def test_a_verdict_that_turned_stands_on_the_board_and_in_the_record_after_the_set():
    """The edge of the band lies between what was told of a rep and what is measured after the set."""
    made, _ = recording(2, reps=5, tremor_rad=0.01)
    (plain,) = [one for one in run(made) if isinstance(one, SetEnded)]
    reps = measure_live_set(plain, choices_for(made)).result.sets[0].reps
    told = [
        (math.degrees(one.told_velocity_rad_s), math.degrees(one.start_velocity_rad_s), one.rep)
        for one in reps
        if one.told_velocity_rad_s is not None
    ]
    said, after, rep = max(told, key=lambda one: abs(one[0] - one[1]))
    assert abs(said - after) > 0.2
    edge = math.radians((said + after) / 2)
    choices = choices_for(made)
    choices = replace(choices, exercise=replace(choices.exercise, band=Band(edge, edge + 1.0)))
    scoreboards = []

    class Looking(Coach):
        def refresh(self, scoreboard):
            scoreboards.append((len(scoreboard.sets), scoreboard.today))

    lines, coach = [], Looking([])
    session = LiveSession(choices=choices, faces=[coach], after=After(), tell=lines.append, in_step=True)
    asyncio.run(session.run(play(made, None, asyncio.Event()), [made.rate_hz]))
    (record,) = [one for one in coach.heard if one["event"] == "set measured"]
    turned = {one["rep"]: (one["told"], one["measured"]) for one in record["turned"]}
    expected = ("below", "inside") if said < after else ("inside", "below")
    assert turned[rep] == expected
    words = f"told {expected[0]}, measured {expected[1]}"
    assert any(sets == 1 and words in today for sets, today in scoreboards)
    assert any(words in line for line in lines)
