"""Looking back beside the loop: what it finds does not depend on how fast it is, and no sample waits for it long."""

from __future__ import annotations

import random
import time
from typing import Any

import numpy as np
import pytest

from armarc.live.engine import Engine
from armarc.live.events import EngineEvent, GateCrossed, RepEnded
from armarc.live.stretch import ASIDE_S, Aside
from live_runs import choices_for, recording, run

SAMPLE_S = 0.01
"""No sample may hold the loop longer."""


def test_what_was_begun_is_taken_up_once_and_may_begin_the_next_look() -> None:
    heard: list[str] = []
    looks = Aside()

    def first(found: str, events: list[EngineEvent]) -> None:
        heard.append(found)
        looks.begin(lambda: "second", lambda found, events: heard.append(found), 9)

    looks.begin(lambda: "first", first, 5, before_moving=True)
    assert (looks.pending, looks.before_moving, looks.due) == (True, True, 5)
    looks.settle([])
    assert heard == ["first"]
    assert (looks.pending, looks.before_moving, looks.due) == (True, False, 9)
    looks.settle([])
    looks.settle([])
    assert heard == ["first", "second"]
    assert not looks.pending


def test_what_is_forgotten_is_never_taken_up_and_an_error_is_not_lost() -> None:
    looks = Aside()
    looks.begin(lambda: 1, lambda found, events: pytest.fail("it was forgotten"), 1)
    looks.forget()
    looks.settle([])
    looks.begin(lambda: 1 / 0, lambda found, events: None, 1)
    with pytest.raises(ZeroDivisionError):
        looks.settle([])


@pytest.mark.parametrize("options", [{"reps": 5}, {"reps": 6, "pause_s": 0.0, "concentric_s": 1.0}])
def test_a_slow_worker_changes_no_event(monkeypatch: pytest.MonkeyPatch, options: dict[str, Any]) -> None:
    made, _ = recording(**options)
    quick = run(made)
    begin, lots = Aside.begin, random.Random(1)

    def late(self: Aside, look: Any, take_up: Any, due: int, **options: Any) -> None:
        wait_s = lots.choice((0.0, 0.0, 0.02, 0.05))
        begin(self, lambda: (time.sleep(wait_s), look())[1], take_up, due, **options)

    monkeypatch.setattr(Aside, "begin", late)
    assert run(made) == quick


def test_a_rep_is_told_soon_after_the_arm_is_back_and_before_the_next_gate() -> None:
    made, _ = recording(reps=6, pause_s=0.0, concentric_s=1.0)
    events = run(made)
    ends = [e for e in events if isinstance(e, RepEnded)]
    assert len(ends) == 6
    for end in ends:
        assert end.time_s < end.measured.phases.end_s + ASIDE_S + 0.3
    order = [type(e) for e in events if isinstance(e, RepEnded | GateCrossed)]
    assert order == [GateCrossed, RepEnded] * 6


def test_no_sample_holds_the_loop() -> None:
    """Processor time of the loop: the worker's is its own. The least of three runs, sample by sample, leaves out what
    the machine did beside."""
    made, _ = recording(sets=2, reps=8, walk=True, rest_s=30.0)
    forces, rates = made.specific_force_m_s2.tolist(), made.angular_velocity_rad_s.tolist()
    runs = []
    for _ in range(3):
        engine, spent = Engine(choices_for(made), made.rate_hz), []
        for t, (a, b, c), (x, y, z) in zip(made.time_s.tolist(), forces, rates, strict=True):
            began_s = time.thread_time()
            engine.feed(t, (a, b, c), (x, y, z))
            spent.append(time.thread_time() - began_s)
        engine.finish()
        assert engine.sets == 2
        runs.append(spent)
    assert np.min(runs, axis=0).max() < SAMPLE_S
