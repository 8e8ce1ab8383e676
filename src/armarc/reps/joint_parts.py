"""What of a run turns about another joint than the rest of it: the elbow, or a shoulder that swings past hanging."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from armarc.recording import BoolArray
from armarc.reps.joint import BESIDE_ARMS, IN_PLANE, SHORT_ARM_M, Joints
from armarc.reps.likeness import median
from armarc.reps.movements import FULL_SET
from armarc.reps.run import Run
from armarc.reps.strides import part_of, with_half_swings


def swung_parts(run: Run, joints: Joints, first: int, last: int) -> list[Run]:
    """What of a run an arm swings past where it hangs: all of it, or as many in a row as make a set.

    With the half swings on both sides, between two samples of the path.
    """
    parts = _parts(run, joints.goes_past_hanging(run))
    return [with_half_swings(part, first, last) for part in parts if part.size >= min(run.size, FULL_SET)]


def _parts(run: Run, which: BoolArray) -> list[Run]:
    """Some movements of a run, as one run for those in a row."""
    edges = np.flatnonzero(np.diff(which.astype(np.int8), prepend=0, append=0)).tolist()
    return [part_of(run, slice(a, b)) for a, b in zip(edges[::2], edges[1::2], strict=True)]


def elbow_parts(run: Run, joints: Joints) -> list[Run]:
    """What of a run turns about the elbow where other movements of it turn about the shoulder, or all of it does.

    Sips that follow a short set look like more of it; they are quicker and would outweigh it.
    """
    each = joints.of_each(run)
    arms = [m for m, _ in each if m >= SHORT_ARM_M]
    if len(arms) < FULL_SET:
        joint = joints.of(run) if joints.may_be_forearm(run) else None
        return [replace(run, is_elbow=True)] if joint is not None and joint.is_forearm() else []
    limit = BESIDE_ARMS * median(np.array(arms))
    is_elbow = np.array([m < limit and explained >= IN_PLANE for m, explained in each])
    for k in np.flatnonzero(is_elbow).tolist():
        is_elbow[k] = not joints.is_raise_one_way(run, run.movements[k], limit)
    seen = [(part, joints.of(part)) for part in _parts(run, is_elbow)]
    return [
        replace(part, is_elbow=True)
        for part, joint in seen
        if joint is not None and joint.reach_m < SHORT_ARM_M
    ]
