"""Which of the reps counted a new look shows again, and how much a look looks at."""

import math

from hypothesis import given
from hypothesis import strategies as st

from armarc.choices import choose
from armarc.live import look_back
from armarc.live.engine import Engine
from armarc.live.events import RepEnded, SetEnded
from armarc.live.look_back import seen_again
from armarc.reps.movements import Movement
from armarc.simulate import SimulationOptions, plan_session, simulate_session


def movement(bottom, top, bottom_after):
    return Movement(
        bottom=bottom,
        top=top,
        bottom_after=bottom_after,
        earliest=bottom,
        latest=bottom_after,
        rise_rad=1.4,
        fall_rad=1.4,
    )


def test_a_top_that_moved_within_a_long_hold_is_the_same_rep():
    assert seen_again([150, 450], [movement(100, 260, 300), movement(400, 460, 500)], 10) == {0: 0, 1: 1}


def test_two_reps_that_are_one_now_leave_one_of_them():
    assert seen_again([150, 240], [movement(100, 236, 300)], 10) == {1: 0}


def test_one_rep_that_is_two_now_is_one_of_them():
    assert seen_again([150], [movement(100, 148, 200), movement(200, 250, 300)], 10) == {0: 0}


def test_what_is_shown_no_more_is_missing():
    assert seen_again([150, 350], [movement(100, 150, 200)], 10) == {0: 0}


@given(st.lists(st.integers(1, 100), min_size=1, max_size=20), st.data())
def test_the_same_movements_are_all_seen_again(lengths, data):
    reps, row = [], 0
    for length in lengths:
        reps.append(movement(row, row + length, row + 2 * length))
        row += 2 * length
    tops = [data.draw(st.integers(m.bottom + 1, max(m.bottom + 1, m.bottom_after - 1))) for m in reps]
    assert seen_again(tops, reps, 0) == {k: k for k in range(len(reps))}


def played(monkeypatch, recording):
    """Sizes of the sets told live, and how many looks at all of the set there were until the set was over."""
    looks = []

    def count_sets(*args, **kwargs):
        looks.append(kwargs.get("judged", True))
        return whole(*args, **kwargs)

    whole = look_back.count_sets
    monkeypatch.setattr(look_back, "count_sets", count_sets)
    engine = Engine(choose(recording.metadata), recording.rate_hz)
    samples = recording.time_s, recording.specific_force_m_s2, recording.angular_velocity_rad_s
    events = [*engine.feed_many(*samples), *engine.finish()]
    told = [event.reps for event in events if isinstance(event, RepEnded)]
    return told, [len(event.reps) for event in events if isinstance(event, SetEnded)], looks.count(False)


def test_reps_that_are_plainly_more_of_a_set_need_no_look_at_all_of_it(monkeypatch):
    recording, _ = simulate_session(plan_session(SimulationOptions(reps=12), 3), 3)
    told, sets, looks = played(monkeypatch, recording)
    assert told == list(range(1, 13))  # each when it ended, as it counts in the end
    assert sets == [12]
    assert looks < 12


def test_every_rep_that_is_not_like_the_others_asks_about_all_of_the_set(monkeypatch):
    whole, _ = simulate_session(plan_session(SimulationOptions(reps=8), 3), 3)
    _, sets, looks = played(monkeypatch, whole)
    monkeypatch.setattr(look_back, "PLAINLY", math.inf)
    _, same_sets, more_looks = played(monkeypatch, whole)
    assert same_sets == sets == [8]
    assert more_looks > looks
