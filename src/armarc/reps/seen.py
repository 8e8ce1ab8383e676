"""A stretch of the path as it is looked at about one axis, and where the arm rests beside a run of movements in it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from armarc.recording import FloatArray
from armarc.reps.candidates import Candidates
from armarc.reps.likeness import Template, median
from armarc.reps.path import Rests, SensorPath
from armarc.reps.rhythm import PROMPT
from armarc.reps.run import Run
from armarc.reps.settling import Samples

END_REST_S, ELSEWHERE = 1.0, 0.5
"""A rest lasts so long; a pose more than half the range away from both ends of a movement is neither (working
limits)."""


@dataclass(frozen=True, slots=True)
class Seen:
    """A stretch of the path as one curve with one of its ends for the bottom, shape (m,), from sample ``first`` on."""

    path: SensorPath
    name: str
    sign: float
    axis: FloatArray
    curve: FloatArray
    first: int
    rests: Rests

    def run(
        self,
        found: Candidates,
        adds: float,
        cost: float,
        rank: float,
        members: list[int],
        template: Template,
    ) -> Run:
        """A run whose movements add so much, less what a set costs."""
        return Run(
            score=adds - cost,
            cost=cost,
            rank=rank,
            movements=tuple(found.movement(k) for k in members),
            template=template,
            curve=self.name,
            sign=self.sign,
            axis=self.axis,
            candidates=found,
            members=tuple(members),
        )


def rests_beside_run(seen: Seen, found: Candidates, members: list[int]) -> list[float]:
    """How surely the arm rests at a run's bottom (1) or top (-1) last before it and first after it.

    A rest longer than is usual within the run tells more than one that may be the hold of a rep; one in another pose
    than at both ends (the wrist before the face) tells nothing.
    """
    rate_hz, rests = seen.path.rate_hz, seen.rests
    begins = found.leaves_s[members[0]] * rate_hz
    ends = found.returns_s[members[-1]] * rate_hz
    lasting_s, told = (rests[:, 1] - rests[:, 0]) / rate_hz, []
    before = slice(0, np.searchsorted(rests[:, 1], begins + 1, side="right"))
    after = slice(np.searchsorted(rests[:, 0], ends - 1), len(rests))
    usual_s = median(lasting_s[before.stop : after.start]) if before.stop < after.start else 0.0
    place, off = _places(seen, found, members, rests.sum(axis=1) // 2)
    resting = (lasting_s >= END_REST_S) & (off < ELSEWHERE)
    for side, nearest in ((before, -1), (after, 0)):
        longer = resting[side] & (lasting_s[side] > PROMPT * usual_s)
        at = np.flatnonzero(longer if longer.any() else resting[side])
        if len(at):
            told.append(1.0 - 2.0 * min(max(float(place[side][at[nearest]]), 0.0), 1.0))
    return told


def _places(seen: Seen, found: Candidates, members: list[int], at: Samples) -> tuple[FloatArray, FloatArray]:
    """Where in a run's range some samples lie, and how far their poses are from its nearer end, as shares of it."""
    low = median(seen.curve[found.bottom[members] - seen.first])
    high = median(seen.curve[found.top[members] - seen.first])
    place = (seen.curve[at - seen.first] - low) / max(high - low, 1e-6)
    if seen.name != "tilt":
        return place, np.minimum(np.abs(place), np.abs(1.0 - place))
    ends = np.stack([found.pose[members].sum(axis=0), seen.path.up[found.top[members]].sum(axis=0)])
    ends /= np.maximum(np.sqrt((ends * ends).sum(axis=1)), 1e-9)[:, None]
    cosine = (seen.path.up[at] @ ends.T).max(axis=1)
    return place, np.arccos(np.minimum(np.maximum(cosine, -1.0), 1.0)) / max(high - low, 1e-6)
