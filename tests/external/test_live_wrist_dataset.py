"""Live counting on the open wrist dataset: 20 shoulders, abduction and forward elevation, 20 reps each, 6 axes, 50 Hz.

Burns, Leung, Hardisty, Whyne, Henry, McLachlin (2018), "Shoulder physiotherapy exercise recognition: machine learning
the inertial signals from a smartwatch", Physiol Meas 39:075007; the data come with the package `seglearn`. The
recordings begin with the first rep under way and have no still moment, which is as hard as it gets for a live engine.
"""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest

from armarc.api import process
from armarc.recording import STANDARD_GRAVITY_M_S2, Metadata, Recording
from grids import seldom
from live_runs import run, sets_in

datasets = pytest.importorskip("seglearn.datasets")
ABDUCTION, FORWARD_ELEVATION = 1, 2
EVERY = 5
UPSIDE_DOWN = 13


@cache
def recordings(*, named: bool = True) -> list[Recording]:
    data = datasets.load_watch()
    out = []
    for x, label in zip(data["X"], data["y"], strict=True):
        if (label in (ABDUCTION, FORWARD_ELEVATION)) == named:
            values = np.asarray(x, float)
            exercise = {ABDUCTION: "lateral-raise", FORWARD_ELEVATION: "front-raise"}.get(label, "unknown")
            out.append(
                Recording(
                    time_s=np.arange(len(values)) / 50.0,
                    specific_force_m_s2=values[:, :3] * STANDARD_GRAVITY_M_S2,
                    angular_velocity_rad_s=values[:, 3:],
                    rate_hz=50.0,
                    metadata=Metadata(exercise=exercise, side="right"),
                )
            )
    return out


def test_live_counts_what_the_finished_recordings_hold() -> None:
    other = 0
    for made in recordings()[::EVERY]:
        live = [len(one.reps) for one in sets_in(run(made))]
        other += live != [len(one.reps) for one in process(made).sets]
    assert other <= 1


@pytest.mark.parametrize("first", [0, *seldom(4, 8, 12)])
def test_live_counts_movements_nobody_named_as_the_finished_recordings(first: int) -> None:
    """Rows and rotations: every sixteenth recording. Cycles that join several runs count some of their sets."""
    for made in recordings(named=False)[first::16]:
        live = [len(one.reps) for one in sets_in(run(made))]
        assert live == [len(one.reps) for one in process(made).sets]


def test_a_stream_that_begins_in_mid_raise_is_not_taken_upside_down() -> None:
    """One recording whose first sample of force points far from the vertical, in a fast raise."""
    made = recordings()[UPSIDE_DOWN]
    live, finished = (
        [rep.phases.top_start_s for one in sets for rep in one.reps]
        for sets in (sets_in(run(made)), process(made).sets)
    )
    assert len(live) == len(finished)
    np.testing.assert_allclose(live[1:], finished[1:], atol=0.3)  # half a rep is 0.6 s
