"""The mark of the lifter's own: told once in a set, over full reps, and only where somebody set one."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from armarc.live.events import RepEnded, RepWithdrawn, SetEnded, set_ended
from armarc.live.scoreboard import Scoreboard
from armarc.live.stop_mark import StopMark
from armarc.reps.summary import summarise
from live_runs import recording, run, sets_in

(SET,) = sets_in(run(recording(1, reps=3)[0]))
REP = replace(SET.reps[0], quality=())


def ended(rep, speed, *, rom=1.4, quality=(), reps=None):
    made = replace(REP, mean_concentric_rad_s=speed, rom_rad=rom, quality=quality)
    return RepEnded(time_s=float(rep), rep=rep, reps=reps or rep, measured=made, tempo="")


def told(mark, events):
    out = []
    for event in events:
        mark, reached = mark.step(event)
        out += reached
    return out


SLOWER = [ended(n, speed) for n, speed in enumerate((1.0, 0.95, 0.82, 0.79, 0.6), start=1)]


def test_the_mark_is_told_once_at_the_rep_that_reaches_it():
    (one,) = told(StopMark(velocity_loss_pct=20), SLOWER)
    assert (one.rep, one.what) == (4, "velocity")
    # (1.00 - 0.79) / 1.00, Sánchez-Medina & González-Badillo 2011 as in `armarc.reps.summary.loss`
    assert one.loss_pct == pytest.approx(21)
    assert one.words() == "velocity loss 21 %, your mark 20 %"


@pytest.mark.parametrize("off", [None, 0])
def test_without_a_mark_nothing_is_told(off):
    assert told(StopMark(velocity_loss_pct=off, rom_loss_pct=off), SLOWER) == []


def test_range_has_a_mark_of_its_own():
    events = [ended(n, 1.0, rom=rom) for n, rom in enumerate((1.5, 1.4, 1.3, 1.25), start=1)]
    (one,) = told(StopMark(rom_loss_pct=15), events)
    assert (one.rep, one.what, round(one.loss_pct)) == (4, "rom", 17)


@pytest.mark.parametrize("flag", ["partial", "swung", "gap"])
def test_a_rep_that_is_no_full_one_reaches_no_mark(flag):
    assert told(StopMark(velocity_loss_pct=20), [*SLOWER[:2], ended(3, 0.4, quality=(flag,))]) == []


def test_the_loss_on_the_scoreboard_is_that_of_full_reps_too():
    """Of a set of 7 with a half rep at its end the page said 58 %, while measured afterwards it was 8 %."""
    board = Scoreboard(exercise="", side="", load="", band_deg_s=None, gate_deg=(10.0, 20.0))
    events = [*SLOWER[:3], ended(4, 0.3, rom=0.7)]
    for event in events:
        board.hear(event)
    assert board.loss_pct == pytest.approx(18)
    over = set_ended(1, tuple(event.measured for event in events), "rest", 9.0, SET.raw, 0.0)
    assert over.velocity_loss_pct == pytest.approx(18)
    board.hear(over)
    # What is measured afterwards goes before what live knew; of an earlier set it changes nothing that is shown.
    board.measured(1, replace(summarise(over.reps, 0.0, 9.0, True), velocity_loss_share=0.12))
    assert board.loss_pct == pytest.approx(12)
    board.hear(replace(SLOWER[0], time_s=20.0))
    board.measured(1, replace(summarise(over.reps, 0.0, 9.0, True), velocity_loss_share=0.5))
    assert board.loss_pct is None


def test_a_rep_cut_short_reaches_none_before_anybody_flags_it():
    assert told(StopMark(velocity_loss_pct=20), [*SLOWER[:2], ended(3, 0.4, rom=0.6)]) == []


def test_a_new_set_begins_anew():
    over = SetEnded(**{name: getattr(SET, name) for name in SET.__slots__ if name != "reps"}, reps=SET.reps)
    assert [one.rep for one in told(StopMark(velocity_loss_pct=20), [*SLOWER, over, *SLOWER])] == [4, 4]


def test_a_withdrawn_rep_is_forgotten():
    fast = ended(1, 2.0)
    gone = RepWithdrawn(time_s=1.5, rep=1, reps=0, reason="")
    assert told(StopMark(velocity_loss_pct=20), [fast, gone, *SLOWER[:3]]) == []


@given(st.lists(st.floats(0.2, 2.0), max_size=10), st.floats(1, 80))
def test_it_is_told_exactly_when_the_loss_has_reached_it(speeds, mark):
    found = told(StopMark(velocity_loss_pct=mark), [ended(n, v) for n, v in enumerate(speeds, start=1)])
    lost = [100 * (max(speeds[: n + 1]) - v) / max(speeds[: n + 1]) for n, v in enumerate(speeds)]
    reps = [n + 1 for n, share in enumerate(lost) if n and share >= mark]
    assert [one.rep for one in found] == reps[:1]
