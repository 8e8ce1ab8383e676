"""The rhythm of a set: what its pauses say of the movements at its ends."""

from __future__ import annotations

import numpy as np

from armarc.recording import FloatArray
from armarc.reps.candidates import Candidates
from armarc.reps.likeness import median
from armarc.reps.movements import FULL_SET

KNOWN_RUN_COST = 4.0
"""What a set costs that is more of one that has been seen."""
RHYTHM_SPREAD, RHYTHM_S, RHYTHM_CAP = 0.7, 0.6, 4.0
"""Spread of the logarithm of a pause (with a little added) that is longer than the set's median."""
PROMPT = 1.5
"""A movement cut by the recording belongs to a set only when it follows within this many of its longest pauses."""
HELD_S = 0.3


def in_rhythm(
    found: Candidates, total: float, members: list[int], adds: FloatArray
) -> tuple[list[int], float]:
    """Take off what does not keep a set's rhythm at its ends, and what long pauses speak against it.

    A movement that the recording cuts has to keep it; a whole one at an end belongs to the set only when it is so
    like it that it adds more than the pause before or after it costs: a lift to a button is none of the reps.
    """
    cut = found.is_cut
    whole = [k for k in members if not cut[k]]
    if not whole:
        return [], total
    longest_up = float(found.up_s[whole].max()) + HELD_S
    pauses = found.leaves_s[whole[1:]] - found.returns_s[whole[:-1]]
    usual = PROMPT * max(float(pauses.max()) if len(pauses) else 0.0, HELD_S)
    a, b = 0, len(members)
    if cut[members[0]] and (
        found.up_s[members[0]] > longest_up
        or found.leaves_s[members[1]] - found.returns_s[members[0]] > usual
    ):
        a = 1
    if cut[members[-1]] and (
        found.up_s[members[-1]] > longest_up
        or found.leaves_s[members[-1]] - found.returns_s[members[-2]] > usual
    ):
        b -= 1
    costs = costs_of_pauses(found, members[a:b])
    while len(costs) > FULL_SET:
        if costs[0] > adds[a]:
            total -= float(adds[a])
            a += 1
        elif costs[-1] > adds[b - 1]:
            total -= float(adds[b - 1])
            b -= 1
        else:
            break
        costs = costs_of_pauses(found, members[a:b])
    return members[a:b], total - float(costs.sum())


def costs_of_pauses(found: Candidates, members: list[int]) -> FloatArray:
    """What speaks against each pause of a run: that it is longer than usual."""
    pauses = np.maximum(found.leaves_s[members[1:]] - found.returns_s[members[:-1]], 0.0)
    return cost_of_longer(pauses, RHYTHM_CAP)


def cost_of_longer(pauses_s: FloatArray, cap: float) -> FloatArray:
    """What speaks against each of a set's pauses that is longer than its median, at most half of `cap`."""
    if len(pauses_s) < 2:
        return np.zeros(len(pauses_s))
    longer = np.log((pauses_s + RHYTHM_S) / (median(pauses_s) + RHYTHM_S)) / RHYTHM_SPREAD
    return np.asarray(0.5 * np.minimum(np.maximum(longer, 0.0) ** 2, cap))
