"""Raises held against marker trajectories: the public repository alexbonf/Biomechanics-joint-angle-analysis (MIT
licence, © 2024 alexbonf), kept beside the project.
"""

from pathlib import Path

import numpy as np
import pandas as pd

FOLDER = Path(__file__).parents[2].parent / "shared" / "datasets" / "people"


def errors(session, name, column):
    """Shape (reps, 4): errors of bottom, top, range (°) and start velocity (°/s) against a column of the truth."""
    truth = pd.read_csv(FOLDER / f"{name}.truth.csv.gz")
    t, angle = truth.time_s.to_numpy(), truth[column].to_numpy()
    found, before_s = [], 0.0
    for rep in (rep for one in session.sets for rep in one.reps):
        middle_s = (rep.phases.top_start_s + rep.phases.top_end_s) / 2
        near = np.flatnonzero(np.abs(t - middle_s) < 0.5)
        top = near[np.argmax(angle[near])]
        first = int(np.searchsorted(t, before_s))
        bottom = first + int(np.argmin(angle[first : top + 1]))
        rising = np.maximum.accumulate(angle[bottom : top + 1])
        gate = np.interp([angle[bottom] + 10, angle[bottom] + 20], rising, t[bottom : top + 1])
        true = [angle[bottom], angle[top], angle[top] - angle[bottom], 10 / (gate[1] - gate[0])]
        seen = np.degrees([rep.bottom_rad, rep.top_rad, rep.rom_rad, rep.start_velocity_rad_s])
        found.append(seen - true)
        before_s = t[top]
    return np.array(found)
