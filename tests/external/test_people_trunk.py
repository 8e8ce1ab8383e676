"""The trunk of people by a sensor on the chest, against optical truth.

Raises of one person with sensors on wrist and chest on one clock and the trunk followed by optics: the public
repository alexbonf/Biomechanics-joint-angle-analysis (MIT licence, © 2024 alexbonf). In the raises to the side the
chest reads less lean than the trunk's markers do, by some 1.8° on average.
"""

import gzip
import math
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from armarc import NOTHING_KEPT, process
from armarc.recording import read_csv
from armarc.trunk import Trunk

FOLDER = Path(__file__).parents[2].parent / "shared" / "datasets" / "people"
pytestmark = pytest.mark.skipif(
    not FOLDER.is_dir(), reason="the recordings of people are not beside the project"
)


def read(name, place, folder):
    plain = folder / f"{name}.{place}.csv"
    plain.write_bytes(gzip.decompress((FOLDER / f"{name}.{place}.csv.gz").read_bytes()))
    return read_csv(plain)


@pytest.mark.parametrize(
    ("name", "exercise", "lean_deg", "travel_deg"),
    [("optical.flexion-100", "front-raise", 1.0, 1.0), ("optical.abduction-125", "lateral-raise", 3.2, 2.5)],
)
def test_lean_at_the_start_and_travel(name, exercise, lean_deg, travel_deg, tmp_path):
    wrist, chest = (read(name, place, tmp_path) for place in ("wrist", "chest"))
    session = process(wrist, kept=NOTHING_KEPT, exercise=exercise, side="right", trunk=Trunk(recording=chest))
    truth = pd.read_csv(FOLDER / f"{name}.truth.csv.gz")
    reps = [rep for one in session.sets for rep in one.reps]
    assert len(reps) == 5
    leans, travels = [], []
    for rep in reps:
        start, top = rep.phases.start_s, rep.phases.top_start_s
        up = truth.trunk_lean_deg[(truth.time_s >= start) & (truth.time_s <= top)]
        leans.append(math.degrees(rep.trunk_lean_rad) - np.interp(start, truth.time_s, truth.trunk_lean_deg))
        travels.append(math.degrees(rep.trunk_travel_rad) - np.ptp(up))
    assert np.sqrt(np.mean(np.square(leans))) < lean_deg
    assert np.sqrt(np.mean(np.square(travels))) < travel_deg


@pytest.mark.parametrize("person", ["s1", "s2", "s3"])
def test_a_chest_beside_a_wrist_counts_the_same_reps(person, tmp_path):
    """UCI Machine Learning Repository no. 730 (Yurtman and Barshan 2014, CC BY 4.0): ten correct, fast and low raises.

    The optics are missing there; a lifter who stands does not lean by much (the second one straightens up by 15° as
    the first rep begins), and the counts stay what they are.
    """
    name = f"dumbbell-lateral-raise.{person}"
    wrist, chest = (read(name, place, tmp_path) for place in ("wrist", "chest"))
    session = process(
        wrist,
        kept=NOTHING_KEPT,
        exercise="lateral-raise",
        side="right",
        trunk=Trunk(recording=chest),
    )
    assert [len(one.reps) for one in session.sets] == [10, 10, 10]
    for one in session.sets:
        assert all(abs(math.degrees(rep.trunk_travel_rad)) < 20 for rep in one.reps)
