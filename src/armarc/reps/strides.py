"""Which runs of small quick swings are a walking arm: their shoulder bobs with the steps.

Whatever turns about a joint that stands still is pulled towards it, and what its sensor feels of the angle's
acceleration and of its squared rate shows one and the same radius. A walker stands highest over the straight leg,
when the arms pass the hanging pose at their fastest, and lowest with the legs apart, when they turn round: the body
falls where the arm's own pull is largest. For a swing of ±A of an arm r that pull lifts the sensor by r·A²/4, a
centimetre or so, twice a swing. The body bobs by more (3–5 cm from lowest to highest, from memory), so that the sensor
seems pushed away from the shoulder. No lift about a shoulder that stands still or gives way a little does that.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from armarc.motion import low_pass
from armarc.recording import FloatArray
from armarc.reps.likeness import template_of
from armarc.reps.path import SensorPath, angle_about
from armarc.reps.run import Run

SMOOTHED_HZ = 3.0
"""A rep has little faster to tell; a strap's wobble, the jolts of steps and the thinned path's noise have."""
MOSTLY = 0.5
"""The turning explains at least this share of what is felt, or it tells nothing of a shoulder."""


def is_walk(path: SensorPath, run: Run) -> bool:
    """Whether a run is as small and quick as strides and its sensor seems pushed away from the shoulder.

    Parameters
    ----------
    path : SensorPath
        With the acceleration; without, nothing is a walk.
    run : Run
    """
    if path.acceleration_m_s2 is None or run.curve != "tilt" or not run.template.is_stride:
        return False
    begin, stop = run.first, run.last + 1
    turning = turning_of(run.sign * angle_about(path.up[begin:stop], run.axis), path.rate_hz)
    felt = low_pass(path.acceleration_m_s2[begin:stop], path.rate_hz, SMOOTHED_HZ)
    along, pull, _ = lever = np.linalg.lstsq(turning, felt, rcond=None)[0]
    left = np.sum((felt - turning @ lever) ** 2)
    if left > (1 - MOSTLY) * np.sum((felt - felt.mean(axis=0)) ** 2):
        return False
    # The sensor turns against the angle of the vertical: α × r = along, and r lies at right angles to it.
    outward = np.cross(run.sign * run.axis, along)
    return bool(pull @ outward > 0)


def with_half_swings(run: Run, first: int, last: int) -> Run:
    """A run of swings as the walk it is, with the halves with which an arm sets out from rest and comes back to it.

    They take no longer than a swing, and stay between two samples of the path.
    """
    swing = (run.last - run.first) // run.size
    movements = list(run.movements)
    movements[0] = replace(movements[0], bottom=max(run.first - swing, first))
    movements[-1] = replace(movements[-1], bottom_after=min(run.last + swing, last))
    return replace(run, movements=tuple(movements), is_walk=True)


def part_of(run: Run, part: slice) -> Run:
    """Some movements of a run that follow one another, as a run."""
    members = run.members[part]
    return replace(
        run,
        movements=run.movements[part],
        members=members,
        template=template_of(run.candidates, np.array(members)),
    )


def turning_of(angle_rad: FloatArray, rate_hz: float) -> FloatArray:
    """Acceleration of an angle, its squared rate and a one, shape (n, 3): what an arm about a joint makes be felt."""
    rate = np.gradient(low_pass(angle_rad, rate_hz, SMOOTHED_HZ)) * rate_hz
    return np.column_stack([np.gradient(rate) * rate_hz, rate * rate, np.ones(len(rate))])
