"""However a stream is cut into packets, the events are the same."""

from __future__ import annotations

from hypothesis import given, settings
from hypothesis import strategies as st

from armarc.live.engine import Engine
from armarc.live.events import event_record
from live_runs import choices_for, recording, run


@settings(max_examples=5, deadline=None)
@given(st.lists(st.integers(1, 900), min_size=1, max_size=12), st.booleans())
def test_cuts_change_nothing(sizes: list[int], one_by_one: bool) -> None:
    made, _ = recording(reps=3)
    whole = [event_record(event) for event in run(made)]
    engine = Engine(choices_for(made), made.rate_hz)
    events, first, k = [], 0, 0
    while first < len(made.time_s):
        size = 1 if one_by_one and first < 300 else sizes[k % len(sizes)]
        cut = slice(first, first + size)
        events += engine.feed_many(
            made.time_s[cut], made.specific_force_m_s2[cut], made.angular_velocity_rad_s[cut]
        )
        first, k = first + size, k + 1
    events += engine.finish()
    assert [event_record(event) for event in events] == whole
