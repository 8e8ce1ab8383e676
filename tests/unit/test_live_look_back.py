"""Which of the reps counted a new look shows again."""

from hypothesis import given
from hypothesis import strategies as st

from armarc.live.look_back import seen_again
from armarc.reps.movements import Movement


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
