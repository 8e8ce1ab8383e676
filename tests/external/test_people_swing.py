"""Body swing of people against optical truth.

Raises of one person, five each, fast and without a load, with a sensor on the wrist and the shoulder centre followed
by optics: the public repository alexbonf/Biomechanics-joint-angle-analysis (MIT licence, © 2024 alexbonf). The truth
says how far the shoulder is from its place at the start, as a distance, not as a vector.
"""

import gzip
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from armarc.api import process
from armarc.recording import read_csv
from armarc.reps import swing

FOLDER = Path(__file__).parents[2].parent / "shared" / "datasets" / "people"
RECORDINGS = sorted(FOLDER.glob("optical.*.wrist.csv.gz")) if FOLDER.is_dir() else []
pytestmark = pytest.mark.skipif(not RECORDINGS, reason="the recordings of people are not beside the project")


def measured(path, folder):
    plain = folder / path.name.removesuffix(".gz")
    plain.write_bytes(gzip.decompress(path.read_bytes()))
    exercise = "front-raise" if "flexion" in path.name else "lateral-raise"
    session = process(read_csv(plain), exercise=exercise, side="right")
    truth = pd.read_csv(str(path).replace(".wrist.", ".truth."))
    return [rep for one in session.sets for rep in one.reps], truth


def part(truth, start_s, end_s):
    inside = (truth.time_s >= start_s) & (truth.time_s <= end_s)
    return truth.arm_line_elevation_deg[inside].to_numpy(), truth.shoulder_moved_cm[inside].to_numpy()


@pytest.mark.parametrize("path", RECORDINGS, ids=lambda p: p.name.split(".")[1])
def test_a_shoulder_that_moves_with_the_arm_is_no_swing(path, tmp_path):
    reps, truth = measured(path, tmp_path)
    assert len(reps) == 5
    # Almost all of the shoulder's travel is a function of the arm's angle: a girdle and a trunk that lean along.
    assert np.corrcoef(truth.arm_line_elevation_deg, truth.shoulder_moved_cm)[0, 1] > 0.8
    for rep in reps:
        up_deg, up_cm = part(truth, rep.phases.start_s, rep.phases.top_start_s)
        down_deg, down_cm = part(truth, rep.phases.top_end_s, rep.phases.end_s)
        beyond_cm = float(np.ptp(up_cm - np.polyval(np.polyfit(down_deg, down_cm, 3), up_deg)))
        assert beyond_cm < 2.5
        if rep.body_swing_m is None:
            assert rep.body_swing_reason.startswith((swing.GIRDLE, swing.UNCERTAIN, swing.ADRIFT))
        else:
            assert abs(100 * rep.body_swing_m - beyond_cm) < max(1.0, 200 * rep.body_swing_se_m)
