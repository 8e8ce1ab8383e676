"""Counting on real people: dumbbell lateral raises, curls and prone arm raises, ten correct, ten fast, ten low each.

Physical Therapy Exercises data set, UCI Machine Learning Repository no. 730 (A. Yurtman, B. Barshan, "Automated
evaluation of physical therapy exercises using multi-template dynamic time warping on wearable sensor signals", Comput
Methods Programs Biomed 2014; licence CC BY 4.0, from memory): sensors on straps, 25 Hz. The raises with optical truth
are from the public repository alexbonf/Biomechanics-joint-angle-analysis (MIT licence, © 2024 alexbonf), five
repetitions each. The counts are those of the protocols.
"""

import gzip
from functools import cache
from pathlib import Path

import numpy as np
import optical_truth
import pandas as pd
import pytest

from armarc.api import process
from armarc.live.events import RepEnded
from armarc.recording import read_csv
from grids import seldom
from live_runs import run, sets_in

FOLDER = Path(__file__).parents[2].parent / "shared" / "datasets" / "people"
pytestmark = pytest.mark.skipif(
    not FOLDER.is_dir(), reason="the recordings of people are not beside the project"
)
RAISES = [f"dumbbell-lateral-raise.s{n}" for n in (1, 2, 3)]
ALL = [*RAISES, *(f"{name}.s{n}" for name in ("curl", "prone-arm-raise") for n in (1, 2, 3))]
OPTICAL = {"optical.abduction-125": "lateral-raise", "optical.flexion-100": "front-raise"}


@pytest.fixture(scope="module")
def recording(tmp_path_factory):
    folder = tmp_path_factory.mktemp("people")

    @cache
    def read(name):
        plain = folder / f"{name}.csv"
        plain.write_bytes(gzip.decompress((FOLDER / f"{name}.wrist.csv.gz").read_bytes()))
        return read_csv(plain)

    return read


@pytest.fixture(scope="module")
def session(recording):
    """Measured once with each name, for all that is asked of it."""
    return cache(lambda name, exercise: process(recording(name), exercise=exercise, side="right"))


def sizes(session):
    return [len(one.reps) for one in session.sets]


@pytest.mark.parametrize("name", RAISES)
def test_ten_correct_ten_fast_and_ten_low_raises(session, name):
    assert sizes(session(name, "lateral-raise")) == [10, 10, 10]


@pytest.mark.parametrize("name", RAISES)
def test_three_held_three_fast_and_three_low_raises(recording, name):
    """Nine in a recording, held for up to nine seconds; one of each three was marked by people who watched."""
    session = process(recording(f"{name}.annotated"), exercise="lateral-raise", side="right")
    reps = [rep.phases for one in session.sets for rep in one.reps]
    assert (len(reps), len(session.left_out)) == (9, 0)
    doubted = sum("perhaps_no_rep" in rep.quality for one in session.sets for rep in one.reps)
    # One person's three long ones, held for 2 to 6 s and 5 to 9 s apart, are hardly alike.
    assert doubted <= (3 if name == RAISES[0] else 1)
    marks = pd.read_csv(FOLDER / f"{name}.annotated.times.csv")
    for start_s, end_s in zip(marks.start_s, marks.end_s, strict=True):
        # The marks take in a little stillness on both sides.
        nearest = min(reps, key=lambda one: abs(one.start_s - start_s) + abs(one.end_s - end_s))
        assert abs(nearest.start_s - start_s) < 0.8
        assert abs(nearest.end_s - end_s) < 0.8


@pytest.mark.parametrize("name", ALL)
def test_three_sets_of_ten_of_a_movement_nobody_named(session, name):
    assert sizes(session(name, "unknown")) == [10, 10, 10]


@pytest.mark.parametrize("name", [*RAISES, *OPTICAL])
def test_live_counts_what_the_finished_recording_holds(recording, session, name):
    exercise = OPTICAL.get(name, "lateral-raise")
    live = [len(one.reps) for one in sets_in(run(recording(name), exercise=exercise, side="right"))]
    assert live == sizes(session(name, exercise))


PARTED_BY_RHYTHM = {"curl.s1"}
"""Two of its sets lie close together, and only the second one's own rhythm, at its end, tells them apart."""


@pytest.mark.parametrize("name", [*ALL[::4], *seldom(*(one for one in ALL if one not in ALL[::4]))])
def test_live_counts_a_movement_nobody_named_as_the_finished_recording(recording, session, name):
    """While a set goes on, too: once the arm has rested no rep of it is counted with those of the next."""
    events = run(recording(name), exercise="unknown", side="right")
    finished = sizes(session(name, "unknown"))
    assert [len(one.reps) for one in sets_in(events)] == finished
    running = [e.reps for e in events if isinstance(e, RepEnded)]
    at_most = sum(sorted(finished)[-2:]) if name in PARTED_BY_RHYTHM else max(finished)
    assert max(running) <= at_most + 2  # a wobble is withdrawn at the next look


@pytest.mark.parametrize("name", [*ALL, *OPTICAL])
def test_no_phase_is_out_of_order(session, name):
    exercise = OPTICAL.get(name, "unknown")
    for one in session(name, exercise).sets:
        for rep in one.reps:
            at = rep.phases
            assert at.start_s <= at.top_start_s <= at.top_end_s <= at.end_s
            if not rep.unseen:
                assert rep.concentric_s >= 0
                assert rep.peak_concentric_rad_s > 0


@pytest.mark.parametrize(
    ("stated", "bottoms_deg", "ranges_deg"), [({}, 2.5, 2.5), ({"hand_axis": "-x"}, 1.0, 2.7)]
)
def test_angles_and_starts_against_optics(recording, stated, bottoms_deg, ranges_deg):
    """RMSE over ten fast raises without a load (true starts 108–171 °/s), to 125°; wanted are 2.5° and 3 °/s.

    Nothing stated: bottoms 2.0°, tops 2.7°, range 2.4°, start 2.7 °/s. The forearm's axis shows the elbow bent
    by 25° across the abduction: 0.7°, 2.7°, 2.5° (abduction 0.7°, flexion 3.5°), 2.5 °/s (3.5, 0.8).
    """
    errors = np.concatenate([against_optics(recording(name), name, **stated) for name in OPTICAL])
    assert errors.shape == (10, 4)
    bottom, top, rom, start = np.sqrt(np.mean(errors**2, axis=0))
    assert bottom <= bottoms_deg
    assert top <= 2.75
    assert rom <= ranges_deg
    assert start <= 3.0


def against_optics(raises, name, **stated):
    """Shape (reps, 4): errors of bottom, top, range (°) and start velocity (°/s)."""
    session = process(raises, exercise=OPTICAL[name], side="right", **stated)
    return optical_truth.errors(session, name, "arm_line_elevation_deg")


@pytest.mark.parametrize("number", [2, 3])
def test_a_damaged_accelerometer_on_a_real_arm_is_named_and_its_angles_are_not_claimed(number, tmp_path):
    """Two of the upper arms' sensors read 7.5 to 15 m/s² at rest, as they lie; the third reads gravity."""
    plain = tmp_path / "upper-arm.csv"
    plain.write_bytes(gzip.decompress((FOLDER / f"{RAISES[number - 1]}.upper-arm.csv.gz").read_bytes()))
    session = process(read_csv(plain), exercise="lateral-raise", side="right")
    assert sum("an axis is damaged or far from calibrated" in said for said in session.warnings) == 1
    assert not any("axes are mixed up" in said for said in session.warnings)
    reps = [rep for one in session.sets for rep in one.reps]
    assert reps
    assert min(rep.rom_se_rad for rep in reps if not rep.unseen) > np.radians(5)


def test_a_sound_accelerometer_on_a_real_arm_is_not_doubted(session):
    for name in ALL:
        assert not any("calibrated" in said for said in session(name, "unknown").warnings), name
